// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "physics/ac_supply.h"
#include "physics/load_flow.h"

#include <cstddef>
#include <span>

namespace windwright::physics {

/// LED lamp: bridge rectifier, inrush resistor, capacitor, and a driver that takes constant power
/// from the capacitor. On AC it charges in short pulses near the voltage's peak; on DC it draws
/// less current the higher the voltage. docs/theory/loads.md. Source of the circuit: Mohan,
/// Undeland, Robbins, Power Electronics, ch. 5 (bridge with capacitor); constant-power driver and
/// its resistive range: common practice, no source.
struct LedLamp {
  double power_W;           // of the driver's input
  double lowest_voltage_V;  // of the capacitor for that power; below, the driver is the resistance
                            // that joins there
  double bridge_drop_V;     // two diodes, while they conduct
  double series_ohm;     // below lowest_voltage_V^2 / power_W, so that one current fits a voltage
  double capacitance_F;  // series_ohm capacitance_F at least 10 us
  double light_share;    // of the driver's power that leaves as light, 0 to 1
};

/// @throws BadInput  outside the domains above
void check(const LedLamp& lamp);

/// At a DC voltage of either polarity.
DcFlow led_dc_flow(const LedLamp& lamp, double capacitor_J, double voltage_V);

/// Over the half period that starts with capacitor_J: powers are its means, the rate of the stored
/// energy its change over half a period. Settled, it is the periodic state; on the way there
/// (inrush, another voltage) it is a mean that keeps the energy balance. Implicit midpoint rule,
/// which keeps the energy exactly; 512 steps on a sine, 192 growing ones along a pulse. Off the
/// exact periodic circuit by less than 0.1 % in power and 0.5 % in RMS current
/// (tests/physics/led_lamp_test.cpp).
AcFlow led_ac_flow(const LedLamp& lamp, double capacitor_J, const AcSupply& supply);

/// Switched off: the driver lives on what the capacitor holds.
DcFlow led_off_flow(const LedLamp& lamp, double capacitor_J);

/// The energy at the voltage's zero crossing that comes back after half a period.
double settled_capacitor_J(const LedLamp& lamp, const AcSupply& supply);

/// The current at one instant of the half period.
struct LedPoint {
  double turns;
  double current_A;
};
inline constexpr std::size_t led_points = 2048;

/// The current at the middles of the steps, in time: over the half period of a sine (2048 steps),
/// over the pulse of other supplies, between whose edges it is smooth; outside it is 0.
/// @param points  (led_points)
/// @return        how many of them are filled
std::size_t led_current(const LedLamp& lamp, double capacitor_J, const AcSupply& supply,
                        std::span<LedPoint> points);

}  // namespace windwright::physics
