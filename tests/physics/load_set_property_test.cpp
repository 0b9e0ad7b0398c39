// SPDX-License-Identifier: Apache-2.0
#include "load_examples.h"
#include "physics/ac_period.h"
#include "physics/load_set.h"

#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <memory>
#include <vector>

namespace windwright::physics {
namespace {

constexpr double room_K = 298.15;

double between(double low, double high) {
  const double part = *rc::gen::resize(rc::kNominalSize, rc::gen::inRange(0, 1000001)) * 1e-6;
  return low + (high - low) * part;
}

double spread(double low, double high) {
  return low * std::pow(high / low, between(0.0, 1.0));
}

Shaft any_shaft() {
  return {.inertia_kg_m2 = spread(1e-5, 1e-1),
          .friction_N_m = spread(1e-4, 0.1),
          .driven_N_m_s2 = spread(1e-8, 1e-4)};
}

LedLamp any_led() {
  LedLamp led{.power_W = spread(0.5, 50.0),
              .lowest_voltage_V = spread(5.0, 150.0),
              .bridge_drop_V = between(0.0, 2.0),
              .series_ohm = 1.0,
              .capacitance_F = spread(1e-6, 1e-3),
              .light_share = between(0.0, 0.6)};
  const double most_ohm = led.lowest_voltage_V * led.lowest_voltage_V / led.power_W;
  led.series_ohm = std::max(most_ohm * spread(1e-3, 0.9), 1.1e-5 / led.capacitance_F);
  RC_PRE(led.series_ohm < 0.99 * most_ohm);
  return led;
}

Load any_load(bool direct) {
  switch (*rc::gen::inRange(0, 4)) {
    case 0:
      return Rheostat{.resistance_ohm = spread(0.1, 1e4),
                      .coefficient_K1 = between(-1e-4, 5e-3),
                      .rated_power_W = spread(1.0, 1e3),
                      .rated_rise_K = between(50.0, 400.0),
                      .heat_capacity_J_K = spread(0.1, 1e3),
                      .highest_temperature_K = 600.0};
    case 1:
      return Lamp{.rated_voltage_V = spread(3.0, 300.0),
                  .rated_power_W = spread(0.5, 500.0),
                  .rated_temperature_K = between(2200.0, 3100.0),
                  .heat_capacity_J_K = spread(1e-5, 0.1)};
    case 2:
      return any_led();
    default:
      break;
  }
  if (direct) {
    return DcMotor{.constant_V_s = spread(1e-3, 1.0),
                   .winding_ohm = spread(0.05, 50.0),
                   .brush_drop_V = between(0.0, 2.0),
                   .shaft = any_shaft()};
  }
  return AcFan{.stator_ohm = spread(1.0, 500.0),
               .magnetising_H = spread(0.05, 10.0),
               .leakage_H = spread(0.01, 2.0),
               .rotor_ohm = spread(1.0, 500.0),
               .pole_pairs = *rc::gen::inRange(1, 5),
               .shaft = any_shaft()};
}

LoadState any_state() {
  return {.temperature_K = between(250.0, 3400.0),
          .speed_rad_s = between(-50.0, 400.0),
          .capacitor_J = *rc::gen::element(0.0, 1.0) * spread(1e-9, 1.0)};
}

AcSupply any_supply() {
  return {.kind = *rc::gen::element(OutputKind::sine, OutputKind::quasi_square, OutputKind::square),
          .peak_V = *rc::gen::element(0.0, 1.0) * spread(0.01, 500.0),
          .pulse_share = between(0.0, 1.0),
          .frequency_Hz = between(30.0, 80.0)};
}

bool closes(const PowerSplit& power) {
  const double out_W = power.heat_W + power.radiated_W + power.mechanical_W + power.stored_W;
  const double scale_W =
      std::max({std::abs(power.electrical_W), std::abs(power.heat_W), std::abs(power.radiated_W),
                std::abs(power.mechanical_W), std::abs(power.stored_W)});
  return std::abs(power.electrical_W - out_W) <= 1e-12 * scale_W;
}

RC_GTEST_PROP(LoadSet, EveryWattIsAccountedForOnDirectVoltage, ()) {
  const Load load = any_load(true);
  check(load);
  const LoadState state = any_state();
  const double voltage_V = between(-300.0, 300.0);
  const DcFlow flow = dc_flow(load, state, voltage_V, room_K);
  RC_ASSERT(closes(flow.power));
  RC_ASSERT(std::abs(flow.power.electrical_W - voltage_V * flow.current_A) <=
            1e-12 * std::abs(flow.power.electrical_W));
  RC_ASSERT(closes(off_flow(load, state, room_K).power));
  RC_ASSERT(off_flow(load, state, room_K).current_A == 0.0);
  RC_ASSERT(flow.slope_S >= 0.0);
  // At one state, more voltage never drives less current.
  RC_ASSERT(dc_flow(load, state, voltage_V + 1.0, room_K).current_A >= flow.current_A);
}

RC_GTEST_PROP(LoadSet, EveryWattIsAccountedForOnAlternatingVoltage, ()) {
  const Load load = any_load(false);
  check(load);
  const AcSupply supply = any_supply();
  const AcFlow flow = ac_flow(load, any_state(), supply, room_K);
  RC_ASSERT(closes(flow.power));
  RC_ASSERT(std::isfinite(flow.rms_current_A) && flow.rms_current_A >= 0.0);
  RC_ASSERT(std::isfinite(flow.reactive_power_var) && std::isfinite(flow.active_slope_A));
  // No load draws more active than apparent power.
  RC_ASSERT(std::abs(flow.power.electrical_W) <=
            rms_V(supply) * flow.rms_current_A * (1.0 + 1e-9) + 1e-12);
}

RC_GTEST_PROP(LoadSet, TotalsCloseAndTheirCurrentsNeverExceedTheSum, ()) {
  const AcSupply supply = any_supply();
  std::vector<SwitchedLoad> loads;
  double sum_A = 0.0;
  for (int i = *rc::gen::inRange(0, 5); i > 0; --i) {
    loads.push_back({.load = any_load(false),
                     .state = any_state(),
                     .count = static_cast<double>(*rc::gen::inRange(0, 4)),
                     .on = *rc::gen::arbitrary<bool>()});
    const SwitchedLoad& last = loads.back();
    if (last.on) sum_A += last.count * ac_flow(last.load, last.state, supply, room_K).rms_current_A;
  }
  const AcTotal total = ac_total(loads, supply, room_K);
  RC_ASSERT(closes(total.power));
  RC_ASSERT(total.rms_current_A <= sum_A * (1.0 + 1e-6) + 1e-12);
  RC_ASSERT(std::abs(total.active_power_W) <= total.apparent_power_VA * 1.01 + 1e-9);
}

RC_GTEST_PROP(LoadSet, SettledLedLampComesBackAfterHalfAPeriod, ()) {
  const LedLamp led = any_led();
  const AcSupply supply = any_supply();
  const double settled_J = settled_capacitor_J(led, supply);
  RC_ASSERT(std::isfinite(settled_J) && settled_J >= 0.0);
  const AcFlow flow = led_ac_flow(led, settled_J, supply);
  RC_ASSERT(std::abs(flow.power.stored_W) <= 1e-6 * (led.power_W + flow.power.electrical_W));
}

RC_GTEST_PROP(AcPeriod, SamplesAreNumbersWhateverTheLoads, ()) {
  static const auto period = std::make_unique<AcPeriod>();
  const AcSupply supply = any_supply();
  const std::array<SwitchedLoad, 2> loads{
      {{.load = any_load(false), .state = any_state()},
       {.load = any_load(false), .state = any_state(), .count = 3.0}}};
  tabulate({.supply = supply,
            .ripple = {.amplitude_V = between(0.0, 5.0),
                       .modulation = between(0.0, 1.0),
                       .frequency_Hz = between(1e3, 200e3)},
            .dc_voltage_V = between(0.0, 50.0),
            .dc_current_A = between(0.0, 20.0),
            .dc_ripple_share = between(0.0, 1.0)},
           loads, *period);
  std::array<double, 997> voltage_V{};
  std::array<double, 997> current_A{};
  std::array<double, 997> dc_A{};
  fill(*period, {}, spread(1e-7, 1.0), {voltage_V, current_A, dc_A});
  for (std::size_t i = 0; i < voltage_V.size(); ++i) {
    RC_ASSERT(std::isfinite(voltage_V[i]) && std::isfinite(current_A[i]) && std::isfinite(dc_A[i]));
  }
}

}  // namespace
}  // namespace windwright::physics
