// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "physics/ac_supply.h"
#include "physics/inverter_protection.h"

namespace windwright::physics {

/// Loss over rated power at apparent power S = p rated: no_load + proportional p + quadratic p^2.
/// Source: Schmidt and Sauer, Wechselrichter-Wirkungsgrade, Sonnenenergie 4 (1996) 43 (from
/// memory), there with active power; apparent power, because the losses follow the current
/// (common practice, no source).
struct InverterLosses {
  double no_load_share;
  double proportional_share;  // thresholds of diodes and transistors
  double quadratic_share;     // resistances
};

/// Carrier and filter of a sine inverter with unipolar pulse-width modulation; what is left of the
/// switching lies about twice the carrier.
struct CarrierFilter {
  double carrier_Hz;
  double inductance_H;
  double capacitance_F;
};

/// Battery inverter for lamps and motors of a bench, not connected to a grid. Caution: its output
/// is mains voltage, and its capacitors keep theirs when it is off. docs/theory/inverter.md.
struct Inverter {
  OutputKind kind;
  double rated_power_VA;
  double output_rms_V;  // that is regulated to
  double frequency_Hz;
  double link_ratio;   // highest instantaneous AC voltage per volt of the DC terminals
  bool regulated;      // quasi_square: its pulse width follows the DC voltage. sine is always
                       // regulated, square never
  double pulse_share;  // quasi_square, not regulated: of half a period
  InverterLosses losses;
  double standby_power_W;  // searching for a load
  double off_power_W;      // off or stopped: supply of its own electronics
  double dc_ripple_share;  // of the pulsation at twice the frequency that its input capacitor lets
                           // through to the DC terminals, 0 to 1
  CarrierFilter filter;    // sine only
  InverterLimits limits;
};

/// @throws BadInput  a parameter that has no meaning; a filter that resonates above the carrier
void check(const Inverter& inverter);

/// The wave at the AC terminals while it runs. Regulated to output_rms_V as long as the DC voltage
/// lets it: the sine's peak stays within link_ratio V, the pulse lasts half a period at most; below
/// that the output falls with the DC voltage. It does not depend on the load: a regulated inverter
/// holds it, and the drop of the others is part of the loss only.
/// @param dc_voltage_V  0 or more
AcSupply output(const Inverter& inverter, double dc_voltage_V);

/// d(RMS output)/d(DC voltage): 0 while regulated.
double output_slope(const Inverter& inverter, double dc_voltage_V);

/// What the AC side takes, from ac_total.
struct AcDemand {
  double active_power_W = 0.0;
  double apparent_power_VA = 0.0;  // at least the active power's magnitude
  double active_slope_A = 0.0;     // d(active power)/d(RMS voltage); apparent power in proportion
};

/// DC in = AC out + losses, to rounding.
struct InverterFlow {
  double dc_current_A;
  double slope_S;  // d(current)/d(DC voltage): negative, as of any constant power
  double dc_power_W;
  double ac_power_W;
  double no_load_loss_W;  // standby or off: all it draws
  double proportional_loss_W;
  double quadratic_loss_W;
};

/// The lowest DC voltage at which the output stands on end: where a regulated one still makes its
/// full wave, but within 0.8 (of others always) and 1 of the low-voltage stop, whose delay bridges
/// short sags. Common practice, no source.
double lowest_steady_V(const Inverter& inverter);

/// Share of the time with output, (V / lowest_steady_V)^2, 1 from there on. Below it the output
/// comes in bursts of the wave at lowest_steady_V: the electronics blank it whenever the input
/// capacitor has fallen too low and let go when it has recovered. So the mean current falls in
/// proportion to the voltage, as a resistance's, and against any battery there is a voltage at
/// which the bus stands; the RMS output falls in proportion, too. Common practice, no source.
double burst_share(const Inverter& inverter, double dc_voltage_V);

/// Averaged over a period of the output and over its bursts: I = burst_share (P_ac + losses) / V.
/// The supply of the other modes falls with V^2 likewise.
/// @param mode          running feeds the demand; starting, standby, off, stopped and locked none
/// @param dc_voltage_V  0 or more
/// @param demand        while there is output: at output(max(V, lowest_steady_V))
/// @throws BadInput     a voltage below 0 or not finite; an apparent power below the active one
InverterFlow inverter_flow(const Inverter& inverter, InverterMode mode, double dc_voltage_V,
                           const AcDemand& demand);

/// AC over DC power while it runs, at unity power factor; largest where the no-load loss equals the
/// quadratic one.
/// @param active_power_W  0 or more
double efficiency(const Inverter& inverter, double active_power_W);

/// First group of switching sidebands at the output of the filter:
/// amplitude_V sin(pi modulation sin(2 pi turns)) cos(2 pi carrier turns), carrier turns at
/// frequency_Hz. Higher groups are at least 8 times smaller. amplitude_V is 0 for other kinds.
/// Source: double Fourier series of naturally sampled unipolar PWM, Holmes and Lipo, Pulse Width
/// Modulation for Power Converters (2003), ch. 4 (from memory), times the filter's 1 / (1 -
/// (f/f0)^2).
struct CarrierRipple {
  double amplitude_V;
  double modulation;    // peak of the output over the highest voltage, 0 to 1
  double frequency_Hz;  // twice the carrier
};
CarrierRipple carrier_ripple(const Inverter& inverter, double dc_voltage_V);

}  // namespace windwright::physics
