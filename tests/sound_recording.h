// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "base/clock.h"
#include "bench/device.h"
#include "bench/recording_table.h"
#include "recording/recording.h"

#include <chrono>
#include <cstdint>
#include <filesystem>

namespace windwright {

/// A recording with nothing wrong, to be spoiled: one channel `speed` of the device `made-up`, 1500
/// samples, a gap of 500, 1500 more; a level of the pyramid, times by both clocks.
inline void make_sound_recording(const std::filesystem::path& file,
                                 bench::Compression compression = bench::Compression::none) {
  recording::Recorder recorder = recording::Recorder::create(
      file, 1000.0,
      {{.name = "speed",
        .note = {.unit = "m s-1",
                 .long_name = "speed",
                 .certificate = {},
                 .converter = {.lower_V = -10.0, .upper_V = 10.0, .bits = 16}}}},
      {.device = "made-up", .start = {}}, compression);
  for (const std::int64_t first : {0, 2000}) {
    bench::SampleBlock block;
    block.first_sample = first;
    block.gap_before = first > 0;
    block.received = base::UtcTime(std::chrono::milliseconds(first + 1500));
    block.channels = 1;
    block.samples = 1500;
    for (std::int32_t n = 0; n < 1500; ++n)
      block.counts.push_back((n * 37) % 65536);
    recorder.append(block);
  }
  recorder.finish();
}

}  // namespace windwright
