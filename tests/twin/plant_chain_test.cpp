// SPDX-License-Identifier: Apache-2.0
#include "base/errors.h"
#include "bench/bench.h"
#include "physics/battery.h"
#include "physics/chain_control.h"
#include "physics/generator.h"
#include "twin/averaged_chain.h"
#include "twin/chain_energy.h"
#include "twin/demo_bench.h"
#include "twin/fault.h"
#include "twin/simulated_bench.h"

#include <gtest/gtest.h>

#include <cmath>
#include <cstdint>
#include <map>
#include <memory>
#include <string>
#include <vector>

namespace windwright::twin {
namespace {

SimulatedBench simulated(const bench::Bench& bench) {
  return {bench, Pace::as_fast_as_possible};
}

struct Start {
  double store_J;
  double battery_C;
};

Start start_of(const SimulatedBench& device) {
  return {.store_J = device.chain_energy().at("battery_store_J"),
          .battery_C = device.truth().at("battery_temperature_C")};
}

/// What is left of each balance since the start, over the energy turned over.
std::map<std::string, double> unaccounted(const SimulatedBench& device, const Start& start) {
  const EnergyTally t = device.energy();
  const std::map<std::string, double> e = device.chain_energy();
  const auto J = [&](const char* name) { return e.at(std::string(name) + "_J"); };
  const double turned_over_J = t.rotor_J + J("mains_input") + std::abs(J("battery"));
  std::map<std::string, double> left{
      {"shaft", t.rotor_J - t.bearing_J - t.iron_J - t.winding_J - t.rectifier_J - t.load_J -
                    t.brake_J - t.kinetic_J},
      {"rectifier", t.load_J - J("source")},
      {"controller", J("source") - J("controller_loss") - J("charge")},
      {"bus", J("charge") + J("battery") + J("mains_output") - J("dump") - J("dc_loads") -
                  J("inverter_input")},
      {"mains", J("mains_input") - J("mains_loss") - J("mains_output")},
      {"battery", J("battery") - J("battery_chemical") - J("battery_reversible") +
                      J("battery_ohmic_loss") + J("battery_diffusion_loss") +
                      J("battery_gassing_loss") + J("battery_self_discharge_loss") +
                      J("battery_fault_loss")},
      {"store", J("battery_chemical") + J("battery_store") - start.store_J},
      {"heat", J("battery_ohmic_loss") + J("battery_diffusion_loss") + J("battery_gassing_loss") +
                   J("battery_self_discharge_loss") - J("battery_reversible") - J("battery_gas") -
                   J("battery_to_room") -
                   shed_bench().chain->setup.chain.battery.heat_capacity_J_K *
                       (device.truth().at("battery_temperature_C") - start.battery_C)},
      {"inverter", J("inverter_input") - J("inverter_loss") - J("ac_loads")},
      {"dc loads",
       J("dc_loads") - J("dc_heat") - J("dc_radiated") - J("dc_mechanical") - J("dc_stored")},
      {"ac loads",
       J("ac_loads") - J("ac_heat") - J("ac_radiated") - J("ac_mechanical") - J("ac_stored")}};
  for (auto& [name, value] : left)
    value = std::abs(value) / turned_over_J;
  return left;
}

void expect_closed(const SimulatedBench& device, const Start& start) {
  for (const auto& [name, left] : unaccounted(device, start))
    EXPECT_LT(left, 1e-7) << name;
}

/// Wind, selectors, inverter and mains charger, with pauses in which loads come to work.
void busy_minute(SimulatedBench& device) {
  device.set("fan_pct", 70.0);
  device.advance(15.0);
  device.set("inverter_switch", 1.0);
  device.set("ac_load_selector", 4.0);
  device.advance(8.0);
  device.set("dc_load_selector", 3.0);
  device.set("mains_charger_switch", 1.0);
  device.advance(12.0);
  device.set("ac_load_selector", 1.0);
  device.set("fan_pct", 90.0);
  device.advance(15.0);
}

TEST(BenchWithBattery, ClosesEveryBalanceThroughStartsAndSwitching) {
  SimulatedBench device = simulated(shed_bench());
  const Start start = start_of(device);
  busy_minute(device);
  EXPECT_GT(device.chain_energy().at("ac_loads_J"), 300.0);
  EXPECT_GT(device.chain_energy().at("dc_mechanical_J"), 1.0);
  EXPECT_GT(device.chain_energy().at("mains_output_J"), 100.0);
  expect_closed(device, start);
}

TEST(BenchWithBattery, SensorsSeeWhatIsTrue) {
  bench::Bench bench = shed_bench();
  for (bench::Channel& channel : bench.channels) {  // ideal sensors
    channel.simulated->u_offset_V = 0.0;
    channel.simulated->u_sensitivity_relative = 0.0;
    channel.simulated->nonlinearity_relative = 0.0;
    channel.simulated->noise_V = 0.0;
    channel.u_drift = 0.0;
  }
  SimulatedBench device = simulated(bench);
  busy_minute(device);
  device.advance(10.0);
  bench::SampleBlock block;
  device.read(block, 400);
  device.read(block, 1);
  const std::map<std::string, double> truth = device.truth();
  for (const bench::Channel& channel : bench.channels) {
    const std::size_t i = bench.channel_index(channel.name);
    const double step_V =
        (channel.converter.upper_V - channel.converter.lower_V) / std::ldexp(1.0, 16);
    const double shown =
        (bench::volts(channel.converter, block.channel(i)[0]) - channel.simulated->offset_V) /
        channel.simulated->sensitivity_V;
    const double apart = 1.1 * step_V / channel.simulated->sensitivity_V +
                         0.01 * std::abs(truth.at(channel.name));  // turbulence of a sample
    EXPECT_NEAR(shown, truth.at(channel.name), apart) << channel.name;
  }
  const double bus_V = truth.at("battery_voltage_V");
  EXPECT_GT(bus_V, 12.0);
  for (const auto& [current, power] :
       std::map<std::string, std::string>{{"battery_current_A", "battery_W"},
                                          {"charge_current_A", "charge_W"},
                                          {"dump_current_A", "dump_W"},
                                          {"inverter_input_A", "inverter_input_W"}})
    EXPECT_NEAR(bus_V * truth.at(current), truth.at(power), 1e-9) << current;
  EXPECT_NEAR(truth.at("inverter_output_W"), truth.at("ac_loads_W"), 1e-9);
  EXPECT_GT(truth.at("inverter_output_rms_V") * truth.at("inverter_output_rms_A"),
            1.2 * truth.at("inverter_output_W"));  // an LED bulb's power factor
  EXPECT_NEAR(truth.at("inverter_output_rms_V"), 230.0, 1e-9);
}

// Two integrators of different kind on the same equations: CVODE from grid point to grid point on
// the bench, Runge-Kutta in the long run. In calm, for their rotors differ.
TEST(BenchWithBattery, GoesTheWayOfTheLongRun) {
  bench::Bench bench = shed_bench();
  bench.simulation->air_temperature_drift_K_h = 0.0;
  SimulatedBench device = simulated(bench);
  const double room_K = bench.simulation->air.temperature_K;
  physics::ChainSetup setup = bench.chain->setup;
  for (auto* loads : {&setup.dc_loads, &setup.ac_loads}) {
    for (physics::SwitchedLoad& each : *loads)
      each.state.temperature_K = room_K;
  }
  AveragedChain chain(
      setup, {.inertia_kg_m2 = 0.01, .torque_N_m = [](double, double) { return 0.0; }},
      physics::rested_state(setup.chain.battery, bench.chain->state_of_charge, room_K), room_K,
      0.02);
  device.set("inverter_switch", 1.0);
  device.set("ac_load_selector", 4.0);
  device.set("dc_load_selector", 3.0);
  chain.switch_inverter(true);
  chain.turn_ac_selector(4);
  chain.turn_dc_selector(3);
  device.advance(30.0);
  chain.advance(1500);
  device.set("mains_charger_switch", 1.0);
  device.set("ac_load_selector", 2.0);
  chain.switch_mains_charger(true);
  chain.turn_ac_selector(2);
  device.advance(30.0);
  chain.advance(1500);
  const std::map<std::string, double> energies = device.chain_energy();
  for (const ChainPart::Index part :
       {ChainPart::battery, ChainPart::battery_ohmic_loss, ChainPart::dc_heat, ChainPart::ac_heat,
        ChainPart::dc_mechanical, ChainPart::inverter_loss, ChainPart::mains_output}) {
    const double long_run_J = chain.state().energies.chain[part];
    EXPECT_GT(std::abs(long_run_J), 1.0);
    EXPECT_NEAR(energies.at(std::string(chain_part_names[part]) + "_J") / long_run_J, 1.0, 2e-6)
        << chain_part_names[part];
  }
  EXPECT_NEAR(device.truth().at("battery_voltage_V"), chain.flow_now().bus_voltage_V, 1e-5);
}

std::vector<std::int32_t> counts_of(SimulatedBench& device, int blocks) {
  std::vector<std::int32_t> all;
  bench::SampleBlock block;
  for (int i = 0; i < blocks; ++i) {
    device.read(block);
    all.insert(all.end(), block.counts.begin(), block.counts.end());
  }
  return all;
}

TEST(BenchWithBattery, GoesOnFromABookmarkToTheBit) {
  SimulatedBench whole = simulated(shed_bench());
  auto taken_over = std::make_unique<SimulatedBench>(shed_bench(), Pace::as_fast_as_possible);
  const auto both = [&](const auto& act) {
    act(whole);
    act(*taken_over);
    const std::string bookmark = taken_over->bookmark();
    taken_over = std::make_unique<SimulatedBench>(shed_bench(), Pace::as_fast_as_possible);
    taken_over->return_to(bookmark);
    EXPECT_EQ(counts_of(whole, 7), counts_of(*taken_over, 7));
    EXPECT_EQ(whole.truth(), taken_over->truth());
    EXPECT_EQ(whole.chain_energy(), taken_over->chain_energy());
  };
  both([](SimulatedBench& device) { device.set("fan_pct", 75.0); });
  both([](SimulatedBench& device) { device.advance(9.013); });
  both([](SimulatedBench& device) { device.set("inverter_switch", 1.0); });
  both([](SimulatedBench& device) { device.set("ac_load_selector", 4.0); });
  both([](SimulatedBench& device) { device.set("dc_load_selector", 3.0); });
  both([](SimulatedBench& device) {
    device.start_fault({.kind = FaultKind::sulphated_cell, .amount = 10.0, .lost_share = 0.3});
  });
  both([](SimulatedBench& device) { device.set("mains_charger_switch", 1.0); });
  both([](SimulatedBench& device) { device.stop(); });
  EXPECT_EQ(whole.bookmark(), taken_over->bookmark());
}

TEST(BenchWithBattery, RefusesTheBookmarkOfABenchWithout) {
  SimulatedBench with = simulated(shed_bench());
  bench::Bench other = demo_bench();
  other.simulation->seed = shed_bench().simulation->seed;
  other.channels = shed_bench().channels;
  other.channels.resize(7);
  SimulatedBench without = simulated(other);
  EXPECT_THROW(with.return_to(without.bookmark()), base::BadInput);
  EXPECT_THROW(without.return_to(with.bookmark()), base::BadInput);
}

TEST(BenchWithBattery, RefusesABookmarkOfNoSuchModeOrPosition) {
  SimulatedBench device = simulated(shed_bench());
  const std::string sound = device.bookmark();
  device.return_to(sound);
  for (const std::string key : {"stage", "output_stage", "inverter_mode", "inverter_cause",
                                "bridge_fault", "dc_position", "ac_position"}) {
    for (const std::string number : {"6", "-1"}) {
      std::string spoilt = sound;
      const std::string member = "\"" + key + "\":\"";
      const std::size_t at = spoilt.find(member);
      ASSERT_NE(at, std::string::npos) << key;
      spoilt.replace(at + member.size(), 1, number);
      EXPECT_THROW(device.return_to(spoilt), base::BadInput) << key << number;
    }
  }
  EXPECT_EQ(device.bookmark(), sound);
}

/// The change that a fault makes to a quantity, and what is left of it when it has ended.
struct Effect {
  std::map<std::string, double> before;
  std::map<std::string, double> during;
  std::map<std::string, double> after;
};

Effect effect_of(const Fault& fault) {
  bench::Bench bench = shed_bench();
  bench.tunnel.turbulence_intensity = 0.0;
  SimulatedBench device = simulated(bench);
  const Start start = start_of(device);
  device.set("fan_pct", 80.0);
  device.set("inverter_switch", 1.0);
  device.set("ac_load_selector", 2.0);
  device.set("dc_load_selector", 1.0);
  device.advance(40.0);
  Effect effect{.before = device.truth(), .during = {}, .after = {}};
  device.start_fault(fault);
  device.advance(3.0);
  effect.during = device.truth();
  device.end_fault(fault);
  device.advance(20.0);
  effect.after = device.truth();
  expect_closed(device, start);
  EXPECT_EQ(device.chain_energy().at("battery_fault_loss_J") > 1.0,
            fault.kind == FaultKind::sulphated_cell);
  return effect;
}

TEST(BenchWithBattery, AnOpenPhaseLetsTheRotorRunFasterForLessCurrent) {
  const Effect e = effect_of({.kind = FaultKind::open_phase});
  EXPECT_GT(e.during.at("rotor_speed_rad_s"), 1.05 * e.before.at("rotor_speed_rad_s"));
  // What a sound bridge would give at that speed and voltage.
  const physics::VoltageLoad sound = physics::generator_on_voltage(
      shed_bench().generator, e.during.at("rotor_speed_rad_s"), e.during.at("dc_voltage_V"));
  EXPECT_LT(e.during.at("dc_current_A"), 0.8 * sound.load.dc_current_A);
  EXPECT_NEAR(e.after.at("dc_current_A"), e.before.at("dc_current_A"), 0.1);
}

TEST(BenchWithBattery, AShortedDiodeHeatsTheWindingAndSlowsTheRotor) {
  const Effect e = effect_of({.kind = FaultKind::shorted_diode});
  EXPECT_LT(e.during.at("rotor_speed_rad_s"), 0.95 * e.before.at("rotor_speed_rad_s"));
  EXPECT_LT(e.during.at("dc_current_A"), 0.9 * e.before.at("dc_current_A"));
  EXPECT_GT(e.during.at("winding_loss_W") / e.during.at("rotor_power_W"),
            1.2 * e.before.at("winding_loss_W") / e.before.at("rotor_power_W"));
}

TEST(BenchWithBattery, ASulphatedCellShowsInVoltageAndCharge) {
  const Effect e =
      effect_of({.kind = FaultKind::sulphated_cell, .amount = 20.0, .lost_share = 0.4});
  const auto sag_V = [](const std::map<std::string, double>& truth) {
    return truth.at("battery_ohmic_loss_W") / std::abs(truth.at("battery_current_A"));
  };
  EXPECT_GT(sag_V(e.during), 2.0 * sag_V(e.before));
  EXPECT_NEAR(e.during.at("state_of_charge_pct"), e.before.at("state_of_charge_pct"), 0.5);
  // Well again, the cell has its capacity back, but not what was in it.
  EXPECT_NEAR(e.after.at("state_of_charge_pct"), 0.6 * e.before.at("state_of_charge_pct"), 1.0);
}

TEST(BenchWithBattery, StopsIntoTheBattery) {
  SimulatedBench device = simulated(shed_bench());
  busy_minute(device);
  device.stop();
  device.advance(30.0);
  EXPECT_EQ(device.truth().at("inverter_output_rms_V"), 0.0);
  EXPECT_EQ(device.truth().at("mains_output_W"), 0.0);
  EXPECT_LT(device.truth().at("rotor_speed_rad_s"), 40.0);
}

}  // namespace
}  // namespace windwright::twin
