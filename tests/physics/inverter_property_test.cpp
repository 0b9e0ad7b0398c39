// SPDX-License-Identifier: Apache-2.0
#include "inverter_examples.h"
#include "physics/ac_supply.h"
#include "physics/inverter.h"
#include "physics/inverter_protection.h"

#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include <array>
#include <cmath>
#include <cstddef>

namespace windwright::physics {
namespace {

constexpr std::array modes = {InverterMode::off,     InverterMode::starting, InverterMode::running,
                              InverterMode::standby, InverterMode::stopped,  InverterMode::locked};

double between(double low, double high) {
  const double part = *rc::gen::resize(rc::kNominalSize, rc::gen::inRange(0, 1000001)) * 1e-6;
  return low + (high - low) * part;
}

Inverter any_inverter() {
  Inverter inverter = bench_inverter();
  inverter.kind = *rc::gen::element(OutputKind::sine, OutputKind::quasi_square, OutputKind::square);
  inverter.regulated = *rc::gen::arbitrary<bool>();
  inverter.losses = {.no_load_share = between(0.0, 0.1),
                     .proportional_share = between(0.0, 0.1),
                     .quadratic_share = between(0.0, 0.2)};
  inverter.limits.most_restarts = *rc::gen::inRange(0, 5);
  inverter.limits.has_standby = *rc::gen::arbitrary<bool>();
  return inverter;
}

AcDemand any_demand() {
  const double apparent_VA = between(0.0, 1000.0);
  return {.active_power_W = apparent_VA * between(0.0, 1.0),
          .apparent_power_VA = apparent_VA,
          .active_slope_A = between(0.0, 10.0)};
}

RC_GTEST_PROP(Inverter, EveryWattIsAccountedFor, ()) {
  const Inverter inverter = any_inverter();
  const InverterMode mode = modes[*rc::gen::inRange<std::size_t>(0, modes.size())];
  const double dc_V = between(0.0, 40.0);
  const InverterFlow flow = inverter_flow(inverter, mode, dc_V, any_demand());
  const double uses_W =
      flow.ac_power_W + flow.no_load_loss_W + flow.proportional_loss_W + flow.quadratic_loss_W;
  RC_ASSERT(std::abs(dc_V * flow.dc_current_A - uses_W) <= 1e-12 * uses_W);
  RC_ASSERT(std::abs(flow.dc_power_W - uses_W) <= 1e-12 * uses_W);
  RC_ASSERT(flow.dc_power_W >= flow.ac_power_W);
  RC_ASSERT(std::isfinite(flow.dc_current_A) && std::isfinite(flow.slope_S));
}

// Away from the two corners of the relation; the demand follows the output's voltage by its slope.
RC_GTEST_PROP(Inverter, SlopeIsThatOfTheCurrent, ()) {
  const Inverter inverter = any_inverter();
  const InverterMode mode = modes[*rc::gen::inRange<std::size_t>(0, modes.size())];
  const AcDemand demand = any_demand();
  const double dc_V = between(1.0, 40.0);
  const double step_V = 1e-4;
  const double lowest_V = lowest_steady_V(inverter);
  for (const double corner_V : {lowest_V, std::sqrt(2.0) * 230.0 / 16.0, 230.0 / 16.0})
    RC_PRE(std::abs(dc_V - corner_V) > 2.0 * step_V);
  RC_PRE(demand.active_power_W > 1.0);
  const auto current_at = [&](double shift_V) {
    AcDemand moved = demand;
    const double output_slope_V = dc_V < lowest_V ? 0.0 : output_slope(inverter, dc_V);
    const double by = shift_V * demand.active_slope_A * output_slope_V;
    moved.active_power_W += by;
    moved.apparent_power_VA *= moved.active_power_W / demand.active_power_W;
    return inverter_flow(inverter, mode, dc_V + shift_V, moved).dc_current_A;
  };
  const double slope_S = (current_at(step_V) - current_at(-step_V)) / (2.0 * step_V);
  const InverterFlow flow = inverter_flow(inverter, mode, dc_V, demand);
  RC_ASSERT(std::abs(flow.slope_S - slope_S) <=
            1e-5 * (std::abs(slope_S) + flow.dc_current_A / dc_V));
}

RC_GTEST_PROP(Inverter, DrawsMoreForMoreLoad, ()) {
  const Inverter inverter = any_inverter();
  const double dc_V = between(1.0, 40.0);
  AcDemand demand = any_demand();
  const double before_A = inverter_flow(inverter, InverterMode::running, dc_V, demand).dc_current_A;
  demand.active_power_W += 1.0;
  demand.apparent_power_VA += 1.0;
  RC_ASSERT(inverter_flow(inverter, InverterMode::running, dc_V, demand).dc_current_A > before_A);
}

RC_GTEST_PROP(Inverter, OutputNeverExceedsItsLinkNorFallsAsTheVoltageRises, ()) {
  const Inverter inverter = any_inverter();
  const double low_V = between(0.0, 40.0);
  const double high_V = low_V + between(0.0, 10.0);
  const AcSupply low = output(inverter, low_V);
  const AcSupply high = output(inverter, high_V);
  RC_ASSERT(low.peak_V <= 16.0 * low_V);
  RC_ASSERT(rms_V(high) >= rms_V(low) * (1.0 - 1e-12));
  check(low);
}

// Any history of voltages, loads, switching and steps.
RC_GTEST_PROP(InverterProtection, KeepsItsPromisesThroughAnyHistory, ()) {
  const Inverter inverter = any_inverter();
  const InverterLimits& limits = inverter.limits;
  InverterState state;
  for (int i = 0; i < 400; ++i) {
    const InverterInput input{.dc_voltage_V = between(18.0, 35.0),
                              .connected_VA = between(0.0, 1.0) < 0.3 ? 0.0 : between(0.0, 1200.0),
                              .switched_on = between(0.0, 1.0) < 0.97};
    const double step_s = between(0.0, 8.0);
    const InverterState next = later(limits, 300.0, state, input, step_s);
    RC_ASSERT(std::isfinite(next.heating) && next.heating >= 0.0);
    RC_ASSERT(next.restarts >= 0 && next.restarts <= limits.most_restarts);
    if (!input.switched_on) RC_ASSERT(next.mode == InverterMode::off);
    if (state.mode == InverterMode::locked && input.switched_on)
      RC_ASSERT(next.mode == InverterMode::locked);
    if (state.mode == InverterMode::stopped && input.switched_on)
      RC_ASSERT(next.mode == InverterMode::stopped || next.mode == InverterMode::starting);
    // It comes back only where it may, and never straight to output.
    if (next.mode == InverterMode::starting && state.mode == InverterMode::stopped) {
      RC_ASSERT(input.dc_voltage_V <= limits.high_stop_V);
      RC_ASSERT(input.dc_voltage_V >= limits.low_stop_V);
    }
    if (next.mode == InverterMode::running) {
      RC_ASSERT(state.mode == InverterMode::starting || state.mode == InverterMode::running ||
                state.mode == InverterMode::standby);
      RC_ASSERT(input.dc_voltage_V <= limits.high_stop_V);
    }
    if (next.mode == InverterMode::standby) RC_ASSERT(limits.has_standby);
    state = next;
  }
}

}  // namespace
}  // namespace windwright::physics
