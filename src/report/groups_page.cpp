// SPDX-License-Identifier: Apache-2.0
#include "metrology/groups_file.h"
#include "report/groups_charts.h"
#include "report/html.h"
#include "report/notation.h"
#include "report/page.h"
#include "report/pages.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::report {

namespace {

using metrology::LevelStudy;
using metrology::Precision;
using metrology::StudiedLevel;

std::string unbroken(const std::string& name) {
  return fmt::format("<span class=\"unit\">{}</span>", escaped(name));
}

// Why a group needs a look, in words; empty for most.
std::string verdict_on(const LevelStudy& study, std::size_t at) {
  std::vector<std::string> parts;
  for (const auto& suspect : study.suspects) {
    if (suspect.cell == at)
      parts.push_back(fmt::format("{} ({})", metrology::text_of(suspect.standing), suspect.test));
  }
  const double z = std::abs(study.scores[at].z);
  if (z >= 3.0) parts.emplace_back("act on it");
  if (z > 2.0 && z < 3.0) parts.emplace_back("questionable");
  if (std::abs(study.scores[at].en.value_or(0.0)) > 1.0)
    parts.emplace_back("misses by more than it states");
  return fmt::format("{}", fmt::join(parts, "; "));
}

std::string level_in_words(const StudiedLevel& level) {
  std::vector<std::string> named;
  for (std::size_t i = 0; i < level.study.cells.size(); ++i) {
    if (const std::string verdict = verdict_on(level.study, i); !verdict.empty())
      named.push_back(capitalised(level.study.cells[i].group) + ": " + verdict);
  }
  return named.empty() ? "No group stands out." : fmt::format("{}.", fmt::join(named, ". "));
}

std::string precision_table(const LevelStudy& study) {
  HtmlTable table({{""},
                   {"Groups", true},
                   {"Values", true},
                   {"Mean", true},
                   {"s of means", true},
                   {"s<sub>r</sub>", true},
                   {"s<sub>R</sub>", true},
                   {"r", true},
                   {"R", true}});
  const auto row = [&](const std::string& name, const Precision& precision) {
    table.row({escaped(name), fmt::format("{}", precision.groups),
               fmt::format("{}", precision.values), number(precision.mean, 5),
               number(precision.deviation_of_means, 3), number(precision.repeatability, 3),
               number(precision.reproducibility, 3), number(precision.repeatability_limit, 3),
               number(precision.reproducibility_limit, 3)});
  };
  row("all groups", study.all);
  if (study.without_outliers) {
    row(fmt::format("without {}", fmt::join(study.outliers, ", ")), *study.without_outliers);
  }
  return table.html() +
         paragraph(
             "s<sub>r</sub> repeatability, s<sub>R</sub> reproducibility (standard deviations); "
             "two "
             "results of one group differ by less than r, of two groups by less than R, in 95 %.",
             "note");
}

std::string assigned_facts(const StudiedLevel& level) {
  const LevelStudy& study = level.study;
  const std::string symbol = unit_text(level.unit);
  const std::string unit = symbol.empty() ? "" : " " + symbol;
  FactList facts;
  facts.fact(
      "Assigned value",
      fmt::format("{}{}, {}",
                  with_uncertainty(study.assigned.value,
                                   std::isfinite(study.assigned.u) ? 2.0 * study.assigned.u : 0.0),
                  unit, study.assigned.basis));
  facts.fact("Robust mean", fmt::format("{}{}; robust standard deviation {}",
                                        with_uncertainty(study.robust.mean, 2.0 * study.robust.u),
                                        unit, number(study.robust.standard_deviation, 3)));
  if (study.weighted) {
    facts.fact(
        "Weighted mean",
        fmt::format("{}; chi-squared {} at {}, chance {}: {}; Birge ratio {}",
                    with_uncertainty(study.weighted->mean), number(study.weighted->chi_squared, 4),
                    plain(study.weighted->degrees_of_freedom), number(study.weighted->chance, 2),
                    study.weighted->consistent ? "the stated uncertainties explain the scatter"
                                               : "the groups scatter more than they state",
                    number(study.weighted->birge_ratio, 3)));
  }
  return facts.html() +
         paragraph("± is twice the standard uncertainty, as the scores use it.", "note");
}

std::string tests_table(const LevelStudy& study) {
  std::vector<metrology::SuspectCell> shown = study.suspects;
  for (const auto& each : study.tests) {
    if (each.standing == metrology::Standing::unsuspicious) shown.push_back(each);
  }
  if (shown.empty()) return {};
  HtmlTable table({{"Group"},
                   {"Test"},
                   {"Statistic", true},
                   {"5 % point", true},
                   {"1 % point", true},
                   {"Standing"}});
  for (const auto& each : shown) {
    table.row({unbroken(study.cells[each.cell].group), escaped(each.test),
               number(each.statistic, 4), number(each.critical_5pct, 4),
               number(each.critical_1pct, 4), metrology::text_of(each.standing)});
  }
  return "<h3>Tests</h3>\n" + table.html();
}

std::string cells_table(const LevelStudy& study) {
  HtmlTable table({{"Group"},
                   {"Values", true},
                   {"Mean", true},
                   {"s", true},
                   {"h", true},
                   {"k", true},
                   {study.z_prime ? "z′" : "z", true},
                   {"zeta", true},
                   {"E<sub>n</sub>", true},
                   {""}},
                  "points");
  for (std::size_t i = 0; i < study.cells.size(); ++i) {
    const auto& each = study.cells[i];
    const auto& score = study.scores[i];
    const std::string verdict = verdict_on(study, i);
    table.row({unbroken(each.group), fmt::format("{}", each.count), number(each.mean, 5),
               number(each.standard_deviation, 3), fixed(each.h, 2), fixed(each.k, 2),
               fixed(score.z, 2), score.zeta ? fixed(*score.zeta, 2) : "–",
               score.en ? fixed(*score.en, 2) : "–", escaped(verdict)},
              !verdict.empty());
  }
  return table.html();
}

std::string level_section(const StudiedLevel& level) {
  const bool names = level.study.cells.size() <= 45;
  const std::string content =
      paragraph(prose(level_in_words(level))) +
      figure(
          groups_chart(level),
          fmt::format("Groups by their mean. Rings: single values; markers: means with twice the "
                      "standard uncertainty that the group states. Filled diamond: outlier, open "
                      "diamond: straggler. Line and band: the assigned value and twice its "
                      "standard uncertainty; dashed: two robust standard deviations from it.{}",
                      names ? "" : " Names in the table below.")) +
      precision_table(level.study) + assigned_facts(level) + tests_table(level.study) +
      figure(scores_chart(level),
             "In the same order. Dotted: worth a look (z 2, else the 5 % point); full: call to act "
             "(z 3, else the 1 % point). A column that is cut off carries its value.") +
      cells_table(level.study);
  return section(escaped(level.level.name), content);
}

std::string method() {
  return section(
      "Method and sources",
      "<ul class=\"method\">\n"
      "<li><strong>Repeatability and reproducibility</strong>, Mandel’s h and k, Cochran’s and "
      "Grubbs’ tests: ISO 5725-2:1994, 7. Limits r and R: 2.8 s; two results differ by less in "
      "95 % of cases.</li>\n"
      "<li><strong>Robust mean</strong>: ISO 13528:2015, algorithm A. <strong>Scores</strong> z, "
      "z′, zeta, E<sub>n</sub>: 9.4 to 9.7.</li>\n"
      "<li><strong>Weighted mean</strong>: M. G. Cox, Metrologia 39 (2002) 589–595; Birge, Phys. "
      "Rev. 40 (1932) 207–227.</li>\n"
      "<li>Straggler: beyond the 5 % point; outlier: beyond the 1 % point. Nothing is left out "
      "silently: every figure stands with all groups, and beside it without the outliers.</li>\n"
      "</ul>\n");
}

}  // namespace

std::string groups_html(const PageSource& source, const std::vector<StudiedLevel>& levels) {
  std::string body = page_opening(source.title, "Interlaboratory comparison");
  std::size_t act = 0;
  for (const StudiedLevel& level : levels)
    act += level.study.calls_for_action ? 1 : 0;
  body +=
      paragraph(act == 0 ? "No group calls for action."
                         : fmt::format("{} of {} level{} call{} for action.", act, levels.size(),
                                       levels.size() == 1 ? "" : "s", act == 1 ? "s" : ""),
                "answer");
  if (!source.comments.empty()) body += paragraph(escaped(source.comments), "about");
  for (const StudiedLevel& level : levels)
    body += level_section(level);
  body += method();
  body += data_section(source.files, source.software);
  return page(source.title, body);
}

}  // namespace windwright::report
