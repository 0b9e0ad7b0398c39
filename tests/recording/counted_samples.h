// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "base/clock.h"
#include "bench/bench.h"
#include "bench/device.h"
#include "recording/recording.h"

#include <gtest/gtest.h>

#include <array>
#include <chrono>
#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <string>
#include <tuple>

namespace windwright::recording {

/// At 1000 samples a second.
inline bench::Bench three_channels(bench::Compression compression = bench::Compression::none) {
  bench::Bench bench{};
  bench.sample_rate_hz = 1000.0;
  bench.recording.compression = compression;
  for (const auto& [name, unit, bits] : {std::tuple{"air_speed_m_s", "m s-1", 16},
                                         {"rotor_speed_rad_s", "rad s-1", 12},
                                         {"dc_voltage_V", "V", 24}}) {
    bench::Channel channel{};
    channel.name = name;
    channel.long_name = std::string("made-up ") + name;
    channel.unit = unit;
    channel.converter = {.lower_V = -10.0, .upper_V = 10.0, .bits = bits};
    bench.channels.push_back(channel);
  }
  return bench;
}

/// Every count tells which sample of which channel it is.
inline std::int32_t count_at(std::size_t channel, std::int64_t sample) {
  constexpr std::array<std::int64_t, 3> modulus = {65536, 4096, 1 << 24};
  return static_cast<std::int32_t>((sample * 7 + static_cast<std::int64_t>(channel) * 1000) %
                                   modulus[channel]);
}

inline bench::SampleBlock block_from(std::int64_t first, std::size_t samples) {
  bench::SampleBlock block;
  block.first_sample = first;
  block.channels = 3;
  block.samples = samples;
  for (std::size_t c = 0; c < 3; ++c) {
    for (std::size_t i = 0; i < samples; ++i)
      block.counts.push_back(count_at(c, first + static_cast<std::int64_t>(i)));
  }
  return block;
}

inline void expect_every_sample(const std::filesystem::path& file, std::int64_t samples) {
  const Recording recording(file);
  ASSERT_EQ(recording.samples(), samples);
  for (std::size_t c = 0; c < 3; ++c) {
    const auto counts = recording.counts(recording.channels()[c], 0, samples);
    for (std::int64_t i = 0; i < samples; ++i)
      ASSERT_EQ(counts[static_cast<std::size_t>(i)], count_at(c, i)) << c << ' ' << i;
  }
}

inline constexpr base::UtcTime start{std::chrono::hours(24 * 365 * 50)};
inline const Source source{.device = "test-device", .start = start};

}  // namespace windwright::recording
