// SPDX-License-Identifier: Apache-2.0
#include "guard/fresh_look.h"

#include "guard/interlocks.h"

#include <algorithm>
#include <filesystem>
#include <functional>
#include <string>
#include <vector>

namespace windwright::guard {

std::vector<std::string> standing_now(const bench::Bench& bench,
                                      const std::vector<metrology::Certificate>& certificates,
                                      bench::Device& device, const std::filesystem::path& folder,
                                      const std::function<void(const bench::SampleBlock&)>& see) {
  constexpr double longest_look_s = 10.0;
  constexpr double blocks_beside = 3.0;
  double hold_s = 0.0;
  for (const bench::Interlock& interlock : bench.interlocks)
    hold_s = std::max(hold_s, interlock.hold_s);
  const double look_s = std::min(hold_s, longest_look_s) + blocks_beside * bench.block_s;
  Interlocks interlocks(bench, certificates, {.folder = folder});
  bench::SampleBlock block;
  for (double looked_s = 0.0; looked_s < look_s;
       looked_s += static_cast<double>(block.samples) / bench.sample_rate_hz) {
    device.read(block);
    if (block.samples == 0) break;
    interlocks.judge(block);
    if (see) see(block);
  }
  return interlocks.standing();
}

}  // namespace windwright::guard
