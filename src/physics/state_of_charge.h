// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "physics/battery.h"

namespace windwright::physics {

/// State of charge with its standard uncertainty (JCGM 100:2008, first order). Not clamped to
/// [0, 1]: a count that leaves it tells of a bias.
struct ChargeEstimate {
  double value;
  double standard_uncertainty;
};

/// What a count of charge knows. Efficiency covers charging only: what comes out was stored.
struct ChargeCount {
  ChargeEstimate initial;
  double charged_A_s;     // into the terminals, not negative
  double discharged_A_s;  // out of them, not negative
  double charging_time_s;
  double discharging_time_s;
  double coulombic_efficiency;
  double u_coulombic_efficiency;
  double u_current_offset_A;  // standard uncertainty of the sensor's zero; the same all the time
  double u_current_gain;      // relative
  double capacity_A_s;        // of all charge: tanks(battery).charge_A_s
  double u_capacity_A_s;
};

/// s = s0 + (efficiency charged - discharged) / capacity; all inputs independent. An offset grows
/// with time; that is why a count has to be set anew at full charge or after a rest.
/// @throws BadInput  capacity not above 0, or a quantity negative
ChargeEstimate counted_state_of_charge(const ChargeCount& count);

/// What a reading of the rest voltage knows.
struct RestReading {
  double voltage_V;      // whole battery, no current
  double u_voltage_V;    // of the reading
  double u_curve_V;      // of one cell's open-circuit curve: kind, age, acid, hysteresis
  double temperature_K;  // of the battery
  double u_temperature_K;
  double rest_time_s;       // since the last current
  double level_difference;  // largest between the tanks when the rest began: how hard it had worked
  double diffusion_V;       // largest diffusion voltage then
};

/// The state of charge whose rest voltage is the one read, and how little that may say: the
/// uncertainties of reading, curve, temperature and what the rest has left of diffusion voltage and
/// level difference (exponential decays, taken as half-widths of a rectangle) over the slope of the
/// curve. No reading says less than that the state lies between 0 and 1 (a rectangle, 1/sqrt(12)):
/// 1/u^2 = 1/u_reading^2 + 12. On a flat curve that bound is what is left.
/// @throws BadInput  a quantity not finite or an uncertainty negative
ChargeEstimate rested_state_of_charge(const Battery& battery, const RestReading& reading);

struct CombinedCharge {
  ChargeEstimate estimate;
  double counted_weight;  // 0 to 1
  double disagreement;    // |difference| over its standard uncertainty: above 2, look for a bias
};

/// The mean of both weighted with 1/u^2; they must not share errors (a count started from the same
/// curve does).
/// @throws BadInput  an uncertainty not above 0
CombinedCharge combined_state_of_charge(const ChargeEstimate& counted,
                                        const ChargeEstimate& rested);

}  // namespace windwright::physics
