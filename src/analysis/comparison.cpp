// SPDX-License-Identifier: Apache-2.0
#include "analysis/comparison.h"

#include "analysis/results.h"
#include "base/errors.h"
#include "campaign/campaign.h"
#include "metrology/estimate.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <map>
#include <optional>
#include <string>
#include <utility>
#include <vector>

namespace windwright::analysis {

namespace {

using metrology::Estimate;

// One combination of levels with the mean of its curves' maxima.
struct Contender {
  std::map<std::string, double> levels;  // by factor
  std::string name;                      // "3 blades, 5 deg"
  std::string phrase;                    // "3 blades at 5 deg", in a sentence
  std::vector<const Curve*> curves;
  Estimate maximum_cp;
};

double level_of(const Curve& curve, const std::string& factor) {
  if (factor == "blade_count") return curve.blade_count;
  if (factor == "pitch_deg") return curve.pitch_deg;
  const auto found = curve.block_settings.find(factor);
  return found == curve.block_settings.end() ? NAN : found->second;
}

std::string level_text(const std::string& factor, double level) {
  if (factor == "blade_count")
    return fmt::format("{:g} {}", level, level == 1 ? "blade" : "blades");
  if (factor == "pitch_deg") return fmt::format("{:.6g} deg", level);
  return fmt::format("{} {:.6g}", factor, level);
}

std::vector<Contender> contenders_of(const std::vector<Curve>& curves,
                                     const std::vector<std::string>& factors) {
  std::vector<Contender> contenders;
  for (const Curve& curve : curves) {
    if (!std::isfinite(curve.maximum_cp.value())) continue;
    std::map<std::string, double> levels;
    std::vector<std::string> texts;
    std::string phrase;
    for (const std::string& factor : factors) {
      levels[factor] = level_of(curve, factor);
      texts.push_back(level_text(factor, levels[factor]));
      const bool follows = !phrase.empty();
      phrase += (!follows ? "" : factor == "pitch_deg" ? " at " : ", ") + texts.back();
    }
    auto found = std::find_if(contenders.begin(), contenders.end(),
                              [&](const Contender& each) { return each.levels == levels; });
    if (found == contenders.end()) {
      contenders.push_back({.levels = std::move(levels),
                            .name = fmt::format("{}", fmt::join(texts, ", ")),
                            .phrase = std::move(phrase),
                            .curves = {},
                            .maximum_cp = Estimate(0.0)});
      found = contenders.end() - 1;
    }
    found->curves.push_back(&curve);
  }
  for (Contender& contender : contenders) {
    Estimate sum(0.0);
    for (const Curve* curve : contender.curves)
      sum = sum + curve->maximum_cp;
    contender.maximum_cp = (1.0 / static_cast<double>(contender.curves.size())) * sum;
  }
  std::stable_sort(contenders.begin(), contenders.end(), [](const auto& a, const auto& b) {
    return a.maximum_cp.value() > b.maximum_cp.value();
  });
  return contenders;
}

Difference difference_of(const Contender& a, const Contender& b, double level) {
  Difference result{.a = a.name,
                    .b = b.name,
                    .difference = a.maximum_cp - b.maximum_cp,
                    .expanded = 0.0,
                    .significant = false};
  result.expanded = result.difference.expanded(level);
  result.significant = !result.difference.contributions().empty() &&
                       std::abs(result.difference.value()) > result.expanded;
  return result;
}

// "electrical power coefficient" as the curves have it.
std::string response_text(const Contender& best) {
  return fmt::format("{} power coefficient", best.curves.front()->stage);
}

std::string optimum_text(const Contender& best) {
  if (best.curves.size() != 1) return fmt::format(" (mean of {} curves)", best.curves.size());
  const Curve& curve = *best.curves.front();
  if (!curve.optimum_tip_speed_ratio) return " (" + curve.maximum_basis + ")";
  return fmt::format(" at tip-speed ratio {}",
                     with_uncertainty(curve.optimum_tip_speed_ratio->value(),
                                      curve.optimum_tip_speed_ratio->expanded()));
}

std::string confidence_text(double level, std::size_t pairs) {
  return pairs == 1 ? fmt::format("{:g} %", 100.0 * level)
                    : fmt::format("{:g} %, all {} pairs together", 100.0 * level, pairs);
}

const char* verb(const Contender& best) {
  return best.levels.contains("blade_count") && best.levels.at("blade_count") != 1.0 ? "give"
                                                                                     : "gives";
}

// Whether one is not shown to be worse than the best.
bool may_be_best(const Verdict& verdict, const Contender& best, const Contender& other) {
  if (&best == &other) return true;
  return std::any_of(verdict.differences.begin(), verdict.differences.end(), [&](const auto& each) {
    return each.a == best.name && each.b == other.name && !each.significant;
  });
}

std::vector<Compared> compared(const std::vector<Contender>& order, const Verdict& verdict) {
  std::vector<Compared> all;
  for (const Contender& each : order) {
    const bool one = each.curves.size() == 1;
    all.push_back({.levels = each.levels,
                   .maximum_cp = each.maximum_cp,
                   .optimum_tip_speed_ratio =
                       one ? each.curves.front()->optimum_tip_speed_ratio : std::nullopt,
                   .may_be_best = may_be_best(verdict, order[0], each)});
  }
  return all;
}

const char* code_of(const Verdict& verdict) {
  if (verdict.difference.contributions().empty()) return "no_uncertainty";
  return verdict.significant ? "decided" : "not_decided";
}

std::string answer(const std::vector<Contender>& order, const Verdict& verdict, double level) {
  const Contender& best = order[0];
  const Contender& next = order[1];
  const std::string opening = fmt::format(
      "{} {} the largest {}, {}{}", best.phrase, verb(best), response_text(best),
      with_uncertainty(best.maximum_cp.value(), best.maximum_cp.expanded()), optimum_text(best));
  const std::string size = with_uncertainty(verdict.difference.value(), verdict.expanded);
  const std::string confidence = confidence_text(level, verdict.differences.size());
  if (verdict.difference.contributions().empty()) {
    return fmt::format(
        "{}; that is {} more than {}. No uncertainty is stated, so this does not show that they "
        "differ.",
        opening, size, next.phrase);
  }
  if (verdict.significant) {
    return fmt::format(
        "{}: that is {} more than {}, the next. The difference is larger than its expanded "
        "uncertainty "
        "({}).",
        opening, size, next.phrase, confidence);
  }
  std::vector<std::string> equals;
  for (std::size_t i = 1; i < order.size(); ++i) {
    if (may_be_best(verdict, best, order[i])) equals.push_back(order[i].phrase);
  }
  return fmt::format(
      "Not decided: {}, but only {} more than {}, and that is not larger than its expanded "
      "uncertainty ({}). The best may be {} or {}.",
      opening, size, next.phrase, confidence, best.phrase, fmt::join(equals, " or "));
}

const Difference* find_pair(const Verdict& verdict, const std::string& a, const std::string& b) {
  for (const Difference& each : verdict.differences) {
    if ((each.a == a && each.b == b) || (each.a == b && each.b == a)) return &each;
  }
  return nullptr;
}

// Does one level of a factor beat the others, significantly, whatever the other factors are?
std::optional<Winner> winner_of(const std::vector<Contender>& order, const Verdict& verdict,
                                const std::string& factor) {
  const double winner = order[0].levels.at(factor);
  std::vector<double> losers;
  std::size_t matched = 0;
  for (const Contender& a : order) {
    if (a.levels.at(factor) != winner) continue;
    for (const Contender& b : order) {
      auto levels = b.levels;
      if (levels.at(factor) == winner) continue;
      levels[factor] = winner;
      if (levels != a.levels) continue;
      const Difference* pair = find_pair(verdict, a.name, b.name);
      if (pair == nullptr || !pair->significant || a.maximum_cp.value() < b.maximum_cp.value()) {
        return std::nullopt;
      }
      losers.push_back(b.levels.at(factor));
      ++matched;
    }
  }
  std::sort(losers.begin(), losers.end());
  losers.erase(std::unique(losers.begin(), losers.end()), losers.end());
  if (losers.empty() || matched == losers.size()) return std::nullopt;  // says nothing new
  return Winner{.factor = factor, .level = winner, .others = std::move(losers)};
}

std::string in_words(const Winner& winner) {
  std::vector<std::string> names;
  for (const double level : winner.others)
    names.push_back(level_text(winner.factor, level));
  const bool plural = winner.factor == "blade_count" && winner.level != 1.0;
  return fmt::format(" {}{} {} more than {}, whatever the other settings compared.",
                     winner.factor == "pitch_deg" ? "A pitch of " : "",
                     level_text(winner.factor, winner.level), plural ? "give" : "gives",
                     fmt::join(names, " or "));
}

}  // namespace

std::string with_uncertainty(double value, double expanded) {
  if (!(expanded > 0.0) || !std::isfinite(expanded)) return fmt::format("{:.4g}", value);
  const int digits = std::clamp(1 - static_cast<int>(std::floor(std::log10(expanded))), 0, 12);
  return fmt::format("{:.{}f} ± {:.{}f}", value, digits, expanded, digits);
}

Verdict compare(const std::vector<Curve>& curves, const campaign::Question& question) {
  if (question.response != "maximum_cp") {
    throw base::BadInput("campaign.toml",
                         fmt::format("the response '{}' is not known", question.response),
                         "response = \"maximum_cp\"");
  }
  Verdict verdict{.question = question.text,
                  .code = "one_setting",
                  .answer = "There is only one setting with a result, so nothing to compare.",
                  .difference = {},
                  .expanded = 0.0,
                  .significant = false,
                  .differences = {}};
  const std::vector<Contender> order = contenders_of(curves, question.factors);
  if (order.size() < 2) return verdict;
  const double pairs = 0.5 * static_cast<double>(order.size() * (order.size() - 1));
  const double level = 1.0 - (1.0 - question.level) / pairs;
  for (std::size_t a = 0; a < order.size(); ++a) {
    for (std::size_t b = a + 1; b < order.size(); ++b)
      verdict.differences.push_back(difference_of(order[a], order[b], level));
  }
  const Difference& first = verdict.differences.front();
  verdict.difference = first.difference;
  verdict.expanded = first.expanded;
  verdict.significant = first.significant;
  verdict.code = code_of(verdict);
  verdict.response = order[0].curves.front()->stage;
  verdict.level = question.level;
  verdict.compared = compared(order, verdict);
  verdict.answer = answer(order, verdict, question.level);
  for (const std::string& factor : question.factors) {
    if (question.factors.size() < 2) break;
    if (auto winner = winner_of(order, verdict, factor)) {
      verdict.answer += in_words(*winner);
      verdict.winners.push_back(std::move(*winner));
    }
  }
  return verdict;
}

}  // namespace windwright::analysis
