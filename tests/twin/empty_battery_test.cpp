// SPDX-License-Identifier: Apache-2.0
#include "base/errors.h"
#include "bench/bench.h"
#include "physics/ac_supply.h"
#include "physics/battery.h"
#include "physics/charge_controller.h"
#include "physics/inverter_protection.h"
#include "physics/load_set.h"
#include "twin/chain_energy.h"
#include "twin/demo_bench.h"
#include "twin/energy_tally.h"
#include "twin/plant.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <random>
#include <string>
#include <variant>

// Constant powers on a battery that cannot give them. No outside figures: conservation of energy,
// and that the integration's work stays within bounds.
namespace windwright::twin {
namespace {

using Part = ChainPart;

struct Drain {
  double state_of_charge;
  double capacity_A_h;
  std::size_t dc_position;
  std::size_t ac_position;
  double fan_pct;
  physics::SourceControl source = physics::SourceControl::always_on;
  physics::OutputKind output = physics::OutputKind::sine;
};

void let_go_by(Plant& plant, double seconds) {
  for (std::int64_t left = std::llround(seconds / plant.tick_s()); left > 0;)
    left -= plant.advance(left);
}

struct Start {
  double store_J;
  double temperature_K;
};

Start start_of(const Plant& plant) {
  return {.store_J = plant.battery_store_J(),
          .temperature_K = plant.state().chain.battery.temperature_K};
}

/// Over the energy turned over, or a joule where that is less.
void expect_closed(const Plant& plant, const bench::Bench& bench, const Start& start) {
  const ChainEnergies_J& e = plant.state().chain.energies;
  const EnergyTally t = plant.energy();
  const double scale_J =
      std::max(1.0, t.rotor_J + e[Part::mains_input] + std::abs(e[Part::battery]));
  const auto expect_none = [&](const char* node, double left_J) {
    EXPECT_NEAR(left_J / scale_J, 0.0, 3e-8) << node;
  };
  expect_none("controller", e[Part::source] - e[Part::controller_loss] - e[Part::charge]);
  expect_none("bus", e[Part::charge] + e[Part::battery] + e[Part::mains_output] - e[Part::dump] -
                         e[Part::dc_loads] - e[Part::inverter_input]);
  expect_none("mains", e[Part::mains_input] - e[Part::mains_loss] - e[Part::mains_output]);
  const double battery_loss_J = e[Part::battery_ohmic_loss] + e[Part::battery_diffusion_loss] +
                                e[Part::battery_gassing_loss] +
                                e[Part::battery_self_discharge_loss];
  expect_none("battery", e[Part::battery] - e[Part::battery_chemical] -
                             e[Part::battery_reversible] + battery_loss_J);
  expect_none("store", e[Part::battery_chemical] + plant.battery_store_J() - start.store_J);
  expect_none("heat", battery_loss_J - e[Part::battery_reversible] - e[Part::battery_gas] -
                          e[Part::battery_to_room] -
                          bench.chain->setup.chain.battery.heat_capacity_J_K *
                              (plant.state().chain.battery.temperature_K - start.temperature_K));
  expect_none("inverter", e[Part::inverter_input] - e[Part::inverter_loss] - e[Part::ac_loads]);
  expect_none("DC loads", e[Part::dc_loads] - e[Part::dc_heat] - e[Part::dc_radiated] -
                              e[Part::dc_mechanical] - e[Part::dc_stored]);
  expect_none("AC loads", e[Part::ac_loads] - e[Part::ac_heat] - e[Part::ac_radiated] -
                              e[Part::ac_mechanical] - e[Part::ac_stored]);
  expect_none("shaft", t.rotor_J - t.bearing_J - t.iron_J - t.winding_J - t.rectifier_J - t.load_J -
                           t.brake_J - t.kinetic_J);
}

bench::Bench drained(const Drain& drain) {
  bench::Bench bench = shed_bench();
  physics::Battery& battery = bench.chain->setup.chain.battery;
  battery = physics::typical_battery(battery.kind, battery.cells, 3600.0 * drain.capacity_A_h);
  bench.chain->state_of_charge = drain.state_of_charge;
  bench.chain->setup.chain.controller.source = drain.source;
  bench.chain->setup.chain.inverter->kind = drain.output;
  return bench;
}

/// Everything of the case on for some seconds. @return  calls of the rates in the busiest 20 ms
std::int64_t drain_through(Plant& plant, const Drain& drain, double seconds) {
  plant.command_fan(drain.fan_pct);
  plant.turn_dc_selector(drain.dc_position);
  plant.turn_ac_selector(drain.ac_position);
  plant.switch_inverter(true);
  std::int64_t busiest = 0;
  for (int i = 0; i < std::lround(seconds / 0.02); ++i) {
    const std::int64_t before = plant.rate_calls();
    let_go_by(plant, 0.02);
    busiest = std::max(busiest, plant.rate_calls() - before);
  }
  return busiest;
}

constexpr int cases = 20;
constexpr std::array sources{physics::SourceControl::always_on, physics::SourceControl::series_pwm,
                             physics::SourceControl::shunt_pwm};
constexpr std::array outputs{physics::OutputKind::sine, physics::OutputKind::sine,
                             physics::OutputKind::square, physics::OutputKind::sine,
                             physics::OutputKind::quasi_square};
constexpr std::int64_t most_calls = 400;  // in 20 ms; tens are usual

TEST(EmptyBattery, CarriesOnUnderEveryLoadWithItsEnergyClosed) {
  std::mt19937_64 draw(20260313);
  const auto number = [&](double below) {
    return below * static_cast<double>(draw() >> 11U) * 0x1p-53;
  };
  int stopped = 0;
  for (int i = 0; i < cases; ++i) {
    const Drain drain{.state_of_charge = i % 8 == 0 ? 0.0 : number(0.12),
                      .capacity_A_h = i % 6 == 1 ? 0.001 : 1.0 + number(4.0),
                      .dc_position = static_cast<std::size_t>(number(4.0)),
                      .ac_position = 1 + static_cast<std::size_t>(number(4.0)),
                      .fan_pct = i % 2 == 0 ? 0.0 : number(90.0),
                      .source = sources.at(static_cast<std::size_t>(i) % sources.size()),
                      .output = outputs.at(static_cast<std::size_t>(i) % outputs.size())};
    SCOPED_TRACE(testing::Message() << drain.state_of_charge << ", " << drain.capacity_A_h
                                    << " A h, loads " << drain.dc_position << " and "
                                    << drain.ac_position << ", fan " << drain.fan_pct << " %");
    const bench::Bench bench = drained(drain);
    Plant plant(bench);
    const Start start = start_of(plant);
    EXPECT_LT(drain_through(plant, drain, 3.0), most_calls);
    expect_closed(plant, bench, start);
    EXPECT_TRUE(plant.power_flow_now().chain->converged);
    const physics::InverterState& inverter = plant.state().chain.control.inverter;
    if (inverter.mode == physics::InverterMode::stopped) {
      EXPECT_EQ(inverter.cause, physics::StopCause::low_voltage);
      ++stopped;
    }
  }
  EXPECT_GT(stopped, cases / 2);
}

// Mains and wind bring it up from nothing, and the inverter comes back.
TEST(EmptyBattery, ComesBackWithTheMainsCharger) {
  const Drain drain{.state_of_charge = 0.0,
                    .capacity_A_h = 0.2,
                    .dc_position = 0,
                    .ac_position = 2,
                    .fan_pct = 0.0};
  const bench::Bench bench = drained(drain);
  Plant plant(bench);
  const Start start = start_of(plant);
  EXPECT_LT(drain_through(plant, drain, 4.0), most_calls);
  EXPECT_EQ(plant.state().chain.control.inverter.mode, physics::InverterMode::stopped);
  plant.switch_mains_charger(true);
  plant.turn_ac_selector(0);
  let_go_by(plant, 15.0);
  EXPECT_EQ(plant.state().chain.control.inverter.mode, physics::InverterMode::running);
  expect_closed(plant, bench, start);
}

// A filament that follows its power within nanoseconds.
TEST(EmptyBattery, SaysWhenAndWhatToDoWhereTheSimulationFindsNoWayOn) {
  bench::Bench bench = shed_bench();
  auto& lamp = std::get<physics::Lamp>(bench.chain->setup.dc_loads[0].load);
  lamp.heat_capacity_J_K = 1e-10;
  Plant plant(bench);
  plant.turn_dc_selector(1);
  try {
    let_go_by(plant, 0.5);
    FAIL();
  } catch (const base::DeviceFault& fault) {
    const std::string text = fault.what();
    EXPECT_EQ(
        text.rfind("Saltmarsh College battery shed: the simulation finds no way on after 0.", 0),
        0U)
        << text;
    EXPECT_NE(text.find("state of charge 93"), std::string::npos) << text;
    EXPECT_NE(text.find("switch less on"), std::string::npos) << text;
  }
}

}  // namespace
}  // namespace windwright::twin
