// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstdint>
#include <optional>
#include <vector>

namespace windwright::base {
class Settings;
}

namespace windwright::bench {

/// What an output converter or a group of digital lines gets for a setting of an actuator.
struct OutputCounts {
  double per_unit = 0.0;             // counts for one of the actuator's unit
  double at_zero = 0.0;              // counts at setting 0
  std::vector<double> of_positions;  // of a selector; then the two above are not used
};

/// The count for a setting, rounded to the nearest; of a selector that of the nearest position.
std::int64_t count_for(const OutputCounts& output, double value);

/// Keys `counts_per_unit` and `counts_at_zero` (0), or `counts`, one for each position.
/// @param actuator  its table; `table` is its [actuator.device]
/// @throws BadInput  with file and line: a selector without counts, or one that is negative
OutputCounts read_output_counts(const base::Settings& actuator, const base::Settings& table);

/// [actuator.device] of every actuator, in the bench's order; none where a person sets it.
/// @throws BadInput  an actuator that is not changed by hand has none
std::vector<std::optional<base::Settings>> output_tables(const base::Settings& root);

}  // namespace windwright::bench
