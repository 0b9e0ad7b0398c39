// SPDX-License-Identifier: Apache-2.0
// Results of many groups.
#include "metrology/groups_file.h"
#include "refuses.h"

#include <cstddef>
#include <cstdint>
#include <string>
#include <string_view>

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace windwright;
  return takes_or_refuses(data, size, [](std::string_view bytes) {
    static_cast<void>(metrology::groups_from_file(as_file(bytes, "fuzz_groups.csv")));
  });
}
