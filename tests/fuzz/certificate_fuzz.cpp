// SPDX-License-Identifier: Apache-2.0
// A certificate, and a reading through it.
#include "metrology/certificate.h"
#include "refuses.h"

#include <cstddef>
#include <cstdint>
#include <string>
#include <string_view>

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace windwright;
  return takes_or_refuses(data, size, [](std::string_view bytes) {
    const metrology::Certificate made = metrology::certificate_from_text(bytes, "fuzz.json");
    static_cast<void>(metrology::value_of(made, 1.0));
    static_cast<void>(metrology::reading_of(made, 1.0));
  });
}
