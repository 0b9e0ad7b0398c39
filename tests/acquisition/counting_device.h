// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "base/clock.h"
#include "base/errors.h"
#include "bench/bench.h"
#include "bench/device.h"
#include "fresh_folder.h"

#include <gtest/gtest.h>

#include <atomic>
#include <chrono>
#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <string>
#include <string_view>

namespace windwright::acquisition {

inline bench::Bench bench_of(std::size_t channels, double rate_hz) {
  bench::Bench bench{};
  bench.sample_rate_hz = rate_hz;
  bench.block_s = 0.1;
  const char* names[] = {"dc_voltage_V", "dc_current_A", "rotor_speed_rad_s", "air_speed_m_s"};
  for (std::size_t i = 0; i < channels; ++i) {
    bench::Channel channel{};
    channel.name = names[i];
    channel.unit = "V";
    channel.converter = {.lower_V = 0.0, .upper_V = 10.0, .bits = i == 3 ? 24 : 16};
    bench.channels.push_back(channel);
  }
  return bench;
}

/// Counts up: every sample tells which it is. Gaps and faults as asked for.
class CountingDevice final : public bench::Device {
 public:
  explicit CountingDevice(const bench::Bench& bench) : bench_(bench) {}
  static std::int32_t count_at(std::size_t channel, std::int64_t sample) {
    return static_cast<std::int32_t>((sample * 3 + static_cast<std::int64_t>(channel) * 11) %
                                     65536);
  }

  const std::string& name() const override { return name_; }
  double sample_rate_hz() const override { return bench_.sample_rate_hz; }
  base::UtcTime now() const override { return time_of(next_); }
  void set(std::string_view, double) override {}
  void apply_known_input(std::string_view, double) override {}
  void remove_known_input() override {}
  void read(bench::SampleBlock& block) override {
    if (next_ >= fault_at) throw base::DeviceFault(name_, "gone", "the cable");
    block.gap_before = next_ >= gap_at && !gap_given_;
    if (block.gap_before) {
      gap_given_ = true;
      next_ += 500;
    }
    block.first_sample = next_;
    block.start = time_of(next_);
    block.channels = bench_.channels.size();
    block.samples = static_cast<std::size_t>(bench_.block_s * bench_.sample_rate_hz);
    block.counts.resize(block.channels * block.samples);
    for (std::size_t c = 0; c < block.channels; ++c) {
      for (std::size_t i = 0; i < block.samples; ++i)
        block.counts[c * block.samples + i] = count_at(c, next_ + static_cast<std::int64_t>(i));
    }
    next_ += static_cast<std::int64_t>(block.samples);
  }
  void stop() noexcept override { stopped = true; }

  std::int64_t fault_at = std::int64_t{1} << 60;
  std::int64_t gap_at = std::int64_t{1} << 60;
  std::atomic<bool> stopped = false;

 private:
  base::UtcTime time_of(std::int64_t sample) const {
    return base::UtcTime(std::chrono::hours(24 * 20'000)) +
           std::chrono::nanoseconds(
               static_cast<std::int64_t>(static_cast<double>(sample) / sample_rate_hz() * 1e9));
  }
  const bench::Bench& bench_;
  std::string name_ = "counting";
  std::int64_t next_ = 0;
  bool gap_given_ = false;
};

}  // namespace windwright::acquisition
