// SPDX-License-Identifier: Apache-2.0
// Any JSON file.
#include "base/json.h"
#include "refuses.h"

#include <boost/json.hpp>

#include <cstddef>
#include <cstdint>
#include <string>
#include <string_view>

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace windwright;
  return takes_or_refuses(data, size, [](std::string_view bytes) {
    static_cast<void>(base::json_from_text(bytes, "fuzz.json"));
  });
}
