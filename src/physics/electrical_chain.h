// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "physics/battery.h"
#include "physics/chain_loads.h"
#include "physics/charge_controller.h"
#include "physics/generator.h"
#include "physics/inverter.h"
#include "physics/load_set.h"
#include "physics/mains_charger.h"
#include "physics/power_tracker.h"

#include <optional>
#include <span>

namespace windwright::physics {

/// Generator and bridge, charge controller, battery, mains charger, inverter: all on one DC bus,
/// the battery's terminals. docs/theory/electrical_chain.md has every balance, and the cautions.
struct ElectricalChain {
  Generator generator;
  BridgeFault bridge_fault = BridgeFault::none;
  ChargeController controller;
  Converter converter{.no_load_W = 0.0, .drop_V = 0.0, .series_ohm = 0.0};  // a tracker's
  Battery battery;
  std::optional<MainsCharger> mains_charger = {};
  std::optional<Inverter> inverter = {};
};

/// Looks at every part on its own, and whether controller and battery have as many cells. Whether
/// the voltages of inverter and mains charger suit the battery is for whoever describes a bench.
/// @throws BadInput  a part outside its domain
void require_chain(const ElectricalChain& chain);

/// Of the dump load: what takes dump_current_A at the absorption voltage; infinity without one.
double dump_resistance_ohm(const ChargeController& controller);

/// What switches and electronics hold; changes at their samples and by hand only.
struct ChainPositions {
  ControllerOutput controller;
  bool mains_on = false;  // the mains charger
  MainsChargerState mains = {};
  InverterMode inverter = InverterMode::off;
};

/// Before the first sample: the source on, nothing dumped, the tracker at the bus voltage.
ControllerOutput controller_at_start(const ChargeController& controller);

/// Where the chain is. Loads are on as selector and controller connect them.
struct ChainPoint {
  double rotor_speed_rad_s;  // forward, 0 or more
  BatteryState battery;
  std::span<const SwitchedLoad> dc_loads;
  std::span<const SwitchedLoad> ac_loads;
  double room_temperature_K;
};

/// Averaged over the controller's pulses. shaft power = bearing + iron + winding + rectifier + DC
/// power; DC power = controller loss + charge power. Pulsed, a share of the time the source feeds
/// the bus and for the rest it is unloaded (series: it speeds up) or short-circuited (shunt); the
/// speed does not follow the pulses, and the winding's current settles at once (both of PWM well
/// below the electrical frequency's inverse; common practice, no source).
struct SourceFlow {
  double dc_voltage_V;  // mean at the bridge's DC terminals
  double dc_current_A;  // mean out of the bridge, also into a short circuit
  double frequency_Hz;  // electrical
  double shaft_torque_N_m;
  double bearing_loss_W;
  double iron_loss_W;
  double winding_loss_W;
  double rectifier_loss_W;
  double dc_power_W;         // mean of the product
  double controller_loss_W;  // tracker's converter
  double charge_power_W;     // into the bus
  double charge_current_A;
  double charge_slope_A_V;  // d(charge current)/d(bus voltage)
  double line_current_rms_A;
  double phase_emf_peak_V;
};

/// All of it at one moment. At the bus charge + battery + mains = dump + DC loads + inverter,
/// exactly: what the search leaves (1e-12 of the battery's currents) is counted with the battery's
/// ohmic loss.
struct ChainFlow {
  double bus_voltage_V;
  SourceFlow source;
  double dump_current_A;
  double dump_power_W;
  MainsChargerFlow mains;  // all 0 while it is off
  BatteryFlow battery;
  BatteryRates battery_rates;
  DcTotal dc;
  InverterFlow inverter;  // all 0 without one
  AcSupply ac_supply;     // peak 0 while the inverter does not run; RMS over bursts
  AcTotal ac;
  bool converged;  // a bus voltage was found; an integrator may try states that have none
};

/// Powers, losses and rates: Newton's steps on the bus voltage, kept inside a bracket from 0 to 10
/// V a cell, with every part's slope. Where a constant power meets an almost empty battery two
/// voltages may balance; the upper one counts. Below lowest_steady_V the inverter's output comes in
/// bursts (inverter.h). No allocation, but with a bridge fault and after a change of the number of
/// loads.
/// @param memory  of calls for this chain and these loads; load rates are left there
/// @throws BadInput     values that are not finite
/// @throws DeviceFault  no input of the tracker gives its limit
ChainFlow electrical_flow(const ElectricalChain& chain, const ChainPositions& positions,
                          const ChainPoint& point, ChainMemory& memory);

/// What the controller measures of it.
/// @throws DeviceFault  no bus voltage balances
ControllerInput measured(const ChainFlow& flow, const BatteryState& battery);

/// What the inverter's protection sees: the loads' apparent power, or, while the output is off,
/// what they would draw at the output's voltage.
double connected_VA(const ElectricalChain& chain, const ChainFlow& flow, const ChainPoint& point,
                    ChainMemory& memory);

}  // namespace windwright::physics
