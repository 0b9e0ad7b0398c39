// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "bench/bench.h"
#include "bench/device.h"
#include "metrology/certificate.h"

#include <chrono>
#include <cmath>
#include <cstdint>
#include <vector>

namespace windwright::publishing {

/// Three channels of 0 to 10 V and 16 bits at 100 samples a second.
inline bench::Bench bench_that_publishes(int port) {
  bench::Bench bench{};
  bench.name = "made up";
  bench.sample_rate_hz = 100.0;
  bench.block_s = 0.1;
  for (const char* name : {"dc_voltage_V", "dc_current_A", "rotor_speed_rad_s"}) {
    bench::Channel channel{};
    channel.name = name;
    channel.unit = "V";
    channel.converter = {.lower_V = 0.0, .upper_V = 10.0, .bits = 16};
    bench.channels.push_back(channel);
  }
  bench.publish =
      bench::PublishDescription{.broker = {.host = "127.0.0.1", .port = port, .timeout_s = 0.1},
                                .topic = "house/left",
                                .interval_s = 0.1};
  return bench;
}

/// Value = 10 x volts, fitted to made-up readings that scatter a little.
inline metrology::Certificate tenfold_certificate(const char* channel) {
  metrology::Readings readings;
  for (int i = 0; i <= 10; ++i) {
    readings.reference.push_back(10.0 * i);
    readings.reading.push_back(i + (i % 2 == 0 ? 0.001 : -0.001));
  }
  metrology::Certificate made;
  made.channel = channel;
  made.model = "line";
  made.reference_unit = made.reading_unit = "V";
  return metrology::calibrate(made, readings, "made up");
}

/// All three channels alike.
inline bench::SampleBlock block_of(const std::vector<double>& volts, std::int64_t first) {
  bench::SampleBlock block;
  block.first_sample = first;
  block.start = base::UtcTime{} + std::chrono::milliseconds(10 * first);
  block.channels = 3;
  block.samples = volts.size();
  for (int channel = 0; channel < 3; ++channel) {
    for (const double value : volts)
      block.counts.push_back(static_cast<std::int32_t>(std::floor(value / 10.0 * 65536.0)));
  }
  return block;
}

}  // namespace windwright::publishing
