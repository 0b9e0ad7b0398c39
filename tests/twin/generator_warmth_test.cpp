// SPDX-License-Identifier: Apache-2.0
#include "base/errors.h"
#include "physics/generator.h"
#include "physics/generator_heat.h"
#include "twin/demo_bench.h"
#include "twin/simulated_bench.h"

#include <gtest/gtest.h>

#include <array>
#include <cmath>
#include <map>
#include <string>

namespace windwright::twin {
namespace {

/// In calm air, so that a point stands still but for its warmth.
bench::Bench warming_bench() {
  bench::Bench bench = demo_bench();
  bench.tunnel.turbulence_intensity = 0.0;
  bench.simulation->air_temperature_drift_K_h = 0.0;
  return bench;
}

void load_heavily(SimulatedBench& device) {
  device.set("fan_pct", 90.0);
  device.advance(10.0);
  device.set("load_selector", 1.0);
  device.set("rheostat_ohm", 8.0);
}

double lost_J(const EnergyTally& e) {
  return e.bearing_J + e.iron_J + e.winding_J;
}

// By hand: in the end all losses leave through the frame, the winding's through the winding too.
TEST(GeneratorWarmth, SettlesWhereItsLossesLeave) {
  bench::Bench bench = warming_bench();
  bench.generator_heat->winding_heat_J_K = 3.0;
  bench.generator_heat->frame_heat_J_K = 6.0;
  SimulatedBench device(bench, Pace::as_fast_as_possible);
  load_heavily(device);
  device.advance(120.0);
  const std::map<std::string, double> t = device.truth();
  const double all_W = t.at("winding_loss_W") + t.at("iron_loss_W") + t.at("bearing_loss_W");
  const double above_air_K = all_W / bench.generator_heat->frame_to_air_W_K;
  const double above_frame_K = t.at("winding_loss_W") / bench.generator_heat->winding_to_frame_W_K;
  ASSERT_GT(above_frame_K, 2.0);
  EXPECT_NEAR(t.at("frame_temperature_C") - t.at("air_temperature_C"), above_air_K, 1e-4);
  EXPECT_NEAR(t.at("winding_temperature_C") - t.at("frame_temperature_C"), above_frame_K, 1e-4);
}

TEST(GeneratorWarmth, EveryJouleLostIsStoredOrGoesToTheAir) {
  const bench::Bench bench = warming_bench();
  const physics::GeneratorHeat& heat = *bench.generator_heat;
  SimulatedBench device(bench, Pace::as_fast_as_possible);
  load_heavily(device);
  device.advance(3.333);  // off the grid
  device.reset_energy();
  const auto before = device.truth();
  double to_air_J = 0.0;
  double frame_C = before.at("frame_temperature_C");
  for (int i = 0; i < 100; ++i) {
    device.advance(1.0);
    const double next_C = device.truth().at("frame_temperature_C");
    to_air_J += heat.frame_to_air_W_K * (0.5 * (frame_C + next_C) - before.at("air_temperature_C"));
    frame_C = next_C;
  }
  const auto after = device.truth();
  const EnergyTally e = device.energy();
  ASSERT_GT(lost_J(e), 1000.0);
  EXPECT_NEAR((e.generator_stored_J + e.generator_to_air_J) / lost_J(e), 1.0, 1e-12);
  const double stored_J =
      heat.winding_heat_J_K *
          (after.at("winding_temperature_C") - before.at("winding_temperature_C")) +
      heat.frame_heat_J_K * (after.at("frame_temperature_C") - before.at("frame_temperature_C"));
  // Both ends lie within a grid step, 20 ms of some 30 W.
  EXPECT_NEAR(e.generator_stored_J, stored_J, 1.0);
  // Trapezium over 1 s, the grid steps at its ends.
  EXPECT_NEAR(e.generator_to_air_J / to_air_J, 1.0, 1e-3);
  EXPECT_NEAR((e.rotor_J - lost_J(e) - e.rectifier_J - e.load_J - e.kinetic_J) / e.rotor_J, 0.0,
              1e-7);
}

TEST(GeneratorWarmth, AWarmMachineHasMoreResistanceAndLessFlux) {
  bench::Bench bench = warming_bench();
  bench.generator_heat->winding_heat_J_K = 3.0;
  bench.generator_heat->frame_heat_J_K = 6.0;
  bench.simulation->u_loss_relative = 0.0;
  SimulatedBench device(bench, Pace::as_fast_as_possible);
  load_heavily(device);
  device.advance(120.0);
  const auto t = device.truth();
  const double kelvin = 273.15;
  // IEC 60034-1, 8.6.2 (from memory) for copper, and the magnets' coefficient of the bench.
  physics::Generator warm = bench.generator;
  warm.winding_resistance_ohm *= (235.0 + t.at("winding_temperature_C")) /
                                 (235.0 + bench.generator_heat->reference_K - kelvin);
  warm.flux_linkage_V_s *=
      1.0 - 0.002 * (t.at("frame_temperature_C") + kelvin - bench.generator_heat->reference_K);
  ASSERT_GT(warm.winding_resistance_ohm, 1.02 * bench.generator.winding_resistance_ohm);
  const physics::GeneratorLoad expected =
      physics::generator_at_current(warm, t.at("rotor_speed_rad_s"), t.at("dc_current_A"));
  EXPECT_NEAR(t.at("winding_loss_W") / expected.winding_loss_W, 1.0, 1e-6);
  EXPECT_NEAR(t.at("dc_voltage_V") / expected.dc_voltage_V, 1.0, 1e-6);
}

TEST(GeneratorWarmth, CoolsWhileBladesAreChanged) {
  SimulatedBench device(warming_bench(), Pace::as_fast_as_possible);
  load_heavily(device);
  device.advance(60.0);
  const double hot_C = device.truth().at("winding_temperature_C");
  device.set("fan_pct", 0.0);
  device.set("blade_count", 2.0);
  device.set("blade_count", 3.0);
  EXPECT_LT(device.truth().at("winding_temperature_C"), hot_C - 1.0);
}

// It brakes the rotor, so that less comes in; of that, more becomes heat in the winding.
TEST(GeneratorWarmth, AShortedDiodeWarmsTheWindingMoreForWhatTheRotorGives) {
  bench::Bench bench = shed_bench();
  bench.tunnel.turbulence_intensity = 0.0;
  bench.generator_heat->winding_to_frame_W_K = 0.01;
  SimulatedBench device(bench, Pace::as_fast_as_possible);
  device.set("fan_pct", 80.0);
  device.advance(30.0);
  const auto warming_K_J = [&] {
    device.reset_energy();
    const double before_C = device.truth().at("winding_temperature_C");
    device.advance(5.0);
    return (device.truth().at("winding_temperature_C") - before_C) / device.energy().rotor_J;
  };
  const double sound_K_J = warming_K_J();
  device.start_fault({.kind = FaultKind::shorted_diode});
  device.advance(5.0);
  EXPECT_GT(warming_K_J(), 1.3 * sound_K_J);
}

constexpr std::array<const char*, 2> names{"winding_temperature_C", "frame_temperature_C"};

bench::Channel channel_of_heat(const bench::Bench& bench, const std::string& name) {
  bench::Channel channel = bench.channels[bench.channel_index("air_temperature_C")];
  channel.name = name;
  return channel;
}

TEST(GeneratorWarmth, ShowsOnSensorsInWindingAndFrame) {
  for (const std::string name : names) {
    SCOPED_TRACE(name);
    bench::Bench bench = warming_bench();
    bench.channels.push_back(channel_of_heat(bench, name));
    SimulatedBench device(bench, Pace::as_fast_as_possible);
    load_heavily(device);
    device.advance(200.0);
    bench::SampleBlock block;
    device.read(block, 2000);
    const bench::Channel& channel = bench.channels.back();
    const double shown =
        (bench::volts(channel.converter, block.channel(bench.channels.size() - 1)[1999]) -
         channel.simulated->offset_V) /
        channel.simulated->sensitivity_V;
    const double true_C = device.truth().at(name);
    EXPECT_GT(true_C, device.truth().at("air_temperature_C") + 2.0);
    EXPECT_NEAR(shown, true_C, 0.6);
  }
}

TEST(GeneratorWarmth, WithoutADescriptionOfItsHeatNothingIsSaidOfIt) {
  for (const std::string name : names) {
    bench::Bench bench = warming_bench();
    forget_heat(bench);
    const SimulatedBench device(bench, Pace::as_fast_as_possible);
    EXPECT_FALSE(device.truth().contains(name));
    bench.channels.push_back(channel_of_heat(bench, name));
    try {
      const SimulatedBench refused(bench, Pace::as_fast_as_possible);
      FAIL();
    } catch (const base::BadInput& bad) {
      EXPECT_NE(std::string(bad.what()).find(name), std::string::npos);
      EXPECT_NE(std::string(bad.what()).find("[generator.heat]"), std::string::npos);
    }
  }
}

}  // namespace
}  // namespace windwright::twin
