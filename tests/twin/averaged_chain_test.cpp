// SPDX-License-Identifier: Apache-2.0
#include "twin/averaged_chain.h"

#include "base/errors.h"
#include "physics/battery.h"
#include "physics/charge_controller.h"
#include "physics/electrical_chain.h"
#include "physics/generator_heat.h"
#include "physics/inverter_protection.h"
#include "twin/chain_energy.h"
#include "twin/chain_example.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <string>

namespace windwright::twin {
namespace {

using physics::DumpControl;
using physics::SourceControl;
using Part = ChainPart;

/// What is left of every balance, over the energy that the chain has turned over.
struct Unaccounted {
  double shaft;
  double controller;
  double bus;
  double mains;
  double battery;
  double battery_store;
  double battery_heat;
  double inverter;
  double dc_loads;
  double dc_store;
  double ac_loads;
  double ac_store;
};

struct Start {
  double kinetic_J;
  double battery_J;
  double battery_K;
};

physics::Battery shed_battery() {
  return shed(SourceControl::always_on, DumpControl::none).chain.battery;
}

Start start_of(const AveragedChain& chain) {
  return {.kinetic_J = chain.state().kinetic_J,
          .battery_J = physics::stored_energy_J(shed_battery(), chain.state().battery),
          .battery_K = chain.state().battery.temperature_K};
}

Unaccounted unaccounted(const AveragedChain& chain, const Start& start) {
  const LongRunEnergies& all = chain.state().energies;
  const ChainEnergies_J& e = all.chain;
  const double turned_over_J = all.rotor_J + e[Part::mains_input] + std::abs(e[Part::battery]);
  const double battery_J = physics::stored_energy_J(shed_battery(), chain.state().battery);
  const auto part = [&](double left_J) { return std::abs(left_J) / turned_over_J; };
  return {
      .shaft = part(all.rotor_J - all.bearing_J - all.iron_J - all.winding_J - all.rectifier_J -
                    e[Part::source] - (chain.state().kinetic_J - start.kinetic_J)),
      .controller = part(e[Part::source] - e[Part::controller_loss] - e[Part::charge]),
      .bus = part(e[Part::charge] + e[Part::battery] + e[Part::mains_output] - e[Part::dump] -
                  e[Part::dc_loads] - e[Part::inverter_input]),
      .mains = part(e[Part::mains_input] - e[Part::mains_loss] - e[Part::mains_output]),
      .battery = part(e[Part::battery] - e[Part::battery_chemical] - e[Part::battery_reversible] +
                      e[Part::battery_ohmic_loss] + e[Part::battery_diffusion_loss] +
                      e[Part::battery_gassing_loss] + e[Part::battery_self_discharge_loss]),
      .battery_store = part(e[Part::battery_chemical] - (start.battery_J - battery_J)),
      .battery_heat =
          part(e[Part::battery_ohmic_loss] + e[Part::battery_diffusion_loss] +
               e[Part::battery_gassing_loss] + e[Part::battery_self_discharge_loss] -
               e[Part::battery_reversible] - e[Part::battery_gas] - e[Part::battery_to_room] -
               shed_battery().heat_capacity_J_K *
                   (chain.state().battery.temperature_K - start.battery_K)),
      .inverter = part(e[Part::inverter_input] - e[Part::inverter_loss] - e[Part::ac_loads]),
      .dc_loads = part(e[Part::dc_loads] - e[Part::dc_heat] - e[Part::dc_radiated] -
                       e[Part::dc_mechanical] - e[Part::dc_stored]),
      .dc_store = part(e[Part::dc_stored] - chain.dc_stored_J()),
      .ac_loads = part(e[Part::ac_loads] - e[Part::ac_heat] - e[Part::ac_radiated] -
                       e[Part::ac_mechanical] - e[Part::ac_stored]),
      .ac_store = part(e[Part::ac_stored] - chain.ac_stored_J())};
}

void expect_closed(const AveragedChain& chain, const Start& start, double relative) {
  const Unaccounted left = unaccounted(chain, start);
  EXPECT_LT(left.shaft, relative);
  EXPECT_LT(left.controller, relative);
  EXPECT_LT(left.bus, relative);
  EXPECT_LT(left.mains, relative);
  EXPECT_LT(left.battery, relative);
  EXPECT_LT(left.battery_store, relative);
  EXPECT_LT(left.battery_heat, relative);
  EXPECT_LT(left.inverter, relative);
  EXPECT_LT(left.dc_loads, relative);
  EXPECT_LT(left.dc_store, relative);
  EXPECT_LT(left.ac_loads, relative);
  EXPECT_LT(left.ac_store, relative);
}

std::int64_t samples(const AveragedChain& chain, double seconds) {
  return std::llround(seconds / chain.sample_period_s());
}

/// An hour in gusty steps of wind on an almost full battery, selectors and mains charger turned.
void busy_hour(AveragedChain& chain) {
  chain.switch_inverter(true);
  for (int minute = 0; minute < 60; ++minute) {
    chain.set_wind(minute % 3 == 0 ? 10.5 : 6.5, minute % 3 == 1 ? 0.02 : 0.0);
    if (minute % 4 == 0) chain.turn_ac_selector(static_cast<std::size_t>(minute / 4 % 6));
    if (minute % 5 == 0) chain.turn_dc_selector(static_cast<std::size_t>(minute / 5 % 4));
    if (minute == 20) chain.switch_mains_charger(true);
    if (minute == 25) chain.switch_mains_charger(false);
    chain.advance(samples(chain, 60.0));
  }
}

struct Kind {
  std::string name;
  SourceControl source;
  DumpControl dump;
};

class AveragedChainOf : public testing::TestWithParam<Kind> {};

TEST_P(AveragedChainOf, ClosesEveryBalanceOverAnHourOfSwitching) {
  AveragedChain chain = shed_chain(GetParam().source, GetParam().dump, 0.93, 0.5);
  chain.describe_heat(shed_heat);
  const Start start = start_of(chain);
  busy_hour(chain);
  const LongRunState& end = chain.state();
  EXPECT_DOUBLE_EQ(end.time_s, 3600.0);
  expect_closed(chain, start, 1e-8);
  const LongRunEnergies& all = end.energies;
  const double heat_J = all.bearing_J + all.iron_J + all.winding_J;
  EXPECT_NEAR((all.generator_stored_J + all.generator_to_air_J) / heat_J, 1.0, 1e-8);
  const double warmth_J = shed_heat.winding_heat_J_K * (end.machine.winding_K - example_room_K) +
                          shed_heat.frame_heat_J_K * (end.machine.frame_K - example_room_K);
  EXPECT_NEAR((all.generator_stored_J - warmth_J) / heat_J, 0.0, 1e-8);
  EXPECT_GT(end.machine.winding_K, example_room_K + 5.0);
  // The hour was worth its name.
  const ChainEnergies_J& e = end.energies.chain;
  EXPECT_GT(e[Part::source], 1e5);
  EXPECT_GT(e[Part::mains_input], 100.0);
  EXPECT_GT(e[Part::ac_loads], 5e4);
  EXPECT_GT(e[Part::dc_loads], 1e4);
  EXPECT_GT(e[Part::ac_mechanical] * e[Part::dc_mechanical], 1.0);
  const bool switches = GetParam().source == SourceControl::series_on_off ||
                        GetParam().source == SourceControl::shunt_on_off;
  if (switches) {
    EXPECT_GT(end.control.controller.source_switchings, 10);
  }
  if (GetParam().dump == DumpControl::on_off) {
    EXPECT_GT(end.control.controller.dump_switchings, 10);
  }
  if (GetParam().dump != DumpControl::none) {
    EXPECT_GT(e[Part::dump], 1e4);
  }
  EXPECT_TRUE(chain.flow_now().converged);
}

INSTANTIATE_TEST_SUITE_P(
    EveryController, AveragedChainOf,
    testing::Values(Kind{"DumpOnOff", SourceControl::always_on, DumpControl::on_off},
                    Kind{"SeriesOnOff", SourceControl::series_on_off, DumpControl::none},
                    Kind{"SeriesPulsedWithDump", SourceControl::series_pwm, DumpControl::pwm},
                    Kind{"ShuntOnOff", SourceControl::shunt_on_off, DumpControl::none},
                    Kind{"ShuntPulsed", SourceControl::shunt_pwm, DumpControl::none},
                    Kind{"Tracker", SourceControl::tracker, DumpControl::none}),
    [](const auto& kind) { return kind.param.name; });

TEST(AveragedChain, ChattersVisiblyWithoutADeadband) {
  const auto switchings = [](double deadband_V) {
    physics::ChainSetup setup = shed(SourceControl::series_on_off, DumpControl::none);
    setup.chain.controller.on_off_deadband_V = deadband_V;
    const physics::BatteryState full =
        physics::rested_state(setup.chain.battery, 0.97, example_room_K);
    AveragedChain chain(setup, shed_rotor(), full, example_room_K, 0.5);
    chain.set_wind(9.0);
    chain.advance(samples(chain, 1200.0));
    return chain.state().control.controller.source_switchings;
  };
  const std::int64_t wide = switchings(0.25);
  const std::int64_t narrow = switchings(0.02);
  EXPECT_GT(wide, 0);
  EXPECT_GT(narrow, 10 * wide);
}

// The series switch takes the load off: the rotor runs away until drag holds it. The shunt brakes.
TEST(AveragedChain, RunsAwayBehindAnOpenSeriesSwitchAndSlowsDownShorted) {
  const auto speed_rad_s = [](SourceControl source) {
    physics::ChainSetup setup = shed(source, DumpControl::none);
    setup.chain.controller.set_points.highest_charging_K = 280.0;  // charging is not allowed
    const physics::BatteryState half =
        physics::rested_state(setup.chain.battery, 0.5, example_room_K);
    AveragedChain chain(setup, shed_rotor(), half, example_room_K, 0.5);
    chain.set_wind(9.0);
    chain.set_rotor_speed(60.0);
    chain.advance(samples(chain, 120.0));
    EXPECT_NEAR(chain.flow_now().source.charge_power_W, 0.0, 1e-12);
    return chain.rotor_speed_rad_s();
  };
  // The curve's torque is zero at a tip-speed ratio of 11; drag holds it a little below.
  const double run_away_rad_s = 11.0 * 9.0 / 0.9;
  EXPECT_GT(speed_rad_s(SourceControl::series_pwm), 0.9 * run_away_rad_s);
  EXPECT_LT(speed_rad_s(SourceControl::series_pwm), run_away_rad_s);
  EXPECT_LT(speed_rad_s(SourceControl::shunt_pwm), 20.0);
}

TEST(AveragedChain, DisconnectsInverterAndLoadsOnLowVoltageAndReconnectsThem) {
  AveragedChain chain = shed_chain(SourceControl::series_pwm, DumpControl::none, 0.3, 0.5);
  const Start start = start_of(chain);
  chain.switch_inverter(true);
  chain.turn_dc_selector(3);
  chain.turn_ac_selector(5);  // everything
  bool stopped = false;
  bool dropped = false;
  for (int i = 0; i < 6 * 60 && !(stopped && dropped); ++i) {  // calm
    chain.advance(samples(chain, 60.0));
    stopped = stopped || chain.state().control.inverter_stops > 0;
    dropped = dropped || !chain.state().control.output.loads_connected;
  }
  ASSERT_TRUE(stopped);
  ASSERT_TRUE(dropped);
  chain.advance(samples(chain, 30.0));
  EXPECT_EQ(chain.state().control.inverter.mode, physics::InverterMode::stopped);
  EXPECT_EQ(chain.state().control.inverter.cause, physics::StopCause::low_voltage);
  const physics::ChainFlow dead = chain.flow_now();
  EXPECT_EQ(dead.ac.rms_current_A, 0.0);
  EXPECT_EQ(dead.dc.current_A, 0.0);
  // Wind and mains bring the battery up again.
  chain.set_wind(10.0);
  chain.switch_mains_charger(true);
  chain.turn_ac_selector(1);
  bool running = false;
  for (int i = 0; i < 4 * 60 && !running; ++i) {
    chain.advance(samples(chain, 60.0));
    running = chain.state().control.inverter.mode == physics::InverterMode::running &&
              chain.state().control.output.loads_connected;
  }
  EXPECT_TRUE(running);
  EXPECT_GT(chain.flow_now().ac.rms_current_A, 0.1);
  EXPECT_GT(chain.flow_now().dc.current_A, 0.5);
  EXPECT_GE(chain.state().control.controller.load_switchings, 2);
  expect_closed(chain, start, 1e-8);
}

TEST(AveragedChain, TurningASelectorNeitherMakesNorLosesEnergy) {
  AveragedChain chain = shed_chain(SourceControl::always_on, DumpControl::none, 0.7, 0.1);
  chain.set_wind(8.0);
  chain.switch_inverter(true);
  chain.advance(samples(chain, 30.0));
  for (int i = 0; i < 60; ++i) {
    const double before_J = chain.dc_stored_J() + chain.ac_stored_J();
    const LongRunEnergies then = chain.state().energies;
    chain.turn_dc_selector(static_cast<std::size_t>(i * 7 % 4));
    chain.turn_ac_selector(static_cast<std::size_t>(i * 5 % 6));
    EXPECT_EQ(chain.dc_stored_J() + chain.ac_stored_J(), before_J);
    EXPECT_EQ(chain.state().energies.chain, then.chain);
    chain.advance(3);
    const ChainEnergies_J& e = chain.state().energies.chain;
    const double stored_J = e[Part::dc_stored] + e[Part::ac_stored] - then.chain[Part::dc_stored] -
                            then.chain[Part::ac_stored];
    EXPECT_NEAR(chain.dc_stored_J() + chain.ac_stored_J() - before_J, stored_J, 1e-6);
  }
  EXPECT_GT(chain.dc_stored_J() + chain.ac_stored_J(), 10.0);
}

TEST(AveragedChain, GoesOnFromItsStateToTheBit) {
  AveragedChain whole = shed_chain(SourceControl::tracker, DumpControl::on_off, 0.9);
  whole.describe_heat(shed_heat);
  whole.set_wind(8.0, 0.01);
  whole.switch_inverter(true);
  whole.turn_ac_selector(5);
  whole.advance(samples(whole, 97.0));
  AveragedChain other = shed_chain(SourceControl::tracker, DumpControl::on_off, 0.2);
  other.describe_heat(shed_heat);
  other.advance(7);
  other.restore(whole.state());
  for (AveragedChain* chain : {&whole, &other}) {
    chain->turn_dc_selector(2);
    chain->advance(samples(*chain, 61.0));
  }
  EXPECT_EQ(whole.state().kinetic_J, other.state().kinetic_J);
  EXPECT_GT(whole.state().machine.winding_K, example_room_K + 0.01);
  EXPECT_EQ(whole.state().machine.winding_K, other.state().machine.winding_K);
  EXPECT_EQ(whole.state().battery.available_A_s, other.state().battery.available_A_s);
  EXPECT_EQ(whole.state().dc_moving, other.state().dc_moving);
  EXPECT_EQ(whole.state().ac_moving, other.state().ac_moving);
  EXPECT_EQ(whole.state().energies.chain, other.state().energies.chain);
  EXPECT_EQ(whole.state().step_s, other.state().step_s);
}

// With a fault the bridge is solved exactly instead of looked up: slower, and no less balanced.
TEST(AveragedChain, StaysBalancedUnderBridgeFaults) {
  for (const auto fault : {physics::BridgeFault::open_phase, physics::BridgeFault::shorted_diode}) {
    AveragedChain chain = shed_chain(SourceControl::series_on_off, DumpControl::none, 0.7, 0.5);
    const Start start = start_of(chain);
    chain.set_wind(8.0);
    chain.advance(samples(chain, 60.0));
    const double healthy_W = chain.flow_now().source.charge_power_W;
    chain.set_bridge_fault(fault);
    chain.advance(samples(chain, 20.0));
    EXPECT_LT(chain.flow_now().source.charge_power_W, 0.95 * healthy_W);
    chain.set_bridge_fault(physics::BridgeFault::none);
    chain.advance(samples(chain, 60.0));
    EXPECT_NEAR(chain.flow_now().source.charge_power_W / healthy_W, 1.0, 0.02);
    expect_closed(chain, start, 1e-8);
  }
}

// Warm magnets give less flux, warm copper lets less current through.
TEST(AveragedChain, AWarmGeneratorGivesLess) {
  const auto charge_W = [](bool heated) {
    AveragedChain chain = shed_chain(SourceControl::always_on, DumpControl::none, 0.5, 0.5);
    if (heated) {
      physics::GeneratorHeat heat = shed_heat;
      heat.frame_to_air_W_K = 0.1;
      heat.winding_heat_J_K = heat.frame_heat_J_K = 20.0;
      chain.describe_heat(heat);
    }
    chain.set_wind(10.0);
    chain.advance(samples(chain, 120.0));
    chain.set_rotor_speed(70.0);
    return chain.flow_now().source.charge_power_W;
  };
  EXPECT_LT(charge_W(true), 0.97 * charge_W(false));
}

TEST(AveragedChain, RefusesAStateOfAnotherChain) {
  AveragedChain chain = shed_chain(SourceControl::always_on, DumpControl::none, 0.5);
  LongRunState state = chain.state();
  state.dc_moving.pop_back();
  EXPECT_THROW(chain.restore(state), base::BadInput);
  state = chain.state();
  state.machine.winding_K = 0.0;
  state.kinetic_J = 12.0;
  chain.describe_heat(shed_heat);
  EXPECT_THROW(chain.restore(state), base::BadInput);
  EXPECT_EQ(chain.state().kinetic_J, 0.0);
  physics::ChainSetup wrong = shed(SourceControl::always_on, DumpControl::none);
  std::swap(wrong.dc_loads, wrong.ac_loads);
  EXPECT_THROW(physics::require_setup(wrong), base::BadInput);
}

}  // namespace
}  // namespace windwright::twin
