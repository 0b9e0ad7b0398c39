// SPDX-License-Identifier: Apache-2.0
// hour_recording FILE [SECONDS]: a recording of one channel at 250 kS/s, an hour unless told
// otherwise: a 210 Hz wave that swells over minutes, with noise. For
// console/scripts/interactive.mjs; 1.9 GB an hour.
#include "bench/bench.h"
#include "recording/recording.h"

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <cstdlib>
#include <numbers>
#include <random>

namespace windwright {
namespace {

constexpr double rate_hz = 250'000.0;
constexpr std::int64_t block_samples = 1 << 20;

void record(const char* file, double seconds) {
  bench::Bench bench{};
  bench.name = "An hour of samples";
  bench.sample_rate_hz = rate_hz;
  bench::Channel channel{};
  channel.name = "ac_voltage_V";
  channel.unit = "V";
  channel.converter = {.lower_V = -10.0, .upper_V = 10.0, .bits = 16};
  bench.channels.push_back(channel);
  auto recorder = recording::Recorder::create(file, bench, {.device = "benchmark", .start = {}});
  bench::SampleBlock block;
  block.channels = 1;
  std::mt19937 random(1);
  const auto samples = static_cast<std::int64_t>(seconds * rate_hz);
  while (recorder.samples() < samples) {
    const std::int64_t first = recorder.samples();
    const std::int64_t count = std::min(block_samples, samples - first);
    block.samples = static_cast<std::size_t>(count);
    block.first_sample = first;
    block.counts.resize(block.samples);
    for (std::int64_t i = 0; i < count; ++i) {
      const double t_s = static_cast<double>(first + i) / rate_hz;
      const double swell = 1.0 + 0.3 * std::sin(2.0 * std::numbers::pi * t_s / 240.0);
      const double wave = 8000.0 * swell * std::sin(2.0 * std::numbers::pi * 210.0 * t_s);
      block.counts[static_cast<std::size_t>(i)] =
          static_cast<std::int32_t>(32768.0 + wave) + static_cast<std::int32_t>(random() & 0xff);
    }
    recorder.append(block);
  }
  recorder.finish();
}

}  // namespace
}  // namespace windwright

int main(int count, char** words) {
  if (count < 2) return 2;
  windwright::record(words[1], count > 2 ? std::atof(words[2]) : 3600.0);
  return 0;
}
