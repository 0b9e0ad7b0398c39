// SPDX-License-Identifier: Apache-2.0
#include "physics/led_lamp.h"

#include "base/errors.h"
#include "load_examples.h"
#include "physics/ac_supply.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>
#include <string>
#include <vector>

namespace windwright::physics {
namespace {

struct Periodic {
  double active_W = 0.0;
  double rms_A = 0.0;
  std::complex<double> first_A = 0.0;
};

// The circuit itself: 40000 explicit fourth-order steps over each of 12 half periods, the last one
// counted.
Periodic integrated(const LedLamp& lamp, const AcSupply& supply) {
  constexpr int steps = 40000;
  const double h = 0.5 / supply.frequency_Hz / steps;
  const auto current = [&](double turns, double u) {
    const double forward_V = std::abs(voltage_V(supply, turns)) - lamp.bridge_drop_V - u;
    return std::max(0.0, forward_V / lamp.series_ohm);
  };
  const auto slope = [&](double turns, double u) {
    const double part = std::min(1.0, u / lamp.lowest_voltage_V);
    const double driver_A = u > 0.0 ? lamp.power_W * part * part / u : 0.0;
    return (current(turns, u) - driver_A) / lamp.capacitance_F;
  };
  double u = 0.95 * supply.peak_V;
  Periodic result;
  for (int half = 0; half < 12; ++half) {
    result = {};
    for (int i = 0; i < steps; ++i) {
      const double from = 0.5 * i / steps;
      const double middle = 0.5 * (i + 0.5) / steps;
      // Just inside, so that an edge of the supply falls between two steps.
      const double to = 0.5 * (i + 1.0 - 1e-9) / steps;
      const double k1 = slope(from, u);
      const double k2 = slope(middle, u + 0.5 * h * k1);
      const double k3 = slope(middle, u + 0.5 * h * k2);
      const double k4 = slope(to, u + h * k3);
      const double at_A = current(middle, u + 0.5 * h * k2);
      result.active_W += std::abs(voltage_V(supply, middle)) * at_A / steps;
      result.rms_A += at_A * at_A / steps;
      const double angle_rad = 2.0 * std::numbers::pi * middle;
      result.first_A += std::numbers::sqrt2 / steps * at_A *
                        std::complex<double>(std::sin(angle_rad), std::cos(angle_rad));
      u += h / 6.0 * (k1 + 2.0 * k2 + 2.0 * k3 + k4);
    }
  }
  result.rms_A = std::sqrt(result.rms_A);
  return result;
}

std::vector<LedLamp> lamps() {
  LedLamp large = led_bulb();
  large.power_W = 20.0;
  large.capacitance_F = 33e-6;
  large.series_ohm = 4.7;
  LedLamp rippling = led_bulb();
  rippling.capacitance_F = 2.2e-6;
  rippling.series_ohm = 100.0;
  return {led_bulb(), large, rippling};
}

TEST(LedLamp, AveragesAgreeWithTheCircuitIntegratedStepByStep) {
  for (const auto& [name, supply] : supplies()) {
    for (const LedLamp& lamp : lamps()) {
      const double settled_J = settled_capacitor_J(lamp, supply);
      const AcFlow flow = led_ac_flow(lamp, settled_J, supply);
      const Periodic right = integrated(lamp, supply);
      EXPECT_NEAR(flow.power.electrical_W / right.active_W, 1.0, 1e-3) << name;
      EXPECT_NEAR(flow.rms_current_A / right.rms_A, 1.0, 5e-3) << name;
      EXPECT_LT(std::abs(flow.harmonics_A[0] - right.first_A), 2e-3 * right.rms_A) << name;
      EXPECT_NEAR(flow.power.stored_W, 0.0, 1e-6 * lamp.power_W) << name;
      // What is left for the driver after bridge and resistor is its constant power.
      EXPECT_NEAR(flow.power.radiated_W, lamp.light_share * lamp.power_W, 1e-9) << name;
    }
  }
}

TEST(LedLamp, DrawsPulsesWithAPoorPowerFactorOnASine) {
  const AcSupply sine = supplies()[0].second;
  const AcFlow flow = led_ac_flow(led_bulb(), settled_capacitor_J(led_bulb(), sine), sine);
  const double power_factor = flow.power.electrical_W / (rms_V(sine) * flow.rms_current_A);
  EXPECT_GT(power_factor, 0.4);
  EXPECT_LT(power_factor, 0.7);
  // The pulse comes before the peak: the fundamental leads.
  EXPECT_LT(flow.reactive_power_var, 0.0);
}

TEST(LedLamp, AnEmptyCapacitorDrawsAnInrush) {
  const AcSupply sine = supplies()[0].second;
  const AcFlow first = led_ac_flow(led_bulb(), 0.0, sine);
  // Most of the charge in the first half period of 10 ms.
  EXPECT_GT(first.power.stored_W * 0.01, 0.8 * 0.5 * 6.8e-6 * 325.0 * 325.0);
  EXPECT_GT(
      first.rms_current_A,
      3.0 * led_ac_flow(led_bulb(), settled_capacitor_J(led_bulb(), sine), sine).rms_current_A);
}

TEST(LedLamp, SettlesAtConstantPowerOnDirectVoltage) {
  const LedLamp lamp = led_bulb();
  double stored_J = 0.5 * lamp.capacitance_F * 200.0 * 200.0;
  for (int i = 0; i < 200000; ++i)
    stored_J += 1e-6 * led_dc_flow(lamp, stored_J, 230.0).rates.capacitor_W;
  const DcFlow flow = led_dc_flow(lamp, stored_J, 230.0);
  const double at_driver_W = flow.current_A * (230.0 - 1.6 - 22.0 * flow.current_A);
  EXPECT_NEAR(at_driver_W, lamp.power_W, 1e-6);
  EXPECT_NEAR(led_dc_flow(lamp, stored_J, -230.0).current_A, -flow.current_A, 1e-15);
}

TEST(LedLamp, PowerSlopeIsThatOfASmallStepOfVoltage) {
  for (auto [name, supply] : supplies()) {
    const double stored_J = settled_capacitor_J(led_bulb(), supply);
    const AcFlow flow = led_ac_flow(led_bulb(), stored_J, supply);
    const auto power_at = [&](double scale) {
      AcSupply scaled = supply;
      scaled.peak_V *= scale;
      return led_ac_flow(led_bulb(), stored_J, scaled).power.electrical_W;
    };
    const double step = 1e-3;
    const double slope_A =
        (power_at(1.0 + step) - power_at(1.0 - step)) / (2.0 * step * rms_V(supply));
    EXPECT_NEAR(flow.active_slope_A / slope_A, 1.0, 0.02) << name;
  }
}

TEST(LedLamp, RefusesASeriesResistanceThatLeavesTwoCurrents) {
  LedLamp lamp = led_bulb();
  lamp.series_ohm = 1000.0;
  try {
    check(lamp);
    FAIL();
  } catch (const base::BadInput& bad) {
    EXPECT_EQ(std::string(bad.what()),
              "LED lamp: series resistance leaves more than one current to a voltage: above 0 and "
              "below lowest voltage squared over power");
  }
}

}  // namespace
}  // namespace windwright::physics
