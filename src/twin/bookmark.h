// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "twin/plant.h"
#include "twin/sensor.h"

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::twin {

/// All that the simulated bench remembers at one moment.
struct Bookmark {
  std::uint64_t seed;
  std::int64_t sample;
  bool gap_before;  // of the next block
  PlantState plant;
  std::vector<Sensor::Memory> sensors;  // (channels)
};

/// One line of JSON; numbers as shortest decimal text in quotes, so that they come back to the bit.
std::string bookmark_text(const Bookmark& bookmark);
/// @throws BadInput  not such a line
Bookmark bookmark_from_text(std::string_view text);

}  // namespace windwright::twin
