// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "bench/bench.h"
#include "bench/instrument_tables.h"

#include <string>

namespace windwright::devices {

/// Two channels of 0 to 10 V and 16 bits at 100 samples a second, a fan and a load.
inline bench::Bench instrument_bench() {
  bench::Bench bench{};
  bench.sample_rate_hz = 100.0;
  bench.block_s = 0.1;
  for (const char* name : {"air_speed_m_s", "rotor_speed_rad_s"}) {
    bench::Channel channel{};
    channel.name = name;
    channel.long_name = name;
    channel.unit = "m s-1";
    channel.converter = {.lower_V = 0.0, .upper_V = 10.0, .bits = 16};
    bench.channels.push_back(channel);
  }
  for (const char* name : {"fan_pct", "load_selector"}) {
    bench::Actuator actuator{};
    actuator.name = actuator.long_name = name;
    actuator.highest = 100.0;
    bench.actuators.push_back(actuator);
  }
  bench.actuators[1].positions = {"none", "rheostat"};
  bench.actuators[1].highest = 1.0;
  return bench;
}

/// Lines `counter,a,b` with counts.
inline bench::LinesDevice counted_lines() {
  const bench::NumberMeaning counts{.gives = bench::NumberMeaning::Gives::counts};
  bench::LinesDevice lines{};
  lines.endpoint = bench::TcpAddress{.host = "127.0.0.1", .port = 1};
  lines.columns = 3;
  lines.names = {"n", "a", "b"};
  lines.delimiter = ',';
  lines.channels = {{.index = 1, .meaning = counts}, {.index = 2, .meaning = counts}};
  lines.counter = 0;
  lines.counter_bits = 32;
  lines.commands = {{.text = "FAN {value}", .values = {}},
                    {.text = "LOAD {value}", .values = {"OFF", "ON"}}};
  lines.timeout_s = 0.5;
  lines.longest_outage_s = 5.0;
  lines.longest_drift_s = 0.5;
  return lines;
}

}  // namespace windwright::devices
