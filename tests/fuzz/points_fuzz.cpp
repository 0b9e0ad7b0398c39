// SPDX-License-Identifier: Apache-2.0
// Points measured elsewhere, for both of their uses, and a generator's.
#include "analysis/generator_identification.h"
#include "analysis/points.h"
#include "refuses.h"

#include <cstddef>
#include <cstdint>
#include <string>
#include <string_view>

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace windwright;
  return takes_or_refuses(data, size, [](std::string_view bytes) {
    const auto each = [&](const auto& parse) {
      takes_or_refuses(reinterpret_cast<const std::uint8_t*>(bytes.data()), bytes.size(), parse);
    };
    each([](std::string_view text) {
      const auto points = analysis::points_from_text(text, "fuzz.csv");
      static_cast<void>(analysis::points_csv(points));
    });
    each([](std::string_view text) {
      static_cast<void>(
          analysis::points_from_text(text, "fuzz.csv", analysis::PointsFor::power_curve));
    });
    static_cast<void>(analysis::generator_points_from_text(bytes, "fuzz.csv"));
  });
}
