// SPDX-License-Identifier: Apache-2.0
#include "campaign/campaign_text.h"

#include "base/text.h"

#include <fmt/format.h>

#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::campaign {
namespace {

// A basic string of TOML 1.0.
std::string toml_text(std::string_view text) {
  std::string quoted = "\"";
  for (const char letter : text) {
    const auto byte = static_cast<unsigned char>(letter);
    if (letter == '"' || letter == '\\') {
      quoted += '\\';
      quoted += letter;
    } else if (byte < 0x20 || byte == 0x7f) {
      quoted += fmt::format("\\u{:04x}", byte);
    } else {
      quoted += letter;
    }
  }
  return quoted + '"';
}

std::string list_of(const std::vector<double>& numbers) {
  std::vector<std::string> texts;
  for (const double number : numbers)
    texts.push_back(base::number_text(number));
  return fmt::format("[{}]", fmt::join(texts, ", "));
}

std::string list_of(const std::vector<std::string>& names) {
  std::vector<std::string> texts;
  for (const std::string& each : names)
    texts.push_back(toml_text(each));
  return fmt::format("[{}]", fmt::join(texts, ", "));
}

std::string table_of(std::string_view name, const std::vector<Setting>& settings) {
  if (settings.empty()) return {};
  std::string text = fmt::format("\n[{}]\n", name);
  for (const Setting& setting : settings) {
    text += fmt::format(
        "{} = {}\n", setting.actuator,
        setting.position.empty() ? base::number_text(setting.value) : toml_text(setting.position));
  }
  return text;
}

}  // namespace

std::string campaign_text(const Campaign& campaign) {
  const Question& question = campaign.question;
  std::string text = fmt::format(
      "schema = 1\ntitle = {}\nbench = {}\noperator = {}\nseed = {}\nrepeats = {}\n\n[question]\n"
      "text = {}\nresponse = {}\nfactors = {}\nlevel_pct = {}\n",
      toml_text(campaign.title), toml_text(campaign.bench_name.string()),
      toml_text(campaign.operator_name), campaign.seed, campaign.repeats, toml_text(question.text),
      toml_text(question.response), list_of(question.factors),
      base::number_text(100.0 * question.level));
  for (const Factor& factor : campaign.factors) {
    text += fmt::format("\n[[factor]]\nactuator = {}\nlevels = {}\n", toml_text(factor.actuator),
                        list_of(factor.levels));
    if (factor.hard_to_change) text += "hard_to_change = true\n";
  }
  text += table_of("constants", campaign.constants);
  text += table_of("run_up", campaign.run_up);
  const Pace& pace = campaign.pace;
  text += "\n[pace]\n";
  for (const auto& [key, value] :
       {std::pair("settle_window_s", pace.settle_window_s),
        std::pair("settle_drift_pct", 100.0 * pace.settle_drift_relative),
        std::pair("longest_settle_s", pace.longest_settle_s),
        std::pair("shortest_dwell_s", pace.shortest_dwell_s),
        std::pair("longest_dwell_s", pace.longest_dwell_s),
        std::pair("target_u_pct", 100.0 * pace.target_u_relative)})
    text += fmt::format("{} = {}\n", key, fmt::format("{:.12g}", value));
  return text;
}

}  // namespace windwright::campaign
