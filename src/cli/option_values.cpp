// SPDX-License-Identifier: Apache-2.0
#include "cli/option_values.h"

#include "base/errors.h"
#include "base/text.h"

#include <fmt/format.h>

#include <cmath>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::cli {

namespace {

constexpr double most_steps = 100000.0;

}  // namespace

double number_within(std::string_view option, std::string_view text, Limits limits) {
  const auto value = base::number_from_text(text);
  if (!value || *value < limits.lowest || *value > limits.highest) {
    throw base::BadInput(option, fmt::format("is '{}'", text),
                         fmt::format("a number from {} to {}", limits.lowest, limits.highest));
  }
  return *value;
}

std::vector<double> sweep_within(std::string_view option, std::string_view text, Limits limits) {
  const auto parts = base::split(text, ':');
  if (parts.size() == 1) return {number_within(option, text, limits)};
  const auto complain = [&](std::string_view right) {
    throw base::BadInput(option, fmt::format("is '{}'", text), right);
  };
  if (parts.size() != 3) complain("A:STEP:B, for example 1:0.5:8, or one number");
  const double first = number_within(option, parts[0], limits);
  const double last = number_within(option, parts[2], limits);
  const double step = base::number_from_text(parts[1]).value_or(0.0);
  if (step == 0.0) complain("A:STEP:B with a step that is a number and not 0");
  const double steps = (last - first) / step;
  if (steps < 0.0) complain("a step that leads from A to B");
  if (steps > most_steps) complain(fmt::format("at most {} steps", most_steps));
  std::vector<double> values;
  for (int i = 0; i <= static_cast<int>(steps + 1e-9); ++i) {
    // 1 + 3 * 0.1 is to show as 1.3.
    values.push_back(std::round((first + i * step) * 1e12) / 1e12);
  }
  return values;
}

std::vector<int> whole_sweep_within(std::string_view option, std::string_view text, Limits limits) {
  std::vector<int> whole;
  for (const double value : sweep_within(option, text, limits)) {
    if (value != std::floor(value)) {
      throw base::BadInput(
          option, fmt::format("is '{}'", text),
          fmt::format("{} from {} to {}",
                      text.find(':') == std::string_view::npos ? "a whole number"
                                                               : "whole numbers with a whole step",
                      limits.lowest, limits.highest));
    }
    whole.push_back(static_cast<int>(value));
  }
  return whole;
}

void refuse_without(bool given, const char* option, const char* goes_with) {
  if (!given) return;
  throw base::BadInput(option, fmt::format("goes with {} only", goes_with), "leave it out");
}

bool on_or_off(std::string_view option, std::string_view text) {
  if (text != "on" && text != "off") {
    throw base::BadInput(option, fmt::format("is '{}'", text), "on or off");
  }
  return text == "on";
}

}  // namespace windwright::cli
