// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "physics/dynamic_inflow.h"
#include "physics/generator.h"
#include "physics/rotor.h"

#include <optional>
#include <vector>

namespace windwright::physics {

/// What turns on one shaft. Starting, run-away and what happens in between:
/// docs/theory/transients.md.
struct TurningSet {
  Rotor rotor;
  Generator generator;
  double inertia_kg_m2;          // rotor, shaft and generator rotor about the axis; above 0
  double section_area_m2 = 0.0;  // of a closed section around the rotor; 0 where there is none
};

/// A rotor speed at which the rotor drives as much as generator, iron and bearing brake.
struct TorqueBalance {
  double rotor_speed_rad_s;
  bool stable;  // what drives falls below what brakes above this speed
};
struct TorqueBalances {
  std::vector<TorqueBalance> balances;  // by speed, rising; above 0
  bool speeds_up_at_end;                // still at tip-speed ratio 25, where the search ends
};
/// All balances with a load. A rotor with stall or with a weak start may have several: a slow one
/// where it labours stalled, an unstable one above it, and the running one. Sought between
/// tip-speed ratios 0.001 and 25 in steps of 0.1 to 0.25 and where the bridge begins to conduct;
/// where the steps show a peak or a trough it is sought out, so that a close pair is not missed. A
/// dent narrower than a step may be.
/// @param flow                 its rotor speed is not used
/// @param load_resistance_ohm  above 0; infinity is the open circuit
/// @throws BadInput            as rotor_load and generator_load
TorqueBalances torque_balances(const TurningSet& set, const RotorFlow& flow,
                               double load_resistance_ohm);

/// Start, running and run-away at one air speed.
struct StartUp {
  double starting_torque_N_m;  // of the wind on the rotor at standstill
  double holding_torque_N_m;   // breakaway_torque_N_m: what it has to exceed
  bool starts;
  /// Where a rotor that starts by itself settles; nothing: it does not start, or never settles.
  std::optional<double> from_rest_rad_s;
  /// Where a rotor that already runs settles, the highest balance; nothing: it comes to rest.
  std::optional<double> running_rad_s;
  double dc_power_W;  // into the load, running
  /// The same with the load thrown off. What the blades, not the generator, must stand.
  std::optional<double> runaway_rad_s;
  bool no_runaway_found;  // it still speeds up at tip-speed ratio 25
};
StartUp start_up(const TurningSet& set, const RotorFlow& flow, double load_resistance_ohm);

/// Lowest air speeds, found as roots; nothing where it does not happen up to the highest one.
struct CutIn {
  std::optional<double> keeps_turning_m_s;       // there is a balance
  std::optional<double> keeps_delivering_m_s;    // there is one where current flows into the load
  std::optional<double> starts_m_s;              // breaks away from standstill
  std::optional<double> delivers_from_rest_m_s;  // breaks away, and nothing holds it until then
  /// From here up to the highest a rotor that breaks away reaches the running balance; below it may
  /// labour at a slower one.
  std::optional<double> runs_up_from_rest_m_s;
};
/// @param flow               its air speed is the highest that is sought, its rotor speed not used
/// The first change of sign on the way up from 1/60 of that, in steps of 12 %; to 1e-9 of its
/// value.
CutIn cut_in(const TurningSet& set, const RotorFlow& flow, double load_resistance_ohm);

/// Rotor speed from which the bridge conducts: the peak of the back-EMF between two phases then
/// gives, on the mean, the threshold of two diodes.
double conducting_speed_rad_s(const Generator& generator);

/// Speed and wake of a turning rotor.
struct SetState {
  double rotor_speed_rad_s;
  InducedFlow inflow;
};
struct SetRates {
  double acceleration_rad_s2;
  InducedFlowRates inflow;
};
/// J dw/dt = Q - T and the induced flow of the disc, at constant or any other wind.
/// @param flow  its rotor speed is not used
SetRates set_rates(const TurningSet& set, const RotorFlow& flow, double load_resistance_ohm,
                   const SetState& state);
/// The state that stays as it is at the flow's own rotor speed, but for the speed.
SetState settled_state(const TurningSet& set, const RotorFlow& flow);

/// Time from the flow's rotor speed and its settled wake, in constant wind, until a higher speed is
/// reached: integrated by Dormand and Prince's method of order 5 (Boost.Odeint) to 1e-8.
/// @param load_resistance_ohm  from now on; infinity: thrown off
/// @return  nothing where the rotor does not get there within 1000 s
std::optional<double> seconds_to_speed(const TurningSet& set, const RotorFlow& flow,
                                       double load_resistance_ohm, double speed_rad_s);

}  // namespace windwright::physics
