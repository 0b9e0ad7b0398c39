// SPDX-License-Identifier: Apache-2.0
#include "physics/electrical_chain.h"

#include "base/errors.h"
#include "inverter_examples.h"
#include "load_examples.h"
#include "physics/ac_supply.h"
#include "physics/battery.h"
#include "physics/chain_loads.h"
#include "physics/charge_controller.h"
#include "physics/generator.h"
#include "physics/inverter.h"
#include "physics/led_lamp.h"
#include "physics/load_set.h"

#include <gtest/gtest.h>

#include <cmath>
#include <optional>
#include <string>
#include <vector>

namespace windwright::physics {
namespace {

constexpr double room_temperature_K = 298.15;

Generator machine() {
  return {.pole_pairs = 6,
          .flux_linkage_V_s = 0.05,
          .winding_resistance_ohm = 0.25,
          .winding_inductance_H = 0.8e-3,
          .diode_drop_V = 0.75,
          .diode_resistance_ohm = 0.01,
          .bearing_torque_N_m = 0.03,
          .bearing_viscous_N_m_s = 2e-4,
          .iron_hysteresis_J = 1.5e-3,
          .iron_eddy_J_s = 8e-6,
          .cogging_torque_N_m = 0.05};
}

ElectricalChain chain_of(SourceControl source) {
  return {.generator = machine(),
          .controller = {.cells = 12,
                         .set_points = common_set_points(BatteryKind::flooded),
                         .source = source,
                         .dump = DumpControl::on_off,
                         .rated_current_A = 20.0,
                         .dump_current_A = 15.0,
                         .absorption_end_current_A = 0.6},
          .converter = {.no_load_W = 1.0, .drop_V = 0.4, .series_ohm = 0.02},
          .battery = typical_battery(BatteryKind::flooded, 12, 60.0 * 3600.0),
          .inverter = bench_inverter()};
}

struct Bus {
  ElectricalChain chain;
  BatteryState battery{};
  ChainPositions positions{};
  std::vector<SwitchedLoad> dc_loads = {};
  std::vector<SwitchedLoad> ac_loads = {};
  ChainMemory memory = {};

  ChainFlow at(double rotor_speed_rad_s) {
    return electrical_flow(chain, positions,
                           {.rotor_speed_rad_s = rotor_speed_rad_s,
                            .battery = battery,
                            .dc_loads = dc_loads,
                            .ac_loads = ac_loads,
                            .room_temperature_K = room_temperature_K},
                           memory);
  }
};

Bus bus(SourceControl source, double state_of_charge = 0.6) {
  Bus made{.chain = chain_of(source)};
  made.battery = rested_state(made.chain.battery, state_of_charge, room_temperature_K);
  made.positions.controller = controller_at_start(made.chain.controller);
  return made;
}

void expect_closed(const ChainFlow& f, double rotor_speed_rad_s) {
  const double scale_W = 100.0;
  const SourceFlow& s = f.source;
  EXPECT_NEAR(
      s.shaft_torque_N_m * rotor_speed_rad_s,
      s.bearing_loss_W + s.iron_loss_W + s.winding_loss_W + s.rectifier_loss_W + s.dc_power_W,
      1e-12 * scale_W);
  EXPECT_NEAR(s.dc_power_W, s.controller_loss_W + s.charge_power_W, 1e-12 * scale_W);
  EXPECT_NEAR(s.charge_power_W + f.battery.terminal_power_W + f.mains.output_power_W,
              f.dump_power_W + f.dc.power.electrical_W + f.inverter.dc_power_W, 1e-12 * scale_W);
  const BatteryFlow& b = f.battery;
  EXPECT_NEAR(b.terminal_power_W,
              b.chemical_power_W + b.reversible_heat_W - b.ohmic_loss_W - b.diffusion_loss_W -
                  b.gassing_loss_W - b.self_discharge_loss_W,
              1e-12 * scale_W);
  EXPECT_NEAR(f.inverter.ac_power_W, f.ac.active_power_W, 1e-12 * scale_W);
  EXPECT_GE(s.controller_loss_W, 0.0);
}

// Elementary circuit theory (maximum power transfer): a source E behind r that feeds a constant
// power P stands at V = (E + sqrt(E^2 - 4 r P)) / 2.
TEST(ElectricalChain, StandsWhereAConstantPowerMeetsTheBatterysResistance) {
  Bus b = bus(SourceControl::always_on);
  b.chain.battery.gassing_current_A = 0.0;
  b.chain.inverter->off_power_W = 60.0;
  const double open_V = open_circuit_V(b.chain.battery, b.battery);
  const double level = 0.6;
  const Battery& battery = b.chain.battery;
  const double ohm = battery.cells * battery.cell_resistance_ohm *
                     (1.0 + battery.discharge_polarisation * (1.0 - level) / level);
  const ChainFlow flow = b.at(0.0);
  EXPECT_NEAR(flow.bus_voltage_V, 0.5 * (open_V + std::sqrt(open_V * open_V - 4.0 * ohm * 60.0)),
              1e-9);
  expect_closed(flow, 0.0);
}

// A resistance across the same source: V = E R / (R + r).
TEST(ElectricalChain, StandsWhereAResistanceDividesTheBatterysVoltage) {
  Bus b = bus(SourceControl::always_on);
  b.chain.battery.gassing_current_A = 0.0;
  b.chain.inverter.reset();
  b.positions.controller.dump_share = 1.0;
  const double open_V = open_circuit_V(b.chain.battery, b.battery);
  const Battery& battery = b.chain.battery;
  const double inner_ohm = battery.cells * battery.cell_resistance_ohm *
                           (1.0 + battery.discharge_polarisation * 0.4 / 0.6);
  const double dump_ohm = dump_resistance_ohm(b.chain.controller);
  EXPECT_DOUBLE_EQ(dump_ohm, 12.0 * 2.43 / 15.0);
  EXPECT_NEAR(b.at(0.0).bus_voltage_V, open_V * dump_ohm / (dump_ohm + inner_ohm), 1e-9);
}

TEST(ElectricalChain, ClosesEveryNodeInEveryPosition) {
  for (const auto source : {SourceControl::always_on, SourceControl::series_pwm,
                            SourceControl::shunt_pwm, SourceControl::tracker}) {
    Bus b = bus(source, 0.95);
    b.chain.mains_charger = MainsCharger{.highest_current_A = 8.0,
                                         .absorption_V = 28.8,
                                         .float_V = 27.0,
                                         .regulation_ohm = 0.02,
                                         .efficiency = 0.88,
                                         .no_load_W = 3.0,
                                         .end_current_A = 0.6};
    b.dc_loads = {{.load = dc_fan(), .state = {.speed_rad_s = 100.0}},
                  {.load = Lamp{.rated_voltage_V = 24.0,
                                .rated_power_W = 20.0,
                                .rated_temperature_K = 2700.0,
                                .heat_capacity_J_K = 0.01},
                   .state = {.temperature_K = 2000.0}}};
    b.ac_loads = {{.load = mains_lamp(), .state = {.temperature_K = 2500.0}},
                  {.load = led_bulb()},
                  {.load = desk_fan(), .state = {.speed_rad_s = 130.0}}};
    for (const double speed_rad_s : {0.0, 30.0, 55.0, 80.0, 150.0}) {
      for (const double share : {0.0, 0.3, 1.0}) {
        for (const bool on : {false, true}) {
          ControllerOutput& out = b.positions.controller;
          out.source_share = source == SourceControl::tracker ? 1.0 : share;
          out.short_circuited_share = source == SourceControl::shunt_pwm ? 1.0 - share : 0.0;
          if (source == SourceControl::tracker) out.output_current_limit_A = 20.0 * share;
          out.demand.input_voltage_V = on ? std::optional(33.0) : std::nullopt;
          out.dump_share = on ? 0.5 : 0.0;
          b.positions.mains_on = on;
          b.positions.inverter = on ? InverterMode::running : InverterMode::off;
          expect_closed(b.at(speed_rad_s), speed_rad_s);
        }
      }
    }
  }
}

// The pulses' mean is the mean of its two states at the voltage where the bus stands.
TEST(ElectricalChain, AveragesTheStatesOfAPulsedSwitch) {
  for (const auto source : {SourceControl::series_pwm, SourceControl::shunt_pwm}) {
    Bus b = bus(source);
    b.positions.controller.source_share = 0.4;
    if (source == SourceControl::shunt_pwm) b.positions.controller.short_circuited_share = 0.6;
    const ChainFlow flow = b.at(70.0);
    const VoltageLoad on = generator_on_voltage(machine(), 70.0, flow.bus_voltage_V);
    const double open_V = 1e3;
    const VoltageLoad off =
        generator_on_voltage(machine(), 70.0, source == SourceControl::shunt_pwm ? 0.0 : open_V);
    EXPECT_NEAR(flow.source.charge_current_A, 0.4 * on.load.dc_current_A, 1e-12);
    EXPECT_NEAR(flow.source.shaft_torque_N_m,
                0.4 * on.load.shaft_torque_N_m + 0.6 * off.load.shaft_torque_N_m, 1e-12);
  }
}

TEST(ElectricalChain, HoldsTheTrackersInputAndEasesOffAtItsLimit) {
  Bus b = bus(SourceControl::tracker);
  b.positions.controller.demand.input_voltage_V = 35.0;
  const ChainFlow free = b.at(90.0);
  EXPECT_NEAR(free.source.dc_voltage_V, 35.0, 1e-12);
  EXPECT_GT(free.source.charge_current_A, 5.0);
  EXPECT_NEAR(free.source.charge_power_W + 1.0 + 0.4 * free.source.charge_current_A +
                  0.02 * std::pow(free.source.charge_current_A, 2),
              free.source.dc_power_W, 1e-9);
  b.positions.controller.output_current_limit_A = 3.0;
  const ChainFlow limited = b.at(90.0);
  EXPECT_DOUBLE_EQ(limited.source.charge_current_A, 3.0);
  EXPECT_GT(limited.source.dc_voltage_V, 35.0);
  EXPECT_NEAR(limited.source.dc_power_W, 3.0 * limited.bus_voltage_V + 1.0 + 1.2 + 0.18, 1e-8);
  b.positions.controller.output_current_limit_A = 100.0;
  b.positions.controller.demand = {.input_voltage_V = {}, .input_current_A = 4.0};
  EXPECT_NEAR(b.at(90.0).source.dc_current_A, 4.0, 1e-9);
  b.positions.controller.demand = {.input_voltage_V = 5.0, .input_current_A = {}};
  const ChainFlow lowest = b.at(90.0);
  EXPECT_NEAR(lowest.source.dc_voltage_V, lowest.bus_voltage_V + 0.4, 1e-9);
}

// No power but the generator's comes out of the converter: on both sides of the power's peak, where
// hill climbing lives, as at every speed and limit.
TEST(ElectricalChain, TheTrackersConverterOnlyLoses) {
  for (const auto fault :
       {BridgeFault::none, BridgeFault::open_phase, BridgeFault::shorted_diode}) {
    Bus b = bus(SourceControl::tracker);
    b.chain.bridge_fault = fault;
    int limited = 0;
    for (double speed_rad_s = 40.0; speed_rad_s < 330.0; speed_rad_s += 58.0) {
      for (double input_V = 27.0; input_V < 160.0; input_V *= 1.3) {
        for (const double limit_A : {0.01, 0.5, 3.0, 8.0, 20.0}) {
          b.positions.controller.demand.input_voltage_V = input_V;
          b.positions.controller.output_current_limit_A = limit_A;
          const ChainFlow flow = b.at(speed_rad_s);
          const SourceFlow& s = flow.source;
          ASSERT_GE(s.controller_loss_W, 0.0) << speed_rad_s << ' ' << input_V << ' ' << limit_A;
          ASSERT_NEAR(s.dc_power_W, s.charge_power_W + s.controller_loss_W, 1e-8);
          const double i_A = s.charge_current_A;
          if (i_A > 0.0) {
            ASSERT_NEAR(s.controller_loss_W, 1.0 + 0.4 * i_A + 0.02 * i_A * i_A, 1e-8);
          }
          if (i_A == limit_A) ++limited;
        }
      }
    }
    EXPECT_GT(limited, 50);
  }
}

TEST(ElectricalChain, RefusesABusThatNoVoltageBalances) {
  Bus b = bus(SourceControl::always_on);
  b.chain.battery.gassing_current_A = 0.0;
  b.battery.diffusion_V = -1e4;  // it would push its current beyond any voltage of the search
  const ChainFlow flow = b.at(0.0);
  EXPECT_FALSE(flow.converged);
  try {
    measured(flow, b.battery);
    FAIL();
  } catch (const base::DeviceFault& fault) {
    EXPECT_NE(std::string(fault.what()).find("the currents balance at no voltage"),
              std::string::npos)
        << fault.what();
  }
}

// A diode of the bridge is shorted and the rotor too slow for the battery: the terminals show what
// the machine makes, not the bus that a rest of the search touches.
TEST(ElectricalChain, ShowsTheMachinesVoltageWhereNoCurrentFlows) {
  for (const auto fault : {BridgeFault::none, BridgeFault::shorted_diode}) {
    Bus b = bus(SourceControl::always_on);
    b.chain.bridge_fault = fault;
    for (double speed_rad_s = 0.0; speed_rad_s < 8.0; speed_rad_s += 0.05)
      ASSERT_LT(b.at(speed_rad_s).source.dc_voltage_V, 6.0) << speed_rad_s;
  }
}

TEST(ElectricalChain, DoesNotDependOnWhereTheSearchBegins) {
  Bus b = bus(SourceControl::series_pwm);
  b.ac_loads = {{.load = mains_rheostat(), .state = {.temperature_K = 400.0}}};
  b.positions.inverter = InverterMode::running;
  const double first_V = b.at(70.0).bus_voltage_V;
  for (const double near_V : {15.0, 24.0, 31.0, 60.0}) {
    b.memory.near_V = near_V;
    EXPECT_NEAR(b.at(70.0).bus_voltage_V, first_V, 1e-9 * first_V);
  }
  // A constant current beside a constant power that the battery no longer backs: two balances.
  b.ac_loads = {{.load = led_bulb(), .count = 10.0}};
  b.chain.mains_charger = MainsCharger{.highest_current_A = 5.0,
                                       .absorption_V = 28.8,
                                       .float_V = 27.0,
                                       .regulation_ohm = 0.02,
                                       .efficiency = 0.88,
                                       .no_load_W = 3.0,
                                       .end_current_A = 0.6};
  b.positions.mains_on = true;
  b.battery = rested_state(b.chain.battery, 1e-5, room_temperature_K);
  b.memory.near_V = 0.0;
  const double upper_V = b.at(0.0).bus_voltage_V;
  EXPECT_GT(upper_V, 23.0);
  for (const double near_V : {5.0, 15.0, 19.0, 24.0}) {
    b.memory.near_V = near_V;
    EXPECT_NEAR(b.at(0.0).bus_voltage_V, upper_V, 1e-9 * upper_V);
  }
}

// An inverter's constant power on a battery that cannot give it: at every state of charge there is
// a voltage at which the currents balance, and it moves with the state without a jump.
TEST(ElectricalChain, BalancesAnInverterOnAnEmptyBattery) {
  Bus b = bus(SourceControl::always_on);
  b.dc_loads = {{.load = dc_fan(), .state = {.speed_rad_s = 10.0}}};
  b.ac_loads = {{.load = mains_lamp(), .state = {.temperature_K = 1500.0}},
                {.load = led_bulb(), .count = 10.0},
                {.load = desk_fan()}};
  b.positions.inverter = InverterMode::running;
  double before_V = 0.0;
  for (const double speed_rad_s : {0.0, 30.0}) {
    for (double charge = 0.0; charge < 0.2; charge += 2e-5) {
      b.battery = rested_state(b.chain.battery, charge, room_temperature_K);
      const ChainFlow flow = b.at(speed_rad_s);
      ASSERT_TRUE(flow.converged) << charge;
      expect_closed(flow, speed_rad_s);
      // Nothing is left over that the battery would have to carry.
      const BatteryFlow own = battery_flow(b.chain.battery, b.battery, flow.bus_voltage_V);
      ASSERT_NEAR(flow.battery.current_A, own.current_A, 1e-8) << charge;
      if (charge > 0.0) {
        ASSERT_LT(std::abs(flow.bus_voltage_V - before_V), 0.2) << charge;
      }
      before_V = flow.bus_voltage_V;
    }
    EXPECT_GT(before_V, 21.0);
  }
}

// Bursts: energy is conserved, and RMS voltage and power fall as on a resistance.
TEST(ElectricalChain, LoadsGetTheMeanOfTheInvertersBursts) {
  Bus b = bus(SourceControl::always_on);
  b.ac_loads = {{.load = mains_rheostat(), .state = {.temperature_K = 400.0}},
                {.load = led_bulb()},
                {.load = desk_fan(), .state = {.speed_rad_s = 130.0}}};
  b.positions.inverter = InverterMode::running;
  b.chain.battery.open_circuit.level_V = 0.6;  // rests at half of what the inverter needs
  b.chain.battery.open_circuit_V_K = 0.0;
  const ChainFlow flow = b.at(0.0);
  expect_closed(flow, 0.0);
  const double share = std::pow(flow.bus_voltage_V / lowest_steady_V(*b.chain.inverter), 2);
  EXPECT_LT(share, 0.5);
  EXPECT_NEAR(rms_V(flow.ac_supply), 230.0 * std::sqrt(share), 1e-9);
  const PowerSplit& p = flow.ac.power;
  EXPECT_NEAR(p.electrical_W, p.heat_W + p.radiated_W + p.mechanical_W + p.stored_W, 1e-10);
  EXPECT_NEAR(p.electrical_W, flow.ac.active_power_W, 1e-10);
  const LoadState hot{.temperature_K = 400.0};
  const AcSupply full = output(*b.chain.inverter, lowest_steady_V(*b.chain.inverter));
  const double on_W = ac_flow(mains_rheostat(), hot, full, room_temperature_K).power.electrical_W;
  EXPECT_NEAR(b.memory.ac_flows[0].power.electrical_W, share * on_W, 1e-9);
  const double off_K_s = off_flow(mains_rheostat(), hot, room_temperature_K).rates.temperature_K_s;
  const double on_K_s =
      ac_flow(mains_rheostat(), hot, full, room_temperature_K).rates.temperature_K_s;
  EXPECT_NEAR(b.memory.ac_flows[0].rates.temperature_K_s, share * on_K_s + (1.0 - share) * off_K_s,
              1e-12);
}

TEST(ElectricalChain, RefusesPartsThatHaveNoMeaningOrDoNotFit) {
  const auto complaint = [](const auto& spoil) -> std::string {
    ElectricalChain chain = chain_of(SourceControl::tracker);
    require_chain(chain);
    spoil(chain);
    try {
      require_chain(chain);
    } catch (const base::BadInput& bad) {
      return bad.what();
    }
    return "";
  };
  EXPECT_EQ(complaint([](ElectricalChain& chain) { chain.controller.cells = 6; }),
            "charge controller: it is set for 6 cells: 12, as many as the battery has");
  EXPECT_EQ(complaint([](ElectricalChain& chain) { chain.generator.pole_pairs = 0; }),
            "generator: no pole pair: 1 or more");
  EXPECT_EQ(complaint([](ElectricalChain& chain) { chain.generator.iron_eddy_J_s = -1.0; }),
            "generator: a figure is below 0 or not finite: 0 or more");
  EXPECT_EQ(complaint([](ElectricalChain& chain) { chain.generator.flux_linkage_V_s = 0.0; }),
            "generator: the flux linkage is not above 0: above 0 V s");
  EXPECT_EQ(complaint([](ElectricalChain& chain) {
              chain.generator.winding_resistance_ohm = 0.0;
              chain.generator.winding_inductance_H = 0.0;
            }),
            "generator: neither resistance nor inductance: one of them above 0");
  EXPECT_EQ(complaint([](ElectricalChain& chain) { chain.converter.series_ohm = -0.02; }),
            "power tracker: a loss of the converter is -0.02: not negative");
}

// What the lamp's own equations come to when its capacitor has had a second.
TEST(ElectricalChain, SettledLedLampIsWhereTheLampComesTo) {
  const LedLamp lamp{.power_W = 5.0,
                     .lowest_voltage_V = 15.0,
                     .bridge_drop_V = 1.4,
                     .series_ohm = 1.0,
                     .capacitance_F = 1e-3,
                     .light_share = 0.35};
  for (const double voltage_V : {0.5, 10.0, 24.0, 30.0}) {
    double stored_J = 1e-4;
    for (int i = 0; i < 100000; ++i)
      stored_J += 1e-5 * led_dc_flow(lamp, stored_J, voltage_V).rates.capacitor_W;
    const DcFlow settled = led_settled_dc_flow(lamp, voltage_V);
    EXPECT_NEAR(settled.current_A, led_dc_flow(lamp, stored_J, voltage_V).current_A, 1e-6);
    const PowerSplit& p = settled.power;
    EXPECT_NEAR(p.electrical_W, p.heat_W + p.radiated_W, 1e-12);
    const double step_V = 1e-5;
    EXPECT_NEAR(settled.slope_S,
                (led_settled_dc_flow(lamp, voltage_V + step_V).current_A -
                 led_settled_dc_flow(lamp, voltage_V - step_V).current_A) /
                    (2.0 * step_V),
                1e-6);
  }
}

TEST(ElectricalChain, ShowsFaultsOfTheBridge) {
  Bus b = bus(SourceControl::series_on_off);
  const ChainFlow healthy = b.at(70.0);
  b.chain.bridge_fault = BridgeFault::open_phase;
  const ChainFlow open = b.at(70.0);
  EXPECT_LT(open.source.charge_current_A, 0.8 * healthy.source.charge_current_A);
  expect_closed(open, 70.0);
  b.chain.bridge_fault = BridgeFault::shorted_diode;
  const ChainFlow shorted = b.at(70.0);
  EXPECT_GT(shorted.source.winding_loss_W, 2.0 * healthy.source.winding_loss_W);
  expect_closed(shorted, 70.0);
  b.positions.controller.source_share = 0.0;  // it circulates behind an open switch, too
  EXPECT_GT(b.at(70.0).source.winding_loss_W, 10.0);
}

}  // namespace
}  // namespace windwright::physics
