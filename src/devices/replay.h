// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "base/clock.h"
#include "bench/bench.h"
#include "bench/device.h"
#include "bench/device_table.h"
#include "recording/recording.h"
#include "twin/simulated_bench.h"

#include <chrono>
#include <cstddef>
#include <cstdint>
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::devices {

/// A recording played again as if the bench were there: its counts, gaps and times. It takes no
/// commands. At the end it begins again with a gap, or is a fault, as [device] says.
class Replay final : public bench::Device {
 public:
  /// @throws BadInput  not a recording of this bench: other channels, rate or converters
  Replay(const bench::Bench& bench, const bench::ReplayDevice& described, twin::Pace pace);

  const std::string& name() const override { return name_; }
  double sample_rate_hz() const override { return recording_.sample_rate_hz(); }
  base::UtcTime now() const override { return time_of(device_sample_); }
  /// @throws DeviceFault  always
  void set(std::string_view actuator, double value) override;
  void apply_known_input(std::string_view channel, double value) override;
  void remove_known_input() override;
  /// @throws DeviceFault  the recording has ended and is not repeated
  void read(bench::SampleBlock& block) override;
  void stop() noexcept override {}

 private:
  base::UtcTime time_of(std::int64_t device_sample) const;
  void require_same(const bench::Bench& bench) const;
  void wait() const;
  void put_counts(std::size_t channel, std::int64_t end, std::span<std::int32_t> to) const;

  recording::Recording recording_;
  std::string file_;
  std::string name_;
  bool repeat_;
  twin::Pace pace_;
  std::size_t block_samples_;
  std::vector<std::int64_t> every_;  // (channels) samples that one in the recording stands for
  std::int64_t next_ = 0;            // of the recording
  std::int64_t device_sample_ = 0;   // of the device that was recorded, going on when repeated
  std::int64_t read_ = 0;
  std::size_t gap_ = 0;  // that comes next
  std::chrono::steady_clock::time_point begun_;
};

}  // namespace windwright::devices
