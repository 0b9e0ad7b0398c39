// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <optional>

namespace windwright::physics {

/// The kinetic battery model: two tanks of charge joined by a valve. Only the first feeds the
/// terminals; the second fills it up. docs/theory/battery.md. Units need only agree (A s with s as
/// named, or A h with h throughout): every equation is homogeneous.
/// Source: Manwell and McGowan, Lead acid battery storage model for hybrid energy systems, Solar
/// Energy 50 (1993) 399-405. Checked in tests/published/kinetic_battery_test.cpp.
struct KineticTanks {
  double charge_A_s;        // of both tanks when full; above 0
  double available_share;   // c, of the first tank, in (0, 1)
  double exchange_rate_s1;  // k, of the levels' difference; above 0
};

/// What is in the tanks.
struct TankCharge {
  double available_A_s;
  double bound_A_s;
};

/// Charge flowing from the bound to the available tank: k (c y2 - (1 - c) y1).
double exchange_current_A(const KineticTanks& tanks, const TankCharge& charge);

/// The tanks after a step of constant current; it may run past empty or full, which the limits
/// below tell beforehand.
/// @param current_A  positive discharges
/// @param time_s     not negative
TankCharge after_constant_current(const KineticTanks& tanks, const TankCharge& charge,
                                  double current_A, double time_s);

/// Time until a constant current has emptied the available tank: the first zero of y1(t), which has
/// one only; bracketed by the time in which all charge is gone, then TOMS 748.
/// @return 0 if it is empty already; nothing if the current does not discharge
std::optional<double> time_to_empty_s(const KineticTanks& tanks, const TankCharge& charge,
                                      double current_A);

/// The constant current that just empties the available tank in a time.
/// @param time_s  above 0
double largest_discharge_A(const KineticTanks& tanks, const TankCharge& charge, double time_s);

/// The constant current that just fills the available tank in a time, as a discharge: negative.
double largest_charge_A(const KineticTanks& tanks, const TankCharge& charge, double time_s);

/// Charge delivered by the constant current that empties full tanks in a time, over the whole
/// charge: from c for the quickest to 1 for the slowest.
double deliverable_share(const KineticTanks& tanks, double time_s);

/// Peukert's law: t = H (C / (I H))^n.
struct PeukertLaw {
  double capacity_A_s;      // C, at the reference rate
  double reference_time_s;  // H
  double exponent;          // n, 1 for an ideal battery
};

/// Source: Peukert, Elektrotechnische Zeitschrift (1897), from memory. Checked in
/// tests/published/kinetic_battery_test.cpp.
/// @param current_A  above 0
double discharge_time_s(const PeukertLaw& law, double current_A);

/// A discharge at constant current to a cut-off.
struct Discharge {
  double current_A;
  double time_s;
};

/// Exponent of the law through two discharges.
/// @throws BadInput  equal currents, or one not above 0
double peukert_exponent(const Discharge& a, const Discharge& b);

}  // namespace windwright::physics
