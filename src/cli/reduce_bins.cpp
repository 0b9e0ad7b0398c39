// SPDX-License-Identifier: Apache-2.0
#include "cli/reduce_bins.h"

#include "analysis/comparison.h"
#include "analysis/points.h"
#include "analysis/power_curve.h"
#include "base/errors.h"
#include "base/json.h"
#include "bench/rotor_file.h"
#include "cli/verbs.h"
#include "physics/rotor.h"
#include "site/annual_energy.h"
#include "site/wind_distribution.h"

#include <CLI/CLI.hpp>
#include <boost/json.hpp>
#include <fmt/format.h>

#include <cmath>
#include <cstddef>
#include <optional>
#include <string>
#include <utility>
#include <vector>

namespace windwright::cli {

namespace {

namespace json = boost::json;

using analysis::KnownCategories;
using site::SiteEnergy;

analysis::PowerCurveOptions options_of(const BinsRequest& request, const std::string& rotor,
                                       const std::vector<analysis::Point>& points) {
  if (request.regulation != "passive" && request.regulation != "active") {
    throw base::BadInput("--regulation", fmt::format("is '{}'", request.regulation),
                         "passive or active");
  }
  constexpr double large_averaging_s = 600.0;
  const bool large = request.averaging_s >= large_averaging_s;
  analysis::PowerCurveOptions options{
      .power = request.power.empty() ? analysis::power_column(points) : request.power,
      .regulation = request.regulation == "active" ? analysis::Regulation::active
                                                   : analysis::Regulation::passive,
      .reference_density_kg_m3 = request.reference_density_kg_m3,
      .swept_area_m2 = request.swept_area_m2,
      .stated = {.air_speed_m_s = request.u_air_speed_m_s,
                 .air_speed_relative = 0.01 * request.u_air_speed_pct,
                 .power_W = request.u_power_W,
                 .power_relative = 0.01 * request.u_power_pct,
                 .density_relative = 0.01 * request.u_density_pct},
      .averaging_s = request.averaging_s,
      .least_per_bin_s = large ? 1800.0 : 600.0,
      .least_total_s = 3600.0 * (large ? 180.0 : 60.0)};
  if (!rotor.empty()) {
    options.swept_area_m2 = physics::swept_area_m2(bench::rotor_from_file(rotor));
  }
  return options;
}

std::vector<SiteEnergy> energies_of(const analysis::PowerCurve& curve, const BinsRequest& request) {
  std::vector<site::PowerAtSpeed> powers;
  for (const analysis::PowerBin& bin : curve.bins)
    powers.push_back({.air_speed_m_s = bin.air_speed_m_s, .power_W = bin.power_W});
  const site::EnergyOptions options{.first_step_m_s = curve.options.bin_width_m_s,
                                    .cut_out_m_s = request.cut_out_m_s};
  std::vector<SiteEnergy> all;
  const auto add = [&](double mean_m_s, double shape) {
    const site::Weibull wind = site::weibull_of_mean(mean_m_s, shape);
    all.push_back({.wind = wind,
                   .mean_air_speed_m_s = mean_m_s,
                   .energy = site::annual_energy(powers, wind, options)});
  };
  for (int mean_m_s = 4; mean_m_s <= 11; ++mean_m_s)
    add(mean_m_s, 2.0);
  if (request.mean_air_speed_m_s) add(*request.mean_air_speed_m_s, request.weibull_shape);
  return all;
}

json::value u_kWh(const metrology::Estimate& energy_J, KnownCategories known) {
  return known == KnownCategories::none ? json::value(nullptr)
                                        : json::value(energy_J.u() / site::J_in_kWh);
}

// Not twice u: few rows leave few degrees of freedom.
json::value expanded_kWh(const metrology::Estimate& energy_J, KnownCategories known) {
  return known == KnownCategories::none ? json::value(nullptr)
                                        : json::value(energy_J.expanded() / site::J_in_kWh);
}

json::value categories(KnownCategories known) {
  if (known == KnownCategories::none) return nullptr;
  return known == KnownCategories::a_and_b ? "A and B" : "A";
}

json::value energy_json(const SiteEnergy& each, KnownCategories known) {
  const site::AnnualEnergy& energy = each.energy;
  return json::object{{"mean_air_speed_m_s", each.mean_air_speed_m_s},
                      {"weibull_shape", each.wind.shape},
                      {"energy_kWh", energy.measured_J.value() / site::J_in_kWh},
                      {"u_kWh", u_kWh(energy.measured_J, known)},
                      {"expanded_95_kWh", expanded_kWh(energy.measured_J, known)},
                      {"extrapolated_energy_kWh", energy.extrapolated_J.value() / site::J_in_kWh},
                      {"u_extrapolated_kWh", u_kWh(energy.extrapolated_J, known)},
                      {"u_categories", categories(known)},
                      {"exact_energy_kWh", energy.exact_J / site::J_in_kWh},
                      {"measured_part_pct", 100.0 * energy.measured_part},
                      {"complete", energy.complete}};
}

std::string cell(double value, const char* format) {
  return std::isfinite(value) ? fmt::format(fmt::runtime(format), value) : "-";
}

std::string speeds(const std::vector<double>& centres_m_s) {
  std::vector<std::string> texts;
  for (const double centre_m_s : centres_m_s)
    texts.push_back(fmt::format("{:g}", centre_m_s));
  return fmt::format("{}", fmt::join(texts, ", "));
}

std::string dof_of(const analysis::PowerBin& bin) {
  if (!std::isfinite(bin.u_a_W)) return "-";
  const double dof = bin.power_W.dof();
  return std::isfinite(dof) ? fmt::format("{:.3g}", dof) : "inf";
}

std::string note_of(const analysis::PowerBin& bin) {
  std::string note = bin.complete ? "" : "  too few";
  if (bin.u_a_basis == analysis::ScatterBasis::neighbours)
    note += note.empty() ? "  u_A from its neighbours" : ", u_A from its neighbours";
  return note;
}

void print_curve(const analysis::PowerCurve& curve) {
  const analysis::PowerCurveOptions& options = curve.options;
  fmt::print("power curve of {} by the method of bins, normalised ({}) to {:g} kg/m3\n",
             options.power,
             options.regulation == analysis::Regulation::active ? "air speed" : "power",
             options.reference_density_kg_m3);
  fmt::print(
      "standard uncertainties: A scatter, B systematic, C both; U expanded (95 %) with its degrees "
      "of freedom, of what is stated; - not stated\n");
  fmt::print("{:>12} {:>12} {:>8} {:>7} {:>9} {:>9} {:>9} {:>9} {:>6}\n", "air speed, m/s",
             "power, W", "cp", "count", "u_A, W", "u_B, W", "u_C, W", "U, W", "dof");
  for (const analysis::PowerBin& bin : curve.bins) {
    fmt::print("{:>14.2f} {:>12.1f} {:>8} {:>7} {:>9} {:>9} {:>9} {:>9} {:>6}{}\n",
               bin.air_speed_m_s, bin.power_W.value(),
               bin.cp ? fmt::format("{:.3f}", bin.cp->value()) : "-", bin.count,
               cell(bin.u_a_W, "{:.2g}"), cell(bin.u_b_W, "{:.2g}"), cell(bin.u_c_W, "{:.2g}"),
               cell(analysis::expanded_W(bin), "{:.2g}"), dof_of(bin), note_of(bin));
  }
  fmt::print("\n{}: {:.1f} h of {:g} h", curve.complete ? "complete" : "not complete",
             curve.total_s / 3600.0, options.least_total_s / 3600.0);
  if (!curve.empty_m_s.empty()) {
    fmt::print("; no data in the bins {} m/s, bridged by straight lines", speeds(curve.empty_m_s));
  }
  if (!curve.thin_m_s.empty()) {
    fmt::print("; less than {:g} min in the bins {} m/s", options.least_per_bin_s / 60.0,
               speeds(curve.thin_m_s));
  }
  fmt::print("\n");
}

void print_energies(const std::vector<SiteEnergy>& energies, double cut_out_m_s,
                    KnownCategories known) {
  constexpr const char* said[] = {"; - not known: a bin's category A is open",
                                  "; category A only, B is not stated for all bins", ""};
  fmt::print("\nenergy of a year without standstill, kWh (± expanded, 95 %{})\n",
             said[static_cast<std::size_t>(known)]);
  fmt::print("{:>14} {:>7} {:>22} {:>22} {:>10}\n", "mean speed, m/s", "shape", "measured",
             fmt::format("to {:g} m/s", cut_out_m_s), "measured");
  for (const SiteEnergy& each : energies) {
    const auto kWh = [known](const metrology::Estimate& energy_J) {
      if (known == KnownCategories::none)
        return fmt::format("{:.4g} ± -", energy_J.value() / site::J_in_kWh);
      const auto scaled = (1.0 / site::J_in_kWh) * energy_J;
      return analysis::with_uncertainty(scaled.value(), scaled.expanded());
    };
    fmt::print("{:>15.4g} {:>7.3g} {:>22} {:>22} {:>8.1f} %{}\n", each.mean_air_speed_m_s,
               each.wind.shape, kWh(each.energy.measured_J), kWh(each.energy.extrapolated_J),
               100.0 * each.energy.measured_part,
               each.energy.complete ? "" : "  incomplete: below 95 %");
  }
}

}  // namespace

void add_bins_options(CLI::App& verb, BinsRequest& request) {
  constexpr const char* group = "Power curve";
  const auto option = [&](const char* name, auto& value, const char* help) {
    CLI::Option* added = verb.add_option(name, value, help)->group(group);
    request.options.push_back(added);
    return added;
  };
  verb.add_flag("--bins", request.wanted,
                "power curve of a points CSV by the method of bins, and the energy of a year")
      ->group(group);
  option("--power", request.power, "its column; left out: ac_power_W, dc_power_W, shaft_power_W");
  option("--regulation", request.regulation,
         "passive: power is normalised to the density; active: air speed is")
      ->capture_default_str();
  option("--reference-density", request.reference_density_kg_m3, "kg m-3")->capture_default_str();
  option("--swept-area", request.swept_area_m2, "m2, for cp; left out: the rotor's, if given");
  option("--averaging-s", request.averaging_s,
         "averaging time of a row: below 600, 10 min a bin and 60 h make the curve complete; "
         "else 30 min and 180 h")
      ->capture_default_str();
  option("--u-air-speed-m-s", request.u_air_speed_m_s, "standard uncertainty common to all rows");
  option("--u-air-speed-pct", request.u_air_speed_pct, "the same, relative");
  option("--u-power-W", request.u_power_W, "of the power");
  option("--u-power-pct", request.u_power_pct, "the same, relative");
  option("--u-density-pct", request.u_density_pct, "of the air density");
  option("--cut-out-m-s", request.cut_out_m_s, "where the extrapolated energy ends")
      ->capture_default_str();
  option("--mean-air-speed-m-s", request.mean_air_speed_m_s,
         "a site of your own beside the Rayleigh sites of 4 to 11 m/s");
  request.shape_option =
      option("--weibull-shape", request.weibull_shape, "of that site")->capture_default_str();
}

BinsStudy study_bins(const std::string& file, const std::string& rotor,
                     const BinsRequest& request) {
  if (request.shape_option->count() > 0 && !request.mean_air_speed_m_s) {
    throw base::BadInput("--weibull-shape", "is of a site whose mean air speed is missing",
                         "--mean-air-speed-m-s V too, or neither");
  }
  if (request.swept_area_m2 && !rotor.empty()) {
    throw base::BadInput("--swept-area", "does not go with --rotor, which has an area of its own",
                         "one of them");
  }
  const auto points = analysis::points_from_file(file, analysis::PointsFor::power_curve);
  BinsStudy study{.curve = analysis::power_curve(points, options_of(request, rotor, points)),
                  .energies = {}};
  study.energies = energies_of(study.curve, request);
  return study;
}

json::object to_json(const BinsStudy& study) {
  const KnownCategories known = analysis::known_categories(study.curve);
  json::object document = analysis::to_json(study.curve);
  json::array rows;
  for (const SiteEnergy& each : study.energies)
    rows.push_back(energy_json(each, known));
  document["annual_energy"] = std::move(rows);
  return document;
}

int reduce_bins(const std::string& file, const std::string& rotor, const BinsRequest& request,
                bool as_json) {
  const BinsStudy study = study_bins(file, rotor, request);
  if (as_json) {
    fmt::print("{}", base::json_text(to_json(study)));
    return done;
  }
  print_curve(study.curve);
  print_energies(study.energies, request.cut_out_m_s, analysis::known_categories(study.curve));
  if (!study.curve.remarks.empty()) fmt::print("\n");
  for (const std::string& remark : study.curve.remarks)
    fmt::print("- {}\n", remark);
  return done;
}

}  // namespace windwright::cli
