// SPDX-License-Identifier: Apache-2.0
// A bench description beside the demo'\''s other files.
#include "bench/bench.h"
#include "refuses.h"

#include <cstddef>
#include <cstdint>
#include <string>
#include <string_view>

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace windwright;
  return takes_or_refuses(data, size, [](std::string_view bytes) {
    static_cast<void>(bench::bench_from_file(as_file(bytes, "bench.toml")));
  });
}
