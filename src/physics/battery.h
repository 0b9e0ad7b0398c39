// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "physics/kinetic_battery.h"

#include <optional>

namespace windwright::physics {

/// Hydrogen, acid, stored energy and short-circuit currents can hurt: docs/theory/battery.md has
/// the cautions beside the equations. Local codes and a qualified person decide.
enum class BatteryKind { flooded, agm, gel, lithium_iron_phosphate };

/// Open-circuit voltage of one rested cell at 298.15 K over its state of charge s: level_V +
/// slope_V s - knee_V exp(-s / knee_width) + rise_V exp(-(1 - s) / rise_width). Straight outside
/// [0, 1]. Rises with s, all parts not negative and widths above 0.
struct OpenCircuitCurve {
  double level_V;
  double slope_V;
  double knee_V;
  double knee_width;
  double rise_V;
  double rise_width;
};

/// Cells in series. All coefficients are those at 298.15 K; `_K1` are exponential, exp(b (T - T0)),
/// and temperatures outside 223.15 to 373.15 K count as these.
struct Battery {
  BatteryKind kind;
  int cells;
  // Charge: kinetic_battery.h.
  double capacity_A_s;      // delivered from full over the reference time at constant current
  double reference_time_s;  // 20 h for most lead-acid batteries
  double available_share;   // c
  double exchange_rate_s1;  // k
  double exchange_K1;       // rises with temperature: cold costs capacity at a rate, not for good
  // Voltage.
  OpenCircuitCurve open_circuit;
  double open_circuit_V_K;  // of one cell; its reversible heat is accounted for
  double cell_resistance_ohm;
  double resistance_K1;           // negative: falls with temperature
  double discharge_polarisation;  // m: resistance times 1 + m (1 - a) / a, a the available level
  double cell_diffusion_resistance_ohm;
  double diffusion_time_s;     // of the diffusion voltage, where charging does not polarise
  double charge_polarisation;  // m: while diffusion_V < 0, both times 1 + m a / (1 - a)
  // Side reactions.
  double charge_efficiency;  // coulombic, of the main reaction, below the gassing voltage
  double gassing_current_A;  // at gassing_V a cell and 298.15 K
  double gassing_V;
  double gassing_slope_V;    // Tafel: voltage of a cell for e times the current
  double gassing_K1;         // times the current for a kelvin
  double recombination;      // share of the gas that becomes water again: its heat stays
  double self_discharge_s1;  // share of the charge lost in a second inside the cell
  double self_discharge_K1;
  // Heat.
  double heat_capacity_J_K;
  double heat_conductance_W_K;  // to the room
};

/// What is integrated. Charges lie in [0, c Q] and [0, (1 - c) Q], Q = tanks(battery).charge_A_s.
struct BatteryState {
  double available_A_s;
  double bound_A_s;
  double diffusion_V;  // of the whole battery; positive when discharging
  double temperature_K;
};

/// Currents and powers at one terminal voltage. Closes exactly: terminal power = chemical power +
/// reversible heat - ohmic - diffusion - gassing - self-discharge loss; every loss is not negative.
struct BatteryFlow {
  double current_A;           // at the terminals, positive when discharging
  double slope_A_V;           // d(current)/d(terminal voltage), not positive
  double reaction_current_A;  // out of the available tank
  double charging_current_A;  // of the main branch before charge_efficiency; signed as current_A
  double gassing_current_A;   // all side reactions but self-discharge; makes gas (hydrogen)
  double terminal_power_W;    // what the battery delivers
  double chemical_power_W;    // fall of stored_energy_J in a second
  double reversible_heat_W;   // taken up as heat and delivered as work; either sign
  double ohmic_loss_W;        // with the polarisation
  double diffusion_loss_W;    // diffusion resistance, and the exchange between the tanks
  double gassing_loss_W;      // the gas's energy included
  double gas_power_W;         // part of it that leaves with the gas
  double self_discharge_loss_W;
};

/// What the flows need of a state, worked out once for many terminal voltages.
struct BatteryPoint {
  BatteryState state;
  KineticTanks tanks;  // exchange at the state's temperature
  double available_level;
  double excess_K;
  double enthalpy_available_V;  // of one cell
  double enthalpy_bound_V;
  double conductance_S;  // of the main branch without polarisation
  double diffusion_current_A;
  double exchange_A;
  double self_discharge_s1;
  double gassing_exponent;  // of one cell at no voltage
  double gassing_at_0;      // its exponential
};

/// d/dt of every state, and where the heat goes.
struct BatteryRates {
  double available_A;
  double bound_A;
  double diffusion_V_s1;
  double temperature_K_s;
  double heat_W;          // made in the battery: losses less gas power and reversible heat
  double heat_to_room_W;  // heat_W - heat_to_room_W = heat_capacity_J_K temperature_K_s
};

/// @throws BadInput  a parameter outside the domain stated beside it
void require_battery(const Battery& battery);

/// Q from the capacity at its reference time.
KineticTanks tanks(const Battery& battery);

/// Typical parameters of a new battery; common practice, no source, but where
/// docs/theory/battery.md names one. A battery on the bench is to be measured.
/// @param capacity_A_s  at 20 h, above 0
Battery typical_battery(BatteryKind kind, int cells, double capacity_A_s);

/// Both tanks level, no diffusion voltage.
/// @param state_of_charge  0 to 1, of tanks(battery).charge_A_s
BatteryState rested_state(const Battery& battery, double state_of_charge, double temperature_K);

/// (y1 + y2) / Q.
double state_of_charge(const Battery& battery, const BatteryState& state);

/// Of the whole battery, as the available tank stands: after a rest, as the state of charge stands.
double open_circuit_V(const Battery& battery, const BatteryState& state);
double open_circuit_V(const Battery& battery, const BatteryPoint& point);

/// Its slope over the state of charge, of the whole battery.
double open_circuit_slope_V(const Battery& battery, double state_of_charge);

/// Enthalpy of the charge in both tanks and energy of the diffusion, from empty: a function of the
/// state alone.
double stored_energy_J(const Battery& battery, const BatteryState& state);

/// Current and powers at a terminal voltage; explicit. The main branch carries (open-circuit -
/// diffusion - V) / R; R grows without bound as the available tank empties (discharge) or fills
/// (charge), so that no voltage takes it past either; the overvoltage of charging builds up in the
/// diffusion voltage (both after Shepherd, J. Electrochem. Soc. 112 (1965) 657). Across it lies the
/// gassing branch, exponential in voltage and temperature (Schiffer et al., J. Power Sources 168
/// (2007) 66), continued by its tangent above 20 e-folds. The current falls with V; its slope jumps
/// where the main branch changes its sign.
/// @param terminal_voltage_V  within 1e6 V
/// @throws BadInput           voltage outside, or a state not finite
BatteryFlow battery_flow(const Battery& battery, const BatteryState& state,
                         double terminal_voltage_V);

/// @throws BadInput  a state that is not finite
BatteryPoint battery_point(const Battery& battery, const BatteryState& state);
BatteryFlow battery_flow(const Battery& battery, const BatteryPoint& point,
                         double terminal_voltage_V);
BatteryRates battery_rates(const Battery& battery, const BatteryPoint& point,
                           const BatteryFlow& flow, double room_temperature_K);

/// @param flow  from battery_flow of this battery and state
BatteryRates battery_rates(const Battery& battery, const BatteryState& state,
                           const BatteryFlow& flow, double room_temperature_K);

/// Terminal voltage at a current: Newton's steps kept inside a bracket, to 1e-12 of the voltage.
/// Negative for a current beyond the short-circuit current.
/// @return nothing if no voltage between -10 V and 10 V a cell carries it
std::optional<double> terminal_voltage_V(const Battery& battery, const BatteryState& state,
                                         double current_A);

/// Faults that scenarios switch. Defaults: none.
struct BatteryFault {
  int sulphated_cells = 0;
  double resistance_factor = 1.0;  // of a sulphated cell, at least 1
  double lost_capacity = 0.0;      // of the weakest cell, [0, 1): one string carries no more
  int shorted_cells = 0;           // fewer than cells
};

/// @throws BadInput  a fault outside its domain
Battery with_fault(const Battery& battery, const BatteryFault& fault);

/// The state when a fault sets in: levels, voltage share of the cells left and temperature stay;
/// charge in lost capacity is lost with it.
BatteryState state_with_fault(const Battery& battery, const BatteryFault& fault,
                              const BatteryState& state);

}  // namespace windwright::physics
