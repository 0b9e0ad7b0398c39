// SPDX-License-Identifier: Apache-2.0
#include "bench/bench.h"
#include "campaign/conductor.h"
#include "metrology/estimate.h"
#include "report/charts.h"
#include "report/html.h"
#include "report/notation.h"
#include "report/sections.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::report {

namespace {

using analysis::Curve;
using analysis::Results;

constexpr double smallest_share_pct = 0.5;  // budget lines below are drawn together

/// Column names as the bench's long names: `dc_voltage_V` is for files.
std::string in_words(std::string text, const campaign::Run* run) {
  if (run == nullptr) return text;
  for (const bench::Channel& channel : run->bench.channels) {
    if (channel.long_name.empty()) continue;
    for (auto at = text.find(channel.name); at != std::string::npos;
         at = text.find(channel.name, at + channel.long_name.size())) {
      text.replace(at, channel.name.size(), channel.long_name);
    }
  }
  return text;
}

std::string remark_list(const Subject& subject, const Results& results) {
  std::string items;
  for (const std::string& remark : results.remarks) {
    items += fmt::format("<li>{}</li>\n", prose(capitalised(in_words(remark, subject.run))));
  }
  return "<ul>\n" + items + "</ul>\n";
}

std::string_view cp_symbol() {
  return "C<sub>p</sub>";
}

std::string optimum_text(const Curve& curve) {
  return curve.optimum_tip_speed_ratio ? with_uncertainty(*curve.optimum_tip_speed_ratio) : "none";
}

/// In a sentence; one remark at its end says for all numbers that no uncertainty is stated.
std::string in_sentence(const metrology::Estimate& estimate) {
  return has_uncertainty(estimate) ? with_uncertainty(estimate) : value_alone(estimate);
}

std::string largest_in_words(const Results& results) {
  const auto best = best_curve(results);
  if (!best) return "No curve could be made from these points.";
  const Curve& curve = results.curves[*best];
  std::string words = fmt::format("Largest {} power coefficient: {}, with {}", curve.stage,
                                  in_sentence(curve.maximum_cp), level_name(curve.label));
  if (curve.optimum_tip_speed_ratio) {
    words += ", at tip-speed ratio " + in_sentence(*curve.optimum_tip_speed_ratio) + '.';
  } else {
    words += " (" + curve.maximum_basis + ").";
  }
  if (!has_uncertainty(curve.maximum_cp)) words += " Its uncertainty is not stated.";
  return words;
}

bool any_uncertainty(const Results& results) {
  return std::any_of(results.curves.begin(), results.curves.end(), [](const Curve& curve) {
    return std::any_of(curve.points.begin(), curve.points.end(), [&](const auto& point) {
      const auto cp = fitted_cp(curve, point);
      return cp && has_uncertainty(*cp);
    });
  });
}

bool any_unsettled(const Results& results) {
  return std::any_of(results.curves.begin(), results.curves.end(), [](const Curve& curve) {
    return std::any_of(curve.points.begin(), curve.points.end(),
                       [](const auto& point) { return !point.settled; });
  });
}

bool any_theory(const Results& results) {
  return std::any_of(results.curves.begin(), results.curves.end(),
                     [](const Curve& curve) { return !curve.theory.empty(); });
}

bool any_fit(const Results& results) {
  return std::any_of(results.curves.begin(), results.curves.end(),
                     [](const Curve& curve) { return !curve.fit.empty(); });
}

std::string level_text(double level) {
  return plain(100.0 * level) + " %";
}

/// An answer's first clause, which is read from afar, and what follows it.
std::pair<std::string, std::string> headline_and_rest(const std::string& answer) {
  constexpr std::size_t shortest = 30;  // "Not decided:" is no headline yet
  const auto end =
      std::min(answer.find(": ", shortest), answer.find(". ", std::min(shortest, answer.size())));
  if (end == std::string::npos) return {answer, ""};
  return {answer.substr(0, end) + '.', capitalised(answer.substr(end + 2))};
}

std::string chain_table(const analysis::PointResult& point) {
  HtmlTable table({{"Stage"},
                   {"Power / W", true},
                   {"Over the stage before", true},
                   {"Loss on the way there / W", true},
                   {"Basis"}});
  for (std::size_t i = 0; i < point.stages.size(); ++i) {
    const analysis::Stage& stage = point.stages[i];
    table.row({escaped(capitalised(stage.name)), with_uncertainty(stage.power_W),
               i == 0 ? "" : with_uncertainty(stage.efficiency),
               i == 0 ? "" : with_uncertainty(point.stages[i - 1].power_W - stage.power_W),
               escaped(stage.basis)});
  }
  return table.html();
}

}  // namespace

std::string budget_table(std::vector<analysis::BudgetLine> lines) {
  std::stable_sort(lines.begin(), lines.end(),
                   [](const auto& a, const auto& b) { return a.share_pct > b.share_pct; });
  HtmlTable table({{"Input"}, {"Contribution u", true}, {"Share of variance", true}, {""}});
  double rest_variance = 0.0;
  double rest_pct = 0.0;
  int rest = 0;
  for (const analysis::BudgetLine& line : lines) {
    if (line.share_pct < smallest_share_pct) {
      rest_variance += line.u * line.u;
      rest_pct += line.share_pct;
      ++rest;
      continue;
    }
    table.row({escaped(line.meaning.empty() ? line.input : capitalised(line.meaning)),
               uncertainty_alone(std::abs(line.u)), fixed(line.share_pct, 1) + " %",
               share_bar(line.share_pct)});
  }
  if (rest > 0) {
    table.row({fmt::format("{} smaller input{}", rest, rest == 1 ? "" : "s"),
               uncertainty_alone(std::sqrt(rest_variance)), fixed(rest_pct, 1) + " %",
               share_bar(rest_pct)});
  }
  return table.html();
}

std::string verdict_in_words(const Subject& subject, const Results& results) {
  if (!results.verdict) {
    std::string text = paragraph(prose(largest_in_words(results)), "answer");
    if (!subject.source.empty()) {
      text += paragraph("Points measured elsewhere. Source: " + escaped(subject.source), "about");
    }
    return text;
  }
  const analysis::Verdict& verdict = *results.verdict;
  const auto [headline, rest] = headline_and_rest(verdict.answer);
  std::string text =
      paragraph(prose(verdict.question), "question") + paragraph(prose(headline), "answer");
  if (!rest.empty()) text += paragraph(prose(rest));
  return text;
}

std::string summary_table(const Results& results) {
  if (results.curves.empty()) return {};
  HtmlTable table({{""},
                   {"Blades", true},
                   {"Pitch", true},
                   {"Test points", true},
                   {"Optimum tip-speed ratio", true},
                   {fmt::format("Maximum {} ({})", cp_symbol(),
                                results.curves.front().stage == "shaft" ? "shaft" : "electrical"),
                    true}});
  const auto best = best_curve(results);
  for (std::size_t i = 0; i < results.curves.size(); ++i) {
    const Curve& curve = results.curves[i];
    table.row({curve_key(i), fmt::format("{}", curve.blade_count), plain(curve.pitch_deg) + "°",
               fmt::format("{}", curve.points.size()), optimum_text(curve),
               with_uncertainty(curve.maximum_cp)},
              best == i && results.curves.size() > 1);
  }
  std::string note = "± is the expanded uncertainty, 95 % coverage.";
  if (results.curves.size() > 1) note += " Bold: the largest maximum.";
  if (const std::size_t count = results.remarks.size(); count > 0) {
    note += fmt::format(" <strong>{} remark{}</strong> below limit{} these figures.", count,
                        count == 1 ? "" : "s", count == 1 ? "s" : "");
  }
  return table.html() + paragraph(note, "note");
}

std::string remarks(const Subject& subject, const Results& results) {
  if (results.remarks.empty()) return {};
  return section("Remarks", remark_list(subject, results), "short");
}

std::string curve_pictures(const Results& results) {
  if (results.curves.empty()) return {};
  std::string caption = any_uncertainty(results)
                            ? "Test points with expanded uncertainties (95 %); bars shorter than "
                              "their marker hide behind it."
                            : "Test points; their uncertainties are not stated.";
  if (any_fit(results))
    caption += " Thick: the fitted curve. Ring: its optimum, with its uncertainty.";
  if (any_theory(results)) {
    caption += results.curves.front().stage == "shaft"
                   ? " Thin: theory for this very rotor, at its air state and air speed."
                   : " Thin: theory for this very rotor and generator, at its air state and speed.";
  }
  if (any_unsettled(results)) caption += " Grey: had not settled, left out of the fit.";
  std::string html = figure(cp_chart(results), caption);
  std::string rows;
  for (const std::string& row : curve_panels(results))
    rows += row;
  html += "<h3>Each curve over theory, and what the fit leaves</h3>\n";
  html += figure(rows,
                 "Above: one curve alone, theory thin and dark. Below: measured minus fit, with "
                 "twice the random standard uncertainty; what scatters more than its bars is not "
                 "explained by noise. Scatter: standard deviation about the fit. All panels share "
                 "their axes.");
  return section("Power coefficient against tip-speed ratio", html);
}

std::string comparison(const Results& results, double level) {
  if (!results.verdict || results.verdict->differences.empty()) return {};
  const analysis::Verdict& verdict = *results.verdict;
  std::string html = figure(
      difference_chart(verdict),
      fmt::format("Bars: expanded uncertainty, {} over all {} comparison{} together (Bonferroni). "
                  "Filled: the bar does not reach zero.",
                  level_text(level), verdict.differences.size(),
                  verdict.differences.size() == 1 ? "" : "s"));
  HtmlTable table({{"Levels"}, {"minus"}, {"Difference of maximum C<sub>p</sub>", true}, {""}});
  for (const analysis::Difference& pair : verdict.differences) {
    table.row({escaped(level_name(pair.a)), escaped(level_name(pair.b)),
               with_uncertainty(pair.difference.value(), pair.expanded),
               pair.significant ? "significant" : "not significant"});
  }
  return section("Differences between levels", html + table.html());
}

std::string energy_chain(const Results& results) {
  const auto best = best_curve(results);
  if (!best) return {};
  const analysis::PointResult* point = best_point(results.curves[*best]);
  if (point == nullptr || point->stages.size() < 2) return {};
  const std::string caption = fmt::format(
      "Test point {} ({}, tip-speed ratio {}): each band is as wide as its watts. "
      "No rotor in an open flow takes more than 16/27 = 0.593 of the wind's power{}.",
      point->number, escaped(level_name(results.curves[*best].label)),
      with_uncertainty(point->tip_speed_ratio),
      results.section ? fmt::format("; between the walls of this section the limit is {}",
                                    fixed(results.section->largest_cp, 3))
                      : std::string());
  return section("Energy chain at the best test point",
                 figure(energy_chain_chart(*point), caption) + chain_table(*point));
}

std::string budget(const Results& results) {
  const auto part = [](const std::string& of, const std::vector<analysis::BudgetLine>& lines) {
    if (lines.empty()) return std::string();
    return paragraph("Uncertainty budget of " + escaped(level_name(of)) + ".") +
           budget_table(lines);
  };
  return section("What makes up the uncertainty",
                 part(results.budget_of, results.budget) +
                     part(results.corrected_budget_of, results.corrected_budget));
}

}  // namespace windwright::report
