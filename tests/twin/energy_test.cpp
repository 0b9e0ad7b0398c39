// SPDX-License-Identifier: Apache-2.0
#include "physics/generator.h"
#include "twin/demo_bench.h"
#include "twin/simulated_bench.h"

#include <gtest/gtest.h>

#include <cmath>
#include <map>
#include <string>

namespace windwright::twin {
namespace {

double unaccounted_J(const EnergyTally& e) {
  return e.rotor_J - e.bearing_J - e.iron_J - e.winding_J - e.rectifier_J - e.load_J - e.brake_J -
         e.kinetic_J;
}

void mount(SimulatedBench& device, double blades, double pitch_deg) {
  device.set("fan_pct", 0.0);
  device.set("blade_count", blades);
  device.set("pitch_deg", pitch_deg);
}

void expect_stages_close(const std::map<std::string, double>& t) {
  const double rotor_W = t.at("rotor_power_W");
  ASSERT_GT(rotor_W, 1.0);
  const double spent_W = t.at("bearing_loss_W") + t.at("iron_loss_W") + t.at("winding_loss_W") +
                         t.at("rectifier_loss_W") + t.at("dc_power_W");
  EXPECT_NEAR(spent_W / rotor_W, 1.0, 1e-6);
  const double shaft_W =
      t.at("bearing_loss_W") + t.at("iron_loss_W") + t.at("electromagnetic_power_W");
  EXPECT_NEAR(shaft_W / rotor_W, 1.0, 1e-6);
  EXPECT_NEAR((t.at("winding_loss_W") + t.at("ac_power_W")) / t.at("electromagnetic_power_W"), 1.0,
              1e-12);
  EXPECT_NEAR((t.at("rectifier_loss_W") + t.at("dc_power_W")) / t.at("ac_power_W"), 1.0, 1e-12);
  EXPECT_NEAR(t.at("dc_voltage_V") * t.at("dc_current_A") / t.at("dc_power_W"), 1.0, 1e-12);
  EXPECT_LT(t.at("cp"), 16.0 / 27.0);
}

TEST(Energy, StagesCloseAtEverySteadyPoint) {
  SimulatedBench device(calm_bench(), Pace::as_fast_as_possible);
  for (const double blades : {2.0, 3.0}) {
    for (const double pitch_deg : {5.0, 10.0}) {
      mount(device, blades, pitch_deg);
      device.set("load_selector", 1.0);
      for (const double fan_pct : {65.0, 95.0}) {
        for (const double rheostat_ohm : {60.0, 25.0, 11.0}) {
          SCOPED_TRACE(testing::Message() << blades << " blades at " << pitch_deg << " deg, fan "
                                          << fan_pct << " %, " << rheostat_ohm << " ohm");
          device.set("fan_pct", fan_pct);
          device.set("rheostat_ohm", rheostat_ohm);
          device.advance(60.0);
          expect_stages_close(device.truth());
        }
      }
    }
  }
}

TEST(Energy, StagesCloseOnTheLampsToo) {
  SimulatedBench device(calm_bench(), Pace::as_fast_as_possible);
  mount(device, 3.0, 6.0);
  device.set("fan_pct", 80.0);
  device.advance(15.0);  // cold filaments are nearly a short circuit: no start on them
  device.set("load_selector", 2.0);
  device.advance(60.0);
  expect_stages_close(device.truth());
  EXPECT_GT(device.truth().at("lamp_temperature_K"), 1500.0);
}

// Start, loads switched, fan up and down, all the way to standstill.
void transients(SimulatedBench& device) {
  mount(device, 3.0, 6.0);
  device.reset_energy();
  double passed_J = 0.0;
  const auto step = [&](const char* actuator, double value, double seconds) {
    device.set(actuator, value);
    device.advance(seconds);
    const EnergyTally e = device.energy();
    passed_J = std::max(passed_J, e.rotor_J);
    EXPECT_NEAR(unaccounted_J(e) / passed_J, 0.0, 1e-7) << actuator << " " << value;
  };
  device.set("fan_pct", 70.0);
  step("load_selector", 0.0, 12.0);
  step("load_selector", 1.0, 0.3);
  step("rheostat_ohm", 10.0, 2.0);
  step("load_selector", 2.0, 0.1);
  step("load_selector", 3.0, 5.0);
  step("fan_pct", 100.0, 4.0);
  step("fan_pct", 20.0, 30.0);
  step("fan_pct", 0.0, 90.0);
  EXPECT_EQ(device.truth().at("rotor_speed_rad_s"), 0.0);
}

TEST(Energy, BalancesThroughTransientsInCalmAir) {
  SimulatedBench device(calm_bench(), Pace::as_fast_as_possible);
  transients(device);
}

TEST(Energy, BalancesThroughTransientsInTurbulentAir) {
  bench::Bench bench = demo_bench();
  bench.tunnel.turbulence_intensity = 0.15;
  SimulatedBench device(bench, Pace::as_fast_as_possible);
  transients(device);
}

TEST(Energy, PowersCloseAtEveryInstantWithWhatIsStored) {
  SimulatedBench device(demo_bench(), Pace::as_fast_as_possible);
  mount(device, 3.0, 6.0);
  device.set("load_selector", 1.0);
  device.set("fan_pct", 80.0);
  for (int i = 0; i < 200; ++i) {
    device.advance(0.07);
    const auto t = device.truth();
    const double right_W = t.at("bearing_loss_W") + t.at("iron_loss_W") + t.at("winding_loss_W") +
                           t.at("rectifier_loss_W") + t.at("dc_power_W") + t.at("stored_power_W");
    ASSERT_NEAR(t.at("rotor_power_W"), right_W, 1e-12 + 1e-12 * std::abs(t.at("rotor_power_W")));
  }
}

// The stored power of truth() is the slope of the kinetic energy that the integrator sees.
TEST(Energy, StoredPowerIsTheSlopeOfTheKineticEnergy) {
  SimulatedBench device(calm_bench(), Pace::as_fast_as_possible);
  mount(device, 3.0, 6.0);
  device.set("fan_pct", 80.0);
  device.advance(5.0);
  const double before_J = device.energy().kinetic_J;
  device.advance(0.01);
  const double stored_W = device.truth().at("stored_power_W");
  device.advance(0.01);
  const double after_J = device.energy().kinetic_J;
  ASSERT_GT(stored_W, 1.0);
  EXPECT_NEAR((after_J - before_J) / 0.02 / stored_W, 1.0, 1e-4);
}

TEST(Energy, TheHandThatStopsTheRotorTakesItsKineticEnergy) {
  const bench::Bench bench = calm_bench();
  SimulatedBench device(bench, Pace::as_fast_as_possible);
  mount(device, 3.0, 6.0);
  device.set("fan_pct", 80.0);
  device.advance(15.0);
  const double speed_rad_s = device.truth().at("rotor_speed_rad_s");
  ASSERT_GT(speed_rad_s, 100.0);
  device.reset_energy();
  device.set("fan_pct", 0.0);
  device.set("blade_count", 2.0);
  const double inertia_kg_m2 = bench.hub_inertia_kg_m2 + 3.0 * bench.blade_inertia_kg_m2;
  const double expected_J = 0.5 * inertia_kg_m2 * speed_rad_s * speed_rad_s;
  EXPECT_NEAR(device.energy().brake_J / expected_J, 1.0, 1e-12);
  EXPECT_NEAR(unaccounted_J(device.energy()) / expected_J, 0.0, 1e-9);
}

TEST(Energy, MeansOverAnIntervalAreThoseOfTheInstants) {
  SimulatedBench device(demo_bench(), Pace::as_fast_as_possible);
  mount(device, 3.0, 6.0);
  device.set("load_selector", 1.0);
  device.set("rheostat_ohm", 15.0);
  device.set("fan_pct", 80.0);
  device.advance(30.0);
  device.reset_energy();
  // The trapezium over 1 ms steps: good to the square of the step over a time scale of 50 ms.
  std::map<std::string, double> sum;
  constexpr int steps = 5000;
  for (int i = 0; i <= steps; ++i) {
    const double weight = i == 0 || i == steps ? 0.5e-3 : 1e-3;
    for (const auto& [name, value] : device.truth())
      sum[name] += weight * value;
    if (i < steps) device.advance(1e-3);
  }
  const EnergyTally e = device.energy();
  EXPECT_NEAR(e.seconds, 5.0, 1e-9);
  EXPECT_NEAR(e.load_J / sum["dc_power_W"], 1.0, 1e-6);
  EXPECT_NEAR(e.wind_J / sum["wind_power_W"], 1.0, 1e-6);
  EXPECT_NEAR(e.rotor_J / sum["rotor_power_W"], 1.0, 1e-6);
  EXPECT_NEAR(e.air_path_m / sum["air_speed_m_s"], 1.0, 1e-6);
  EXPECT_NEAR(e.disc_air_path_m / sum["disc_air_speed_m_s"], 1.0, 1e-6);
  EXPECT_NEAR(e.revolutions * 2.0 * std::numbers::pi / sum["rotor_speed_rad_s"], 1.0, 1e-6);
}

}  // namespace
}  // namespace windwright::twin
