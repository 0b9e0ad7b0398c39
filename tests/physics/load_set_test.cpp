// SPDX-License-Identifier: Apache-2.0
#include "physics/load_set.h"

#include "base/errors.h"
#include "load_examples.h"

#include <gtest/gtest.h>

#include <cmath>
#include <complex>
#include <cstddef>
#include <limits>
#include <string>
#include <vector>

namespace windwright::physics {
namespace {

constexpr double room_K = 298.15;

Lamp lamp_24_V() {
  return {.rated_voltage_V = 24.0,
          .rated_power_W = 20.0,
          .rated_temperature_K = 2700.0,
          .heat_capacity_J_K = 4e-3};
}
LedLamp led_24_V() {
  return {.power_W = 5.0,
          .lowest_voltage_V = 10.0,
          .bridge_drop_V = 1.4,
          .series_ohm = 0.5,
          .capacitance_F = 470e-6,
          .light_share = 0.35};
}
Rheostat rheostat_24_V() {
  return {.resistance_ohm = 10.0,
          .coefficient_K1 = 4e-4,
          .rated_power_W = 100.0,
          .rated_rise_K = 250.0,
          .heat_capacity_J_K = 200.0,
          .highest_temperature_K = 573.15};
}

void step(SwitchedLoad& each, const LoadRates& rates, double step_s) {
  each.state.temperature_K += step_s * rates.temperature_K_s;
  each.state.speed_rad_s += step_s * rates.speed_rad_s2;
  each.state.capacitor_J += step_s * rates.capacitor_W;
}

TEST(LoadSet, NothingConnectedDrawsNothing) {
  const DcTotal dc = dc_total({}, 24.0, room_K);
  EXPECT_EQ(dc.current_A, 0.0);
  const AcTotal ac = ac_total({}, supplies()[0].second, room_K);
  EXPECT_EQ(ac.rms_current_A, 0.0);
  EXPECT_EQ(ac.apparent_power_VA, 0.0);
}

TEST(LoadSet, ColdLampAndStandingMotorStartWithManyTimesTheirCurrent) {
  const Load lamp = lamp_24_V();
  const double cold_A = dc_flow(lamp, {.temperature_K = room_K}, 24.0, room_K).current_A;
  const double hot_A = dc_flow(lamp, {.temperature_K = 2700.0}, 24.0, room_K).current_A;
  EXPECT_NEAR(hot_A, 20.0 / 24.0, 1e-12);
  EXPECT_GT(cold_A, 10.0 * hot_A);
  const DcMotor motor = dc_fan();
  const double settled_rad_s = settled_speed_rad_s(motor, 24.0);
  const double start_A = dc_flow(motor, {}, 24.0, room_K).current_A;
  EXPECT_NEAR(start_A, 23.0 / 1.5, 1e-12);
  EXPECT_GT(start_A, 5.0 * dc_flow(motor, {.speed_rad_s = settled_rad_s}, 24.0, room_K).current_A);
  EXPECT_NEAR(dc_flow(motor, {.speed_rad_s = settled_rad_s}, 24.0, room_K).rates.speed_rad_s2, 0.0,
              1e-9);
}

TEST(LoadSet, RheostatWarmsToItsRatedRiseAndSaysWhenItIsTooHot) {
  Rheostat rheostat = rheostat_24_V();
  rheostat.coefficient_K1 = 0.0;
  const double voltage_V = std::sqrt(100.0 * 10.0);
  SwitchedLoad load{.load = rheostat};
  for (int i = 0; i < 20000; ++i)
    step(load, dc_flow(load.load, load.state, voltage_V, room_K).rates, 0.5);
  EXPECT_NEAR(load.state.temperature_K - room_K, 250.0, 1e-6);
  EXPECT_FALSE(is_too_hot(rheostat, load.state.temperature_K));
  EXPECT_TRUE(is_too_hot(rheostat, load.state.temperature_K + 30.0));
}

TEST(LoadSet, HotWireHasMoreResistance) {
  const Rheostat rheostat = rheostat_24_V();
  EXPECT_NEAR(rheostat_resistance_ohm(rheostat, 293.15 + 200.0), 10.8, 1e-12);
}

// Every load switched on and off by turns; what went in is what came out and what is stored.
TEST(LoadSet, EnergyIsKeptThroughSwitching) {
  std::vector<SwitchedLoad> loads = {
      {.load = rheostat_24_V()}, {.load = lamp_24_V()}, {.load = led_24_V()}, {.load = dc_fan()}};
  constexpr double step_s = 2e-6;
  for (std::size_t k = 0; k < loads.size(); ++k) {
    SwitchedLoad& each = loads[k];
    const double before_J = stored_J(each.load, each.state, room_K);
    double in_J = 0.0;
    double out_J = 0.0;
    for (int i = 0; i < 300000; ++i) {
      each.on = i / 50000 % 2 == 0;
      const DcFlow flow = each.on ? dc_flow(each.load, each.state, 24.0, room_K)
                                  : off_flow(each.load, each.state, room_K);
      in_J += step_s * flow.power.electrical_W;
      out_J += step_s * (flow.power.heat_W + flow.power.radiated_W + flow.power.mechanical_W);
      step(each, flow.rates, step_s);
    }
    EXPECT_GT(in_J, 0.1);
    const double gained_J = stored_J(each.load, each.state, room_K) - before_J;
    EXPECT_NEAR((in_J - out_J - gained_J) / in_J, 0.0, 1e-5) << k;
  }
}

TEST(LoadSet, LedLampFindsItsSteadyStateFromEmptyAtTheAveragedRate) {
  const AcSupply supply = supplies()[0].second;
  SwitchedLoad led{.load = led_bulb()};
  double in_J = 0.0;
  double out_J = 0.0;
  for (int i = 0; i < 2000; ++i) {
    const AcFlow flow = ac_flow(led.load, led.state, supply, room_K);
    in_J += 1e-3 * flow.power.electrical_W;
    out_J += 1e-3 * (flow.power.heat_W + flow.power.radiated_W);
    step(led, flow.rates, 1e-3);
  }
  EXPECT_NEAR(led.state.capacitor_J / settled_capacitor_J(led_bulb(), supply), 1.0, 1e-9);
  EXPECT_NEAR(in_J - out_J - led.state.capacitor_J, 0.0, 1e-9);
}

// Speed, current and power of the same circuit worked by hand from its impedances.
TEST(LoadSet, FanIsItsEquivalentCircuitAndLags) {
  const AcSupply supply = supplies()[0].second;
  const double slip = 1.0 - 140.0 * 2.0 / (100.0 * std::acos(-1.0));
  using namespace std::complex_literals;
  const double w = 100.0 * std::acos(-1.0);
  const std::complex<double> rotor = 150.0 / slip + 1i * w * 0.5;
  const std::complex<double> magnetising = 1i * w * 2.6;
  const std::complex<double> whole = 120.0 + rotor * magnetising / (rotor + magnetising);
  const std::complex<double> current = rms_V(supply) / whole;
  const AcFlow flow = ac_flow(desk_fan(), {.speed_rad_s = 140.0}, supply, room_K);
  EXPECT_NEAR(flow.rms_current_A, std::abs(current), 1e-12);
  EXPECT_NEAR(flow.power.electrical_W, rms_V(supply) * current.real(), 1e-10);
  EXPECT_NEAR(flow.reactive_power_var, -rms_V(supply) * current.imag(), 1e-10);
  EXPECT_GT(flow.reactive_power_var, 0.0);
  const AcFlow start = ac_flow(desk_fan(), {}, supply, room_K);
  EXPECT_GT(start.rms_current_A, 1.5 * flow.rms_current_A);
  EXPECT_GT(start.rates.speed_rad_s2, 0.0);
}

TEST(LoadSet, SelectorBreaksBeforeItMakesOrMakesBeforeItBreaks) {
  Selector selector{.positions = {0U, 0b01U, 0b11U, 0b10U},
                    .contact = Contact::break_before_make,
                    .transfer_s = 0.05};
  SelectorState state = turned_to(selector, {.position = 1}, 2);
  EXPECT_EQ(connection(selector, state), 0U);
  state = later(state, 0.04);
  EXPECT_EQ(connection(selector, state), 0U);
  state = later(state, 0.02);
  EXPECT_EQ(connection(selector, state), 0b11U);
  selector.contact = Contact::make_before_break;
  state = turned_to(selector, {.position = 1}, 3);
  EXPECT_EQ(connection(selector, state), 0b11U);
  EXPECT_EQ(connection(selector, later(state, 0.05)), 0b10U);
  std::vector<SwitchedLoad> loads = {{.load = lamp_24_V()}, {.load = rheostat_24_V()}};
  connect(connection(selector, later(state, 0.05)), loads);
  EXPECT_FALSE(loads[0].on);
  EXPECT_TRUE(loads[1].on);
  EXPECT_THROW(turned_to(selector, state, 4), base::BadInput);
}

TEST(LoadSet, RefusesAFanOnDirectAndAMotorOnAlternatingVoltage) {
  const auto message = [](auto&& call) -> std::string {
    try {
      call();
    } catch (const base::BadInput& bad) {
      return bad.what();
    }
    return "";
  };
  EXPECT_EQ(message([] { dc_flow(desk_fan(), {}, 24.0, room_K); }),
            "AC fan: it is connected to DC terminals: AC terminals");
  EXPECT_EQ(message([] { ac_flow(dc_fan(), {}, supplies()[0].second, room_K); }),
            "DC motor: it is connected to AC terminals: DC terminals");
  EXPECT_EQ(
      message([] { dc_flow(lamp_24_V(), {}, std::numeric_limits<double>::quiet_NaN(), room_K); }),
      "load: voltage is not finite: a number of volts");
}

}  // namespace
}  // namespace windwright::physics
