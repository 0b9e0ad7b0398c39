// SPDX-License-Identifier: Apache-2.0
#include "analysis/run_comparison.h"
#include "report/charts.h"
#include "report/drawing.h"
#include "report/html.h"
#include "report/notation.h"
#include "report/page.h"
#include "report/pages.h"
#include "report/plot.h"
#include "report/sections.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <optional>
#include <set>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::report {

namespace {

using analysis::ComparedCurve;
using analysis::RunComparison;
using analysis::RunDifference;
using analysis::RunToCompare;

// One bar of a picture of differences.
struct Bar {
  std::string name;
  double value;
  double expanded;              // of the difference; NaN: not known
  double if_nothing_in_common;  // the same were nothing in common; NaN: not known
};

std::string pair_name(const ComparedCurve& curve, const RunDifference& pair, bool many) {
  const std::string runs = fmt::format("run {} − run {}", pair.a + 1, pair.b + 1);
  return many ? level_name(curve.label) + ", " + runs : runs;
}

std::vector<Bar> bars_of_maxima(const RunComparison& comparison) {
  std::vector<Bar> bars;
  for (const ComparedCurve& curve : comparison.curves) {
    for (const RunDifference& pair : curve.differences) {
      const double u = pair.maximum_cp.difference.u();
      const double known = u > 0.0 ? pair.maximum_cp.expanded : std::nan("");
      bars.push_back({pair_name(curve, pair, comparison.curves.size() > 1),
                      pair.maximum_cp.difference.value(), known,
                      u > 0.0 ? known / u * pair.u_if_independent : std::nan("")});
    }
  }
  return bars;
}

std::vector<Bar> bars_of_optima(const RunComparison& comparison) {
  std::vector<Bar> bars;
  for (const ComparedCurve& curve : comparison.curves) {
    for (const RunDifference& pair : curve.differences) {
      if (!pair.optimum_tip_speed_ratio) continue;
      const auto& optimum = *pair.optimum_tip_speed_ratio;
      bars.push_back(
          {pair_name(curve, pair, comparison.curves.size() > 1), optimum.difference.value(),
           optimum.difference.u() > 0.0 ? optimum.expanded : std::nan(""), std::nan("")});
    }
  }
  return bars;
}

// Differences against zero, one below the other.
std::string differences_picture(const std::string& title, const std::vector<Bar>& bars) {
  if (bars.empty()) return {};
  constexpr double width = 760.0;
  constexpr double names_end = 250.0;
  constexpr double row = 30.0;
  double low = 0.0;
  double high = 0.0;
  for (const Bar& bar : bars) {
    for (const double half : {0.0, bar.expanded, bar.if_nothing_in_common}) {
      if (!std::isfinite(half)) continue;
      low = std::min(low, bar.value - half);
      high = std::max(high, bar.value + half);
    }
  }
  const double end = 26.0 + row * static_cast<double>(bars.size());
  Drawing drawing(width, end + 24.0, title + ", with expanded uncertainties, against zero.");
  const Axis x(low, high, 6, names_end, width - 16.0);
  drawing.text({4.0, 10.0}, title, {.bold = true});
  for (const double tick : x.ticks()) {
    drawing.line(
        {x.at(tick), 22.0}, {x.at(tick), end},
        {.colour = tick == 0.0 ? colour::ink : colour::grid, .width = tick == 0.0 ? 1.4 : 1.0});
    drawing.text({x.at(tick), end + 11.0}, x.tick_text(tick),
                 {.size = 11.0, .colour = colour::quiet, .anchor = Anchor::middle});
  }
  double y = 26.0 + 0.5 * row;
  for (const Bar& bar : bars) {
    const auto reach = [&](double half, const Stroke& stroke) {
      if (!std::isfinite(half)) return;
      drawing.line({x.at(bar.value - half), y}, {x.at(bar.value + half), y}, stroke);
    };
    const bool differ = std::isfinite(bar.expanded) && std::abs(bar.value) > bar.expanded;
    drawing.text({names_end - 12.0, y}, bar.name, {.anchor = Anchor::end});
    reach(bar.if_nothing_in_common, {.colour = colour::pale, .width = 1.2, .dash = "4 3"});
    reach(bar.expanded, {.colour = colour::blue, .width = 3.2});
    drawing.marker(differ ? Shape::disc : Shape::ring, {x.at(bar.value), y}, colour::blue, 9.0);
    y += row;
  }
  return drawing.svg();
}

// The compared curves of all runs in one picture.
analysis::Results overlaid(const std::vector<RunToCompare>& runs, const RunComparison& comparison) {
  analysis::Results all;
  for (const ComparedCurve& compared : comparison.curves) {
    for (const std::size_t run : compared.runs) {
      const auto& results = runs[run].results;
      const auto& curves =
          comparison.open_air && results.section ? results.open_air_curves : results.curves;
      const bool alone = curves.size() == 1;
      for (const analysis::Curve& curve : curves) {
        if (!alone && curve.label != compared.label) continue;
        analysis::Curve named = curve;
        named.label = fmt::format("run {}", run + 1);
        if (comparison.curves.size() > 1) named.label += ": " + compared.label;
        all.curves.push_back(std::move(named));
      }
    }
  }
  return all;
}

std::string agreement_cells(const metrology::Agreement& agreement) {
  if (!(agreement.difference.u() > 0.0)) return "uncertainty not known";
  return std::abs(agreement.en) > 1.0 ? "they differ" : "no difference shown";
}

std::string values_table(const RunComparison& comparison) {
  HtmlTable table({{"Curve"},
                   {"Run", true},
                   {"Maximum C<sub>p</sub>", true},
                   {"Optimum tip-speed ratio", true}});
  for (const ComparedCurve& curve : comparison.curves) {
    for (std::size_t i = 0; i < curve.runs.size(); ++i) {
      table.row({escaped(level_name(curve.label)), fmt::format("{}", curve.runs[i] + 1),
                 with_uncertainty(curve.maximum_cp[i]),
                 with_uncertainty(curve.optimum_tip_speed_ratio[i])});
    }
  }
  return table.html();
}

std::string differences_table(const RunComparison& comparison) {
  HtmlTable table({{"Difference"},
                   {"Of"},
                   {"Value", true},
                   {"E<sub>n</sub>", true},
                   {"zeta", true},
                   {"u", true},
                   {"u with nothing in common", true},
                   {""}});
  for (const ComparedCurve& curve : comparison.curves) {
    for (const RunDifference& pair : curve.differences) {
      const auto row = [&](const char* of, const metrology::Agreement& agreement,
                           const std::string& independent) {
        const bool known = agreement.difference.u() > 0.0;
        table.row({fmt::format("<span class=\"unit\">{}</span>",
                               escaped(pair_name(curve, pair, comparison.curves.size() > 1))),
                   of,
                   with_uncertainty(agreement.difference.value(), known ? agreement.expanded : 0.0),
                   known ? fixed(agreement.en, 2) : "–", known ? fixed(agreement.zeta, 2) : "–",
                   known ? uncertainty_alone(agreement.difference.u()) : "–", independent,
                   agreement_cells(agreement)});
      };
      row("maximum C<sub>p</sub>", pair.maximum_cp,
          pair.maximum_cp.difference.u() > 0.0 ? uncertainty_alone(pair.u_if_independent) : "–");
      if (pair.optimum_tip_speed_ratio)
        row("optimum tip-speed ratio", *pair.optimum_tip_speed_ratio, "");
    }
  }
  return table.html();
}

std::string in_common(const RunComparison& comparison) {
  std::set<std::string> owners;
  for (const std::string& input : comparison.common)
    owners.insert(quantity_words(input.substr(0, input.find(':'))));
  if (owners.empty()) {
    return paragraph(
        "The runs have no error in common as far as anybody said: the difference carries both "
        "runs’ whole uncertainty.");
  }
  return paragraph(escaped(fmt::format(
      "Errors in common, which drop out of the differences, of: {}.", fmt::join(owners, ", "))));
}

// Names of files, `air_speed_m_s: certificate`, are no words.
std::vector<analysis::BudgetLine> in_words(std::vector<analysis::BudgetLine> lines) {
  for (analysis::BudgetLine& line : lines) {
    const auto colon = line.meaning.find(':');
    if (colon == std::string::npos) continue;
    line.meaning = quantity_words(line.meaning.substr(0, colon)) + line.meaning.substr(colon);
  }
  return lines;
}

std::string budgets(const RunComparison& comparison) {
  std::string html;
  for (const ComparedCurve& curve : comparison.curves) {
    if (curve.budget.empty()) continue;
    html += paragraph(
        escaped(fmt::format("{}, difference of maxima, run {} − run {}.", level_name(curve.label),
                            curve.differences.front().a + 1, curve.differences.front().b + 1)));
    html += budget_table(in_words(curve.budget));
  }
  return section("What makes up the uncertainty of the difference", html);
}

std::string answer(const RunComparison& comparison) {
  if (!comparison.agree) return "Nobody can say whether the runs differ.";
  return *comparison.agree ? "No difference is shown." : "The runs differ.";
}

std::string method() {
  return section(
      "Method and sources",
      "<ul class=\"method\">\n"
      "<li><strong>E<sub>n</sub></strong>: the difference over its expanded uncertainty (95 %), "
      "beyond 1 in size the runs differ; <strong>zeta</strong> over its standard uncertainty "
      "(ISO/IEC 17043:2010, B.3.1.3; ISO 13528:2015, 9.6, 9.7), both with the uncertainty of the "
      "difference of correlated results.</li>\n"
      "<li><strong>In common</strong>: inputs are kept by name (JCGM 100:2008, 5.2); one error in "
      "both runs drops out of their difference.</li>\n"
      "<li><strong>Curves</strong> of one setting are fitted by polynomials of one degree in all "
      "runs, chosen by the corrected Akaike criterion.</li>\n"
      "<li>Each E<sub>n</sub> stands alone: of twenty comparisons of equal things one is beyond 1 "
      "by chance.</li>\n</ul>\n");
}

}  // namespace

std::string comparison_html(const PageSource& source, const std::vector<RunToCompare>& runs,
                            const RunComparison& comparison) {
  std::string body = page_opening(source.title, "Comparison of runs");
  body += paragraph(answer(comparison), "answer");
  FactList named;
  for (std::size_t i = 0; i < comparison.runs.size(); ++i)
    named.fact(fmt::format("Run {}", i + 1), comparison.runs[i]);
  body += named.html();
  body += section(
      "Curves",
      figure(cp_chart(overlaid(runs, comparison)),
             "Test points with expanded uncertainties (95 %), most of which is common to the runs "
             "where they share sensors; fitted curves and their optima.") +
          values_table(comparison) +
          paragraph("± is the expanded uncertainty, 95 % coverage.", "note"));
  body += section(
      "Differences",
      figure(differences_picture("difference of maximum power coefficient",
                                 bars_of_maxima(comparison)) +
                 differences_picture("difference of optimum tip-speed ratio",
                                     bars_of_optima(comparison)),
             "Thick: expanded uncertainty (95 %) of the difference. Dashed: what it would be had "
             "the runs nothing in common. Filled: the bar does not reach zero.") +
          differences_table(comparison) + in_common(comparison));
  body += budgets(comparison);
  body += sentence_list("Remarks", comparison.remarks);
  body += method();
  body += data_section(source.files, source.software);
  return page(source.title, body);
}

}  // namespace windwright::report
