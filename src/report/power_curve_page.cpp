// SPDX-License-Identifier: Apache-2.0
#include "analysis/power_curve.h"
#include "report/html.h"
#include "report/notation.h"
#include "report/page.h"
#include "report/pages.h"
#include "report/power_curve_charts.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::report {

namespace {

using analysis::KnownCategories;
using analysis::PowerBin;
using analysis::PowerCurve;
using site::SiteEnergy;

std::string u_text(double u) {
  return std::isfinite(u) ? uncertainty_alone(u) : "–";
}

std::string energy_text(const metrology::Estimate& energy_J, KnownCategories known) {
  const metrology::Estimate energy = (1.0 / site::J_in_kWh) * energy_J;
  if (known == KnownCategories::none) return number(energy.value(), 4) + " (U not known)";
  return with_uncertainty(energy);
}

std::string centres(const std::vector<double>& speeds_m_s) {
  std::string text;
  for (const double each : speeds_m_s)
    text += (text.empty() ? "" : ", ") + plain(each);
  return text;
}

// The bin with the largest cp, if there is an area.
const PowerBin* best_bin(const PowerCurve& curve) {
  const PowerBin* best = nullptr;
  for (const PowerBin& bin : curve.bins) {
    if (bin.cp && bin.complete && (best == nullptr || bin.cp->value() > best->cp->value()))
      best = &bin;
  }
  return best;
}

std::string answer(const PowerCurve& curve, const std::vector<SiteEnergy>& energies) {
  const auto most = std::max_element(
      curve.bins.begin(), curve.bins.end(),
      [](const auto& a, const auto& b) { return a.power_W.value() < b.power_W.value(); });
  std::string text = fmt::format("Largest mean power {} W at {} m/s",
                                 with_uncertainty(most->power_W), fixed(most->air_speed_m_s, 1));
  if (const PowerBin* best = best_bin(curve)) {
    text += fmt::format("; largest power coefficient {} at {} m/s", with_uncertainty(*best->cp),
                        fixed(best->air_speed_m_s, 1));
  }
  text += '.';
  std::string html = paragraph(prose(text), "answer");
  const SiteEnergy& own = energies.back();
  const auto five = std::find_if(energies.begin(), energies.end(), [](const SiteEnergy& each) {
    return each.mean_air_speed_m_s == 5.0;
  });
  const SiteEnergy& shown = own.wind.shape != 2.0 || five == energies.end() ? own : *five;
  html += paragraph(prose(fmt::format(
      "At a site with a mean air speed of {} m/s ({}): {} kWh a year, without standstill.",
      plain(shown.mean_air_speed_m_s),
      shown.wind.shape == 2.0 ? "Rayleigh" : "Weibull, shape " + plain(shown.wind.shape),
      energy_text(shown.energy.measured_J, analysis::known_categories(curve)))));
  return html;
}

std::string completeness(const PowerCurve& curve) {
  FactList facts;
  const auto& options = curve.options;
  facts.fact("Data set", curve.complete ? "complete" : "not complete");
  facts.fact("Measured",
             fmt::format("{} h of {} h; {} rows of {} s", fixed(curve.total_s / 3600.0, 1),
                         plain(options.least_total_s / 3600.0), curve.rows.size(),
                         plain(options.averaging_s)));
  if (!curve.empty_m_s.empty()) {
    facts.fact("Bins without data",
               centres(curve.empty_m_s) + " m/s, bridged by straight lines (dashed)");
  }
  if (!curve.thin_m_s.empty()) {
    facts.fact(fmt::format("Bins below {} min", plain(options.least_per_bin_s / 60.0)),
               centres(curve.thin_m_s) + " m/s (open markers)");
  }
  facts.fact("Normalised",
             fmt::format("{} to {} kg/m³",
                         options.regulation == analysis::Regulation::active ? "air speed" : "power",
                         plain(options.reference_density_kg_m3)));
  facts.fact("Power", options.power);
  if (options.swept_area_m2) facts.fact("Swept area", number(*options.swept_area_m2) + " m²");
  return section("Completeness", facts.html(), "short");
}

std::string bins_table(const PowerCurve& curve) {
  HtmlTable table({{"Air speed / m/s", true},
                   {"Rows", true},
                   {"Power / W", true},
                   {"u<sub>A</sub> / W", true},
                   {"u<sub>B</sub> / W", true},
                   {"u<sub>C</sub> / W", true},
                   {"C<sub>p</sub>", true},
                   {""}},
                  "points");
  for (const PowerBin& bin : curve.bins) {
    std::string note = bin.complete ? "" : "too few";
    if (bin.u_a_basis == analysis::ScatterBasis::neighbours)
      note += note.empty() ? "u<sub>A</sub> of neighbours" : "; u<sub>A</sub> of neighbours";
    table.row({fixed(bin.air_speed_m_s, 2), fmt::format("{}", bin.count),
               with_uncertainty(bin.power_W), u_text(bin.u_a_W), u_text(bin.u_b_W),
               u_text(bin.u_c_W), bin.cp ? with_uncertainty(*bin.cp) : "–", note});
  }
  return section("Bins", table.html() + paragraph("± is the expanded uncertainty, 95 % coverage, "
                                                  "from what is stated; u are standard "
                                                  "uncertainties; – is not stated.",
                                                  "note"));
}

std::string energy_section(const PowerCurve& curve, const std::vector<SiteEnergy>& energies,
                           double cut_out_m_s) {
  const KnownCategories known = analysis::known_categories(curve);
  HtmlTable table({{"Mean air speed / m/s", true},
                   {"Shape", true},
                   {"Measured / kWh", true},
                   {fmt::format("To {} m/s / kWh", plain(cut_out_m_s)), true},
                   {"Measured part", true},
                   {""}});
  for (const SiteEnergy& each : energies) {
    table.row({plain(each.mean_air_speed_m_s), plain(each.wind.shape),
               energy_text(each.energy.measured_J, known),
               energy_text(each.energy.extrapolated_J, known),
               fixed(100.0 * each.energy.measured_part, 1) + " %",
               each.energy.complete ? "" : "incomplete"});
  }
  std::string caption =
      "Sites with a Rayleigh distribution (a diamond: of their own shape). Bars: expanded "
      "uncertainty, 95 %";
  if (known == KnownCategories::a) caption += ", of category A only: B is not stated for all bins";
  if (known == KnownCategories::none)
    caption = "The bins' category A is not known for all: no bars";
  caption += ".";
  return section(
      "Energy of a year",
      figure(annual_energy_chart(energies, known != KnownCategories::none), caption) +
          table.html() +
          paragraph(
              "Without standstill, at the reference density. Incomplete: the measured part is "
              "below 95 %, the site blows more often above what was measured.",
              "note"));
}

std::string method() {
  return section(
      "Method and sources",
      "<ul class=\"method\">\n"
      "<li><strong>Bins</strong> of 0.5 m/s centred on multiples of it; means of the rows, "
      "normalised to the reference density (IEC 61400-12-1:2017, 8.3, 9.1; from memory).</li>\n"
      "<li><strong>Category A</strong> s / √N of the powers of a bin; a single row takes the "
      "pooled "
      "scatter of the nearest bins (ISO 5725-2:1994, 7.4.5). <strong>Category B</strong> by input: "
      "what sensors may be off together, the air speed’s share times the slope of the curve (IEC "
      "61400-12-1:2017, 9.2, annex D).</li>\n"
      "<li><strong>Energy</strong> 8760 h Σ [F(V<sub>i</sub>) − F(V<sub>i−1</sub>)] "
      "(P<sub>i−1</sub> "
      "+ P<sub>i</sub>) / 2; its uncertainty input by input, common ones added over the bins "
      "before "
      "they are squared (9.3, annex E).</li>\n"
      "<li><strong>Not in it</strong>: site calibration, the anemometer’s class by terrain, shear, "
      "turbulence normalisation; the site’s wind is taken as known.</li>\n</ul>\n");
}

std::string cautions() {
  return section(
      "Cautions",
      "<ul>\n<li><strong>A turbine in the wind is not a bench.</strong> Keep out of the rotor’s "
      "plane; stop and lock it before anybody climbs.</li>\n<li>Mast, lightning protection and "
      "mains belong to qualified people and the local codes, which stand above anything in this "
      "report.</li>\n</ul>\n",
      "short");
}

}  // namespace

std::string power_curve_html(const PageSource& source, const PowerCurve& curve,
                             const std::vector<SiteEnergy>& energies, double cut_out_m_s) {
  std::string body = page_opening(source.title, "Power curve by the method of bins");
  body += answer(curve, energies);
  if (!source.comments.empty()) body += paragraph(escaped(source.comments), "about");
  body += section(
      "Power curve",
      figure(
          power_curve_chart(curve),
          "Dots: rows, normalised. Line and markers: means of the bins with expanded "
          "uncertainties (95 %), from what is stated; bars shorter than their marker hide behind "
          "it, those of very few rows are cut off. Open: too few rows. Dashed: bins without "
          "data.") +
          figure(bins_cp_chart(curve),
                 "The same as power coefficient at each bin’s mean air speed.") +
          figure(bins_uncertainty_chart(curve),
                 "What the bins’ uncertainty is made of: more rows lower the scatter, better "
                 "sensors the systematic part."));
  body += completeness(curve);
  body += sentence_list("Remarks", curve.remarks);
  body += energy_section(curve, energies, cut_out_m_s);
  body += bins_table(curve);
  body += cautions();
  body += method();
  body += data_section(source.files, source.software);
  return page(source.title, body);
}

}  // namespace windwright::report
