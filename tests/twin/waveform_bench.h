// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "demo_bench.h"

#include <string>

namespace windwright::twin {

/// The demo's bench with all three phases and the line voltages on its converter: 16 channels, at
/// any rate, and a choke of known size behind the bridge.
inline bench::Bench waveform_bench(bench::Bench bench, double sample_rate_hz) {
  const bench::Channel voltage = bench.channels[bench.channel_index("ac_voltage_V")];
  const bench::Channel current = bench.channels[bench.channel_index("ac_current_A")];
  const auto add = [&](bench::Channel channel, const std::string& name) {
    channel.name = name;
    bench.channels.push_back(channel);
  };
  for (const char* phase : {"b", "c"}) {
    add(voltage, std::string("ac_voltage_") + phase + "_V");
    add(current, std::string("ac_current_") + phase + "_A");
  }
  for (const char* pair : {"ab", "bc", "ca"})
    add(voltage, std::string("ac_line_voltage_") + pair + "_V");
  bench.sample_rate_hz = sample_rate_hz;
  bench.smoothing_inductance_H = 0.02;
  return bench;
}

/// Sensors that show the truth, but for bandwidth and converter.
inline bench::Bench with_perfect_sensors(bench::Bench bench) {
  for (bench::Channel& channel : bench.channels) {
    channel.u_drift = 0.0;
    bench::SimulatedSensor& sensor = *channel.simulated;
    sensor.u_offset_V = 0.0;
    sensor.u_sensitivity_relative = 0.0;
    sensor.nonlinearity_relative = 0.0;
    sensor.noise_V = 0.0;
    channel.converter.bits = 24;
  }
  return bench;
}

/// The shed with fast instruments at the inverter's output and on the generator's phases, without
/// turbulence.
inline bench::Bench shed_with_waves(double sample_rate_hz) {
  bench::Bench bench = shed_bench();
  bench.tunnel.turbulence_intensity = 0.0;
  const auto add = [&](const std::string& name, double sensitivity_V) {
    bench::Channel channel = bench.channels[bench.channel_index("inverter_output_W")];
    channel.name = name;
    channel.converter = {.lower_V = -10.0, .upper_V = 10.0, .bits = 24};
    channel.simulated->offset_V = 0.0;
    channel.simulated->sensitivity_V = sensitivity_V;
    channel.simulated->bandwidth_Hz = 100e3;
    bench.channels.push_back(channel);
  };
  add("inverter_output_V", 0.02);
  add("inverter_output_A", 2.0);
  for (const char* phase : {"", "_b", "_c"}) {
    add(std::string("ac_voltage") + phase + "_V", 0.1);
    add(std::string("ac_current") + phase + "_A", 0.5);
  }
  add("ac_line_voltage_ab_V", 0.1);
  bench.sample_rate_hz = sample_rate_hz;
  return with_perfect_sensors(bench);
}

/// What a perfect sensor's counts stand for, in the channel's unit.
inline double shown(const bench::Channel& channel, double counts) {
  return (bench::volts(channel.converter, counts) - channel.simulated->offset_V) /
         channel.simulated->sensitivity_V;
}

}  // namespace windwright::twin
