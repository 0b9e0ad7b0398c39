// SPDX-License-Identifier: Apache-2.0
// A scenario on the demo'\''s bench.
#include "bench/bench.h"
#include "refuses.h"
#include "twin/scenario.h"

#include <cstddef>
#include <cstdint>
#include <string>
#include <string_view>

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace windwright;
  return takes_or_refuses(data, size, [](std::string_view bytes) {
    static const bench::Bench bench = bench::bench_from_file(
        std::filesystem::path(SOURCE_FOLDER) / "examples/saltmarsh-college/bench.toml");
    static_cast<void>(twin::scenario_from_file(as_file(bytes, "scenario.toml"), bench));
  });
}
