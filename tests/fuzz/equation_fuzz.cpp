// SPDX-License-Identifier: Apache-2.0
// A measurement equation as a person types it.
#include "metrology/equation.h"
#include "refuses.h"

#include <cstddef>
#include <cstdint>
#include <string>
#include <string_view>

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace windwright;
  return takes_or_refuses(data, size, [](std::string_view bytes) {
    const metrology::Equation typed{.name = "y", .text = std::string(bytes), .where = "fuzz:1"};
    static_cast<void>(
        metrology::compiled({&typed, 1}, 1, {.inputs = {"a", "b", "c"}, .constants = {}}));
  });
}
