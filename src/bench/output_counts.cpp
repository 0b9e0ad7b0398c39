// SPDX-License-Identifier: Apache-2.0
#include "bench/output_counts.h"

#include "base/errors.h"
#include "base/settings.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <vector>

namespace windwright::bench {
namespace {

using base::BadInput;
using base::Settings;

constexpr double most_counts = 4294967295.0;

}  // namespace

std::int64_t count_for(const OutputCounts& output, double value) {
  if (output.of_positions.empty()) return std::llround(output.at_zero + value * output.per_unit);
  const double last = static_cast<double>(output.of_positions.size()) - 1.0;
  const auto position = static_cast<std::size_t>(std::clamp(std::round(value), 0.0, last));
  return std::llround(output.of_positions[position]);
}

OutputCounts read_output_counts(const Settings& actuator, const Settings& table) {
  OutputCounts output;
  if (!actuator.has("positions")) {
    output.per_unit = table.number("counts_per_unit", {.at_least = -1e9, .at_most = 1e9});
    output.at_zero = table.number_or("counts_at_zero", 0.0, {.at_most = most_counts});
    if (output.per_unit == 0.0) {
      throw BadInput(table.place("counts_per_unit"), "counts_per_unit is 0",
                     "counts of the output for one of the actuator's unit");
    }
    for (const char* limit : {"lowest", "highest"}) {
      const double value = actuator.number(limit);
      const auto count = static_cast<double>(count_for(output, value));
      if (count >= 0.0 && count <= most_counts) continue;
      throw BadInput(table.place("counts_per_unit"),
                     fmt::format("{} = {:g} would be {:g} counts", limit, value, count),
                     "counts of 0 or more between the actuator's limits");
    }
    return output;
  }
  output.of_positions = table.numbers("counts", {.at_least = 0.0, .at_most = most_counts});
  const std::size_t positions = actuator.texts("positions").size();
  if (output.of_positions.size() != positions) {
    throw BadInput(table.place("counts"),
                   fmt::format("{} counts for {} positions", output.of_positions.size(), positions),
                   "one for each of the actuator's positions, in their order");
  }
  return output;
}

std::vector<std::optional<Settings>> output_tables(const Settings& root) {
  std::vector<std::optional<Settings>> tables;
  for (const Settings& actuator : root.tables("actuator")) {
    const bool by_hand = actuator.flag_or("manual", false);
    tables.push_back(actuator.optional_table("device"));
    if (by_hand && tables.back()) {
      throw BadInput(actuator.place("device"), "this actuator is set by a person",
                     "manual = false, or no [actuator.device]");
    }
    if (!by_hand && !tables.back()) {
      throw BadInput(actuator.place(), "the device does not know how to command this actuator",
                     "a table [actuator.device] with an output, or manual = true");
    }
  }
  return tables;
}

}  // namespace windwright::bench
