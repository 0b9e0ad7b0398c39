// SPDX-License-Identifier: Apache-2.0
#include "twin/chain_waves.h"

#include "base/errors.h"
#include "twin/demo_bench.h"
#include "twin/simulated_bench.h"
#include "twin/waveform_bench.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <map>
#include <numbers>
#include <string>
#include <vector>

namespace windwright::twin {
namespace {

using Samples = std::map<std::string, std::vector<double>>;

/// The shed with fast instruments at the inverter's output and on the generator's phases.
bench::Bench shed_with_waves(double sample_rate_hz) {
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

Samples read(SimulatedBench& device, const bench::Bench& bench, std::size_t samples) {
  bench::SampleBlock block;
  device.read(block, samples);
  Samples all;
  for (std::size_t i = 0; i < bench.channels.size(); ++i) {
    std::vector<double>& values = all[bench.channels[i].name];
    for (const std::int32_t counts : block.channel(i))
      values.push_back(shown(bench.channels[i], counts));
  }
  return all;
}

double mean_product(const std::vector<double>& a, const std::vector<double>& b) {
  double sum = 0.0;
  for (std::size_t i = 0; i < a.size(); ++i)
    sum += a[i] * b[i];
  return sum / static_cast<double>(a.size());
}

double rms(const std::vector<double>& a) {
  return std::sqrt(mean_product(a, a));
}

/// A second of wind and loads, then ten periods of the inverter's output, and truth behind them.
struct Look {
  Samples samples;
  std::map<std::string, double> truth;
};
Look look(const bench::Bench& bench, double ac_position, double wait_s = 12.0) {
  SimulatedBench device(bench, Pace::as_fast_as_possible);
  device.set("fan_pct", 80.0);
  device.set("inverter_switch", 1.0);
  device.set("ac_load_selector", ac_position);
  device.advance(wait_s);
  Look seen{.samples = read(device, bench,
                            static_cast<std::size_t>(std::llround(0.2 * bench.sample_rate_hz))),
            .truth = device.truth()};
  return seen;
}

// Ideal instruments, out of step with the edges: one of 100 kHz, in step, sees 0.6 % less of an LED
// lamp's spikes on pulses (150 us, physics/ac_period.h).
// The averaged model beside its waveforms, of every kind of output, with the bulb alone and with
// all loads: within 0.5 %.
TEST(ChainWaves, MeansOfTheInvertersOutputAreThoseOfTheAveragedModel) {
  for (const physics::OutputKind kind :
       {physics::OutputKind::sine, physics::OutputKind::quasi_square,
        physics::OutputKind::square}) {
    bench::Bench bench = shed_with_waves(245003.0);
    for (const char* name : {"inverter_output_V", "inverter_output_A"})
      bench.channels[bench.channel_index(name)].simulated->bandwidth_Hz =
          std::numeric_limits<double>::infinity();
    bench.chain->setup.chain.inverter->kind = kind;
    if (kind == physics::OutputKind::square) bench.chain->setup.chain.inverter->regulated = false;
    for (const double position : {1.0, 4.0}) {
      SCOPED_TRACE(testing::Message()
                   << "kind " << static_cast<int>(kind) << ", position " << position);
      const Look seen = look(bench, position, 1.5);
      const std::vector<double>& v = seen.samples.at("inverter_output_V");
      const std::vector<double>& i = seen.samples.at("inverter_output_A");
      ASSERT_GT(seen.truth.at("inverter_output_W"), 5.0);
      EXPECT_NEAR(mean_product(v, i) / seen.truth.at("inverter_output_W"), 1.0, 5e-3);
      EXPECT_NEAR(rms(v) / seen.truth.at("inverter_output_rms_V"), 1.0, 5e-3);
      EXPECT_NEAR(rms(i) / seen.truth.at("inverter_output_rms_A"), 1.0, 5e-3);
    }
  }
}

// Three phases together carry what the bridge passes on and loses.
TEST(ChainWaves, PhasesBesideABatteryCarryTheBridgesPower) {
  const bench::Bench bench = shed_with_waves(250e3);
  SimulatedBench device(bench, Pace::as_fast_as_possible);
  device.set("fan_pct", 80.0);
  device.advance(40.0);
  const auto truth = device.truth();
  const double period_s =
      2.0 * std::numbers::pi / (bench.generator.pole_pairs * truth.at("rotor_speed_rad_s"));
  const auto samples = static_cast<std::size_t>(std::llround(20.0 * period_s * 250e3));
  const Samples s = read(device, bench, samples);
  double power_W = 0.0;
  for (const std::string phase : {"", "_b", "_c"})
    power_W += mean_product(s.at("ac_voltage" + phase + "_V"), s.at("ac_current" + phase + "_A"));
  ASSERT_GT(truth.at("ac_power_W"), 5.0);
  EXPECT_NEAR(power_W / truth.at("ac_power_W"), 1.0, 5e-3);
  for (std::size_t i = 0; i < samples; i += 37)
    EXPECT_NEAR(s.at("ac_voltage_V")[i] - s.at("ac_voltage_b_V")[i],
                s.at("ac_line_voltage_ab_V")[i], 1e-3);
}

TEST(ChainWaves, AnOpenPhaseCarriesNothing) {
  const bench::Bench bench = shed_with_waves(50e3);
  SimulatedBench device(bench, Pace::as_fast_as_possible);
  device.set("fan_pct", 80.0);
  device.advance(20.0);
  const Samples sound = read(device, bench, 5000);
  device.start_fault({.kind = FaultKind::open_phase});
  device.advance(2.0);
  const Samples open = read(device, bench, 5000);
  std::vector<double> now;
  double least_A = std::numeric_limits<double>::infinity();
  for (const char* name : {"ac_current_A", "ac_current_b_A", "ac_current_c_A"}) {
    EXPECT_GT(rms(sound.at(name)), 0.3) << name;
    least_A = std::min(least_A, rms(open.at(name)));
  }
  EXPECT_LT(least_A, 1e-3);
}

// A lag of 100 Hz on 50 Hz leaves 2 / sqrt 5 of a sine (transfer function of a first-order lag).
TEST(ChainWaves, ASlowInstrumentShowsLess) {
  bench::Bench bench = shed_with_waves(5e3);
  bench.channels[bench.channel_index("inverter_output_V")].simulated->bandwidth_Hz = 100.0;
  const Look seen = look(bench, 3.0, 3.0);
  EXPECT_NEAR(rms(seen.samples.at("inverter_output_V")), 230.0 * 2.0 / std::sqrt(5.0), 0.1);
}

TEST(ChainWaves, AnInverterThatIsOffShowsNothing) {
  const bench::Bench bench = shed_with_waves(10e3);
  SimulatedBench device(bench, Pace::as_fast_as_possible);
  device.advance(1.0);
  const Samples s = read(device, bench, 1000);
  EXPECT_LT(rms(s.at("inverter_output_V")), 1e-3);
  EXPECT_LT(rms(s.at("inverter_output_A")), 1e-3);
}

// Samples do not depend on how they are asked for, nor the wave on where a block begins.
TEST(ChainWaves, GoesOnFromBlockToBlock) {
  const bench::Bench bench = shed_with_waves(10e3);
  SimulatedBench device(bench, Pace::as_fast_as_possible);
  device.set("inverter_switch", 1.0);
  device.set("ac_load_selector", 3.0);
  device.advance(2.0);
  std::vector<double> v;
  for (const std::size_t count : {130U, 1U, 469U, 33U, 167U}) {
    const Samples s = read(device, bench, count);
    const std::vector<double>& more = s.at("inverter_output_V");
    v.insert(v.end(), more.begin(), more.end());
  }
  const double step_rad = 2.0 * std::numbers::pi * 50.0 / 10e3;
  for (std::size_t i = 1; i + 1 < v.size(); ++i)  // of every sine; ripple is a volt or so
    EXPECT_NEAR(v[i - 1] + v[i + 1], 2.0 * std::cos(step_rad) * v[i], 8.0) << i;
}

TEST(ChainWaves, PhasesBehindPulsesAreRefused) {
  bench::Bench bench = shed_with_waves(10e3);
  bench.chain->setup.chain.controller.source = physics::SourceControl::series_pwm;
  try {
    const SimulatedBench device(bench, Pace::as_fast_as_possible);
    FAIL();
  } catch (const base::BadInput& bad) {
    EXPECT_NE(std::string(bad.what()).find("behind the pulses"), std::string::npos);
  }
}

}  // namespace
}  // namespace windwright::twin
