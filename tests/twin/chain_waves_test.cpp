// SPDX-License-Identifier: Apache-2.0
#include "twin/chain_waves.h"

#include "base/errors.h"
#include "physics/ac_supply.h"
#include "physics/charge_controller.h"
#include "physics/generator.h"
#include "physics/inverter.h"
#include "twin/demo_bench.h"
#include "twin/fault.h"
#include "twin/simulated_bench.h"
#include "twin/waveform_bench.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <map>
#include <numbers>
#include <optional>
#include <string>
#include <vector>

namespace windwright::twin {
namespace {

using Samples = std::map<std::string, std::vector<double>>;

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

void make_ideal(bench::Bench& bench) {
  for (const char* name : {"inverter_output_V", "inverter_output_A"})
    bench.channels[bench.channel_index(name)].simulated->bandwidth_Hz =
        std::numeric_limits<double>::infinity();
}

void set_output(bench::Bench& bench, physics::OutputKind kind) {
  bench.chain->setup.chain.inverter->kind = kind;
  if (kind == physics::OutputKind::square) bench.chain->setup.chain.inverter->regulated = false;
}

// The averaged model beside its waveforms, of every kind of output, with the bulb alone and with
// all loads: within 0.5 %. Ideal instruments, out of step with the edges.
TEST(ChainWaves, MeansOfTheInvertersOutputAreThoseOfTheAveragedModel) {
  for (const physics::OutputKind kind :
       {physics::OutputKind::sine, physics::OutputKind::quasi_square,
        physics::OutputKind::square}) {
    bench::Bench bench = shed_with_waves(245003.0);
    make_ideal(bench);
    set_output(bench, kind);
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

// The LED lamp's spikes (150 us, physics/ac_period.h) through 100 kHz, in step with the pulses: the
// instrument shows less, no more than 1 %.
TEST(ChainWaves, AnInstrumentOf100KilohertzShowsUpToOnePercentLessOfALedLamp) {
  for (const physics::OutputKind kind :
       {physics::OutputKind::sine, physics::OutputKind::quasi_square}) {
    bench::Bench bench = shed_with_waves(250e3);
    set_output(bench, kind);
    const Look seen = look(bench, 1.0, 1.5);
    const double seen_W =
        mean_product(seen.samples.at("inverter_output_V"), seen.samples.at("inverter_output_A"));
    EXPECT_NEAR(seen_W / seen.truth.at("inverter_output_W"), 0.995, 0.006);
  }
}

/// The shed with an inverter for a bus so much higher that on its own it has output for a share of
/// the time only.
bench::Bench shed_in_bursts(physics::OutputKind kind, double share) {
  bench::Bench bench = shed_with_waves(20011.0);
  make_ideal(bench);
  set_output(bench, kind);
  physics::Inverter& inverter = *bench.chain->setup.chain.inverter;
  constexpr double bus_V = 12.7;
  const double steady_V = bus_V / std::sqrt(share);
  const bool square = kind == physics::OutputKind::square;
  inverter.limits.low_stop_V = inverter.limits.low_warning_V = steady_V / (square ? 0.8 : 1.0);
  inverter.limits.low_stop_delay_s = 1e3;
  inverter.limits.low_reconnect_V = 1.1 * inverter.limits.low_stop_V;
  inverter.limits.high_reconnect_V = 2.0 * inverter.limits.low_stop_V;
  inverter.limits.high_stop_V = 3.0 * inverter.limits.low_stop_V;
  const double peak_V = kind == physics::OutputKind::sine ? std::numbers::sqrt2 * 230.0 : 230.0;
  inverter.link_ratio = peak_V / (0.99 * steady_V);
  return bench;
}

// On a bus too low for it the inverter's output comes in bursts: over 987 periods (a Fibonacci
// number, over which the golden section spreads them best) energy and RMS values of the averaged
// model, within 0.5 %, or a period and a half where that is more.
TEST(ChainWaves, BurstsCarryTheEnergyOfTheAveragedModel) {
  constexpr double periods = 987.0;
  for (const physics::OutputKind kind :
       {physics::OutputKind::sine, physics::OutputKind::quasi_square,
        physics::OutputKind::square}) {
    for (const double wanted : {0.1, 0.5, 0.9}) {
      const bench::Bench bench = shed_in_bursts(kind, wanted);
      SCOPED_TRACE(testing::Message() << "kind " << static_cast<int>(kind) << ", share " << wanted);
      SimulatedBench device(bench, Pace::as_fast_as_possible);
      device.set("inverter_switch", 1.0);
      device.set("ac_load_selector", wanted == 0.5 ? 4.0 : 1.0);
      device.advance(1.5);
      const double share = physics::burst_share(*bench.chain->setup.chain.inverter,
                                                device.truth().at("battery_voltage_V"));
      ASSERT_NEAR(share, wanted, 0.07);
      ASSERT_LT(share, 1.0);
      const double before_J = device.chain_energy().at("ac_loads_J");
      const std::map<std::string, double> before = device.truth();
      const auto samples =
          static_cast<std::size_t>(std::llround(periods / 50.0 * bench.sample_rate_hz));
      const Samples s = read(device, bench, samples);
      const std::map<std::string, double> after = device.truth();
      const double energy_J = device.chain_energy().at("ac_loads_J") - before_J;
      const std::vector<double>& v = s.at("inverter_output_V");
      const std::vector<double>& i = s.at("inverter_output_A");
      const double near = std::max(5e-3, 1.5 / (periods * share));
      EXPECT_NEAR(mean_product(v, i) * periods / 50.0 / energy_J, 1.0, near);
      const auto midway = [&](const char* name) {
        return 0.5 * (before.at(name) + after.at(name));
      };
      EXPECT_NEAR(rms(v) / midway("inverter_output_rms_V"), 1.0, near);
      EXPECT_NEAR(rms(i) / midway("inverter_output_rms_A"), 1.0, 2.0 * near);
    }
  }
}

struct PhaseCase {
  double fan_pct;
  double inductance_times = 1.0;
  std::optional<FaultKind> fault = {};
};

// Of the samples, those in which no, two and three phases conduct.
std::array<double, 4> conducting(const Samples& s) {
  std::array<double, 4> shares{};
  const std::size_t count = s.at("ac_current_A").size();
  for (std::size_t i = 0; i < count; ++i) {
    std::size_t phases = 0;
    for (const char* name : {"ac_current_A", "ac_current_b_A", "ac_current_c_A"})
      phases += std::abs(s.at(name)[i]) > 0.01 ? 1 : 0;
    shares.at(phases) += 1.0 / static_cast<double>(count);
  }
  return shares;
}

// Three phases together carry what the bridge passes on and loses, and each the current that the
// averaged model states, from discontinuous to continuous conduction. With a bridge at fault both
// come from the exact cycle (held against diodes stepped through time in
// tests/physics/bridge_transient_test.cpp): there it is the sampling that is tested.
TEST(ChainWaves, PhasesBesideABatteryCarryTheBridgesPower) {
  int gaps = 0;
  int overlaps = 0;
  int always_three = 0;
  for (const PhaseCase each :
       {PhaseCase{28.0}, PhaseCase{60.0}, PhaseCase{100.0}, PhaseCase{80.0, 8.0},
        PhaseCase{100.0, 40.0}, PhaseCase{80.0, 1.0, FaultKind::open_phase},
        PhaseCase{80.0, 1.0, FaultKind::shorted_diode}}) {
    SCOPED_TRACE(testing::Message()
                 << each.fan_pct << " %, inductance times " << each.inductance_times << ", fault "
                 << (each.fault ? static_cast<int>(*each.fault) : -1));
    bench::Bench bench = shed_with_waves(250e3);
    bench.simulation->u_loss_relative = 0.0;
    forget_heat(bench);
    bench.generator.winding_inductance_H *= each.inductance_times;
    SimulatedBench device(bench, Pace::as_fast_as_possible);
    device.set("fan_pct", 80.0);
    device.advance(20.0);
    device.set("fan_pct", each.fan_pct);
    device.advance(30.0);
    auto fault = physics::BridgeFault::none;
    if (each.fault) {
      device.start_fault({.kind = *each.fault});
      device.advance(40.0);
      fault = each.fault == FaultKind::open_phase ? physics::BridgeFault::open_phase
                                                  : physics::BridgeFault::shorted_diode;
    }
    const auto truth = device.truth();
    const double speed_rad_s = truth.at("rotor_speed_rad_s");
    const double period_s = 2.0 * std::numbers::pi / (bench.generator.pole_pairs * speed_rad_s);
    const auto samples = static_cast<std::size_t>(std::llround(10.0 * period_s * 250e3));
    const Samples s = read(device, bench, samples);
    const physics::VoltageLoad averaged = physics::generator_on_voltage(
        bench.generator, speed_rad_s, truth.at("battery_voltage_V"), fault);
    double power_W = 0.0;
    std::vector<double> currents_A;
    for (const std::string phase : {"", "_b", "_c"}) {
      const std::vector<double>& i = s.at("ac_current" + phase + "_A");
      power_W += mean_product(s.at("ac_voltage" + phase + "_V"), i);
      currents_A.push_back(rms(i));
    }
    ASSERT_GT(truth.at("ac_power_W"), 0.2);
    EXPECT_NEAR(power_W / truth.at("ac_power_W"), 1.0, 5e-3);
    std::vector<double> stated_A(averaged.line_current_rms_A.begin(),
                                 averaged.line_current_rms_A.end());
    for (std::vector<double>* each_A : {&currents_A, &stated_A})
      std::sort(each_A->begin(), each_A->end());
    for (std::size_t k = 0; k < 3; ++k)
      EXPECT_NEAR(currents_A[k], stated_A[k], 5e-3 * stated_A[k] + 1e-4) << k;
    for (std::size_t i = 0; i < samples; i += 37)
      EXPECT_NEAR(s.at("ac_voltage_V")[i] - s.at("ac_voltage_b_V")[i],
                  s.at("ac_line_voltage_ab_V")[i], 1e-3);
    const auto shares = conducting(s);
    if (each.fault) continue;
    gaps += shares[0] > 0.02 ? 1 : 0;
    overlaps += shares[2] > 0.1 && shares[3] > 0.1 ? 1 : 0;
    always_three += shares[3] > 0.95 ? 1 : 0;
  }
  EXPECT_GT(gaps, 0);
  EXPECT_GT(overlaps, 0);
  EXPECT_GT(always_three, 0);
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

// A controller that has opened: nothing reaches the DC side, but current circulates in the fault.
TEST(ChainWaves, AShortedDiodeBehindAnOpenControllerLetsCurrentCirculate) {
  bench::Bench bench = shed_with_waves(250e3);
  bench.simulation->u_loss_relative = 0.0;
  forget_heat(bench);
  bench.chain->state_of_charge = 1.0;
  bench.chain->setup.chain.controller.source = physics::SourceControl::series_on_off;
  bench.chain->setup.chain.controller.dump = physics::DumpControl::none;
  bench.chain->setup.chain.controller.set_points.highest_charging_K = 280.0;  // not allowed
  SimulatedBench device(bench, Pace::as_fast_as_possible);
  device.set("fan_pct", 80.0);
  device.advance(20.0);
  device.start_fault({.kind = FaultKind::shorted_diode});
  device.advance(60.0);
  const auto truth = device.truth();
  ASSERT_NEAR(truth.at("dc_current_A"), 0.0, 1e-9);
  const double speed_rad_s = truth.at("rotor_speed_rad_s");
  const double period_s = 2.0 * std::numbers::pi / (bench.generator.pole_pairs * speed_rad_s);
  const Samples s =
      read(device, bench, static_cast<std::size_t>(std::llround(10.0 * period_s * 250e3)));
  double power_W = 0.0;
  double highest_A = 0.0;
  for (const std::string phase : {"", "_b", "_c"}) {
    const std::vector<double>& i = s.at("ac_current" + phase + "_A");
    power_W += mean_product(s.at("ac_voltage" + phase + "_V"), i);
    highest_A = std::max(highest_A, rms(i));
  }
  const physics::VoltageLoad open = physics::generator_on_voltage(
      bench.generator, speed_rad_s, 100.0, physics::BridgeFault::shorted_diode);
  ASSERT_GT(open.load.line_current_rms_A, 0.3);
  EXPECT_NEAR(power_W / open.load.ac_power_W, 1.0, 5e-3);
  EXPECT_NEAR(highest_A / open.load.line_current_rms_A, 1.0, 5e-3);
}

// However they are asked for, samples are the same to 1e-5 of the range: the wave of a stretch is
// that of its middle. One sample slipped would be a thousand times that.
TEST(ChainWaves, GoesOnFromBlockToBlock) {
  const bench::Bench bench = shed_with_waves(10e3);
  const auto counts_of = [&](const std::vector<std::size_t>& sizes) {
    SimulatedBench device(bench, Pace::as_fast_as_possible);
    device.set("fan_pct", 80.0);
    device.set("inverter_switch", 1.0);
    device.set("ac_load_selector", 3.0);
    device.advance(10.0);
    std::vector<std::vector<std::int32_t>> all(bench.channels.size());
    bench::SampleBlock block;
    for (const std::size_t size : sizes) {
      device.read(block, size);
      for (std::size_t c = 0; c < all.size(); ++c)
        all[c].insert(all[c].end(), block.channel(c).begin(), block.channel(c).end());
    }
    return all;
  };
  const auto pieces = counts_of({130, 1, 469, 33, 167});
  const auto whole = counts_of({800});
  for (std::size_t c = 0; c < whole.size(); ++c) {
    ASSERT_EQ(pieces[c].size(), whole[c].size());
    std::int32_t apart = 0;
    for (std::size_t i = 0; i < whole[c].size(); ++i)
      apart = std::max(apart, std::abs(pieces[c][i] - whole[c][i]));
    // Warmth steps with the grid of 20 ms, by millikelvins.
    const bool of_heat = bench.channels[c].name == "winding_temperature_C";
    EXPECT_LE(apart, of_heat ? 400 : 168) << bench.channels[c].name;
  }
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
