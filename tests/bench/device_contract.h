// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "base/errors.h"
#include "bench/bench.h"
#include "bench/device.h"

#include <gtest/gtest.h>

#include <cmath>
#include <cstddef>
#include <cstdint>
#include <functional>
#include <memory>
#include <numeric>
#include <ostream>
#include <string>

namespace windwright::bench {

/// What any Device must do, whatever is behind it. A test program that knows a device includes this
/// file and instantiates the suite with it:
///   INSTANTIATE_TEST_SUITE_P(Simulated, DeviceContract, testing::Values(DeviceUnderTest{...}),
///                            named_device);
struct DeviceUnderTest {
  std::string name;  // letters only
  std::function<Bench()> bench;
  std::function<std::unique_ptr<Device>(const Bench&)> open;
};

inline void PrintTo(const DeviceUnderTest& device, std::ostream* out) {
  *out << device.name;
}

inline std::string named_device(const testing::TestParamInfo<DeviceUnderTest>& info) {
  return info.param.name;
}

class DeviceContract : public testing::TestWithParam<DeviceUnderTest> {
 protected:
  Bench bench_ = GetParam().bench();
  std::unique_ptr<Device> device_ = GetParam().open(bench_);

  SampleBlock next_block() {
    SampleBlock block;
    device_->read(block);
    return block;
  }
  double mean_reading_V(std::size_t channel) {
    const SampleBlock block = next_block();
    const auto counts = block.channel(channel);
    return volts(
        bench_.channels[channel].converter,
        std::accumulate(counts.begin(), counts.end(), 0.0) / static_cast<double>(counts.size()));
  }
};

TEST_P(DeviceContract, BlocksHoldAllChannelsForTheBlockTime) {
  const SampleBlock block = next_block();
  EXPECT_EQ(block.channels, bench_.channels.size());
  EXPECT_EQ(static_cast<double>(block.samples), std::round(bench_.block_s * bench_.sample_rate_hz));
  EXPECT_EQ(block.counts.size(), block.channels * block.samples);
  EXPECT_EQ(device_->sample_rate_hz(), bench_.sample_rate_hz);
}

TEST_P(DeviceContract, BlocksFollowEachOtherWithoutLoss) {
  SampleBlock before = next_block();
  for (int i = 0; i < 5; ++i) {
    const SampleBlock block = next_block();
    EXPECT_FALSE(block.gap_before);
    EXPECT_EQ(block.first_sample, before.first_sample + static_cast<std::int64_t>(before.samples));
    const std::chrono::duration<double> passed = block.start - before.start;
    EXPECT_NEAR(passed.count(), bench_.block_s, 1e-6);
    before = block;
  }
}

TEST_P(DeviceContract, TheClockNeverStepsBack) {
  base::UtcTime last = device_->now();
  const auto expect_forward = [&] {
    EXPECT_GE(device_->now(), last);
    last = device_->now();
  };
  next_block();
  expect_forward();
  device_->set("fan_pct", bench_.actuator("fan_pct").highest);
  expect_forward();
  device_->stop();
  expect_forward();
  EXPECT_GE(next_block().start, last);
}

TEST_P(DeviceContract, CountsStayInsideTheConverter) {
  device_->set("fan_pct", bench_.actuator("fan_pct").highest);
  for (int i = 0; i < 20; ++i) {
    const SampleBlock block = next_block();
    for (std::size_t channel = 0; channel < block.channels; ++channel) {
      const double steps = std::ldexp(1.0, bench_.channels[channel].converter.bits);
      for (const std::int32_t count : block.channel(channel)) {
        ASSERT_GE(count, 0) << bench_.channels[channel].name;
        ASSERT_LT(count, steps) << bench_.channels[channel].name;
      }
    }
  }
}

TEST_P(DeviceContract, RefusesWhatLiesOutsideAnActuatorsLimits) {
  for (const Actuator& actuator : bench_.actuators) {
    for (const double value : {actuator.lowest - 1.0, actuator.highest + 1.0, std::nan("")}) {
      try {
        device_->set(actuator.name, value);
        ADD_FAILURE() << actuator.name << " took " << value;
      } catch (const base::DeviceFault& fault) {
        EXPECT_NE(std::string(fault.what()).find(actuator.name), std::string::npos) << fault.what();
      }
    }
  }
}

TEST_P(DeviceContract, RefusesNamesThatAreNotOnTheBench) {
  EXPECT_THROW(device_->set("warp_drive", 1.0), base::BadInput);
  EXPECT_THROW(device_->apply_known_input("warp_drive", 1.0), base::BadInput);
}

TEST_P(DeviceContract, AKnownInputShowsOnItsChannelAndGoesAway) {
  for (std::size_t i = 0; i < bench_.channels.size(); ++i) {
    const Channel& channel = bench_.channels[i];
    const auto& references = channel.calibration.references;
    device_->apply_known_input(channel.name, references.front());
    const double low_V = mean_reading_V(i);
    device_->apply_known_input(channel.name, references.back());
    const double high_V = mean_reading_V(i);
    const double span_V = channel.converter.upper_V - channel.converter.lower_V;
    EXPECT_GT(std::abs(high_V - low_V), 0.01 * span_V) << channel.name;
    device_->remove_known_input();
  }
  // Nothing turns: the rotor's channel no longer shows the last reference, but standstill.
  const std::size_t speed = bench_.channel_index("rotor_speed_rad_s");
  const double rest_V = mean_reading_V(speed);
  device_->apply_known_input("rotor_speed_rad_s",
                             bench_.channels[speed].calibration.references.back());
  const double top_V = mean_reading_V(speed);
  device_->remove_known_input();
  EXPECT_NEAR(mean_reading_V(speed), rest_V, 0.02 * std::abs(top_V - rest_V));
}

TEST_P(DeviceContract, StopWorksAtAnyTimeAndAgain) {
  device_->stop();
  device_->set("fan_pct", bench_.actuator("fan_pct").highest);
  next_block();
  device_->stop();
  device_->stop();
  const SampleBlock before = next_block();
  const SampleBlock after = next_block();
  EXPECT_EQ(after.first_sample, before.first_sample + static_cast<std::int64_t>(before.samples));
}

TEST_P(DeviceContract, ReturnsToItsOwnBookmark) {
  next_block();
  const std::string bookmark = device_->bookmark();
  EXPECT_EQ(bookmark.find('\n'), std::string::npos);
  const base::UtcTime then = device_->now();
  const auto other = GetParam().open(bench_);
  other->return_to(bookmark);
  SampleBlock block;
  other->read(block);
  if (!bookmark.empty()) {  // where the world itself does not remember
    EXPECT_EQ(block.start, then);
  }
}

}  // namespace windwright::bench
