// SPDX-License-Identifier: Apache-2.0
#include "physics/inverter.h"

#include "base/errors.h"
#include "inverter_examples.h"
#include "physics/inverter_protection.h"

#include <gtest/gtest.h>

#include <cmath>
#include <numbers>
#include <string>
#include <vector>

namespace windwright::physics {
namespace {

InverterState after(const Inverter& inverter, InverterState state, const InverterInput& input,
                    double time_s) {
  constexpr double step_s = 0.01;
  const int steps = static_cast<int>(std::lround(time_s / step_s));
  for (int i = 0; i < steps; ++i)
    state = later(inverter.limits, inverter.rated_power_VA, state, input, step_s);
  return state;
}

InverterInput on(double dc_voltage_V, double connected_VA) {
  return {.dc_voltage_V = dc_voltage_V, .connected_VA = connected_VA, .switched_on = true};
}

TEST(Inverter, SineIsRegulatedUntilItsPeakMeetsTheLink) {
  const Inverter inverter = bench_inverter();
  const double lowest_V = std::numbers::sqrt2 * 230.0 / 16.0;
  EXPECT_NEAR(rms_V(output(inverter, 26.0)), 230.0, 1e-12);
  EXPECT_NEAR(rms_V(output(inverter, 0.9 * lowest_V)), 0.9 * 230.0, 1e-12);
  EXPECT_EQ(output_slope(inverter, 26.0), 0.0);
  EXPECT_NEAR(output_slope(inverter, 15.0), 16.0 / std::numbers::sqrt2, 1e-12);
}

TEST(Inverter, PulseNarrowsAsTheDcVoltageRises) {
  Inverter inverter = bench_inverter();
  inverter.kind = OutputKind::quasi_square;
  for (const double dc_V : {15.0, 20.0, 26.0, 30.0}) {
    EXPECT_NEAR(rms_V(output(inverter, dc_V)), 230.0, 1e-12);
    EXPECT_NEAR(output(inverter, dc_V).pulse_share, std::pow(230.0 / (16.0 * dc_V), 2.0), 1e-12);
  }
  EXPECT_NEAR(rms_V(output(inverter, 10.0)), 160.0, 1e-12);
  inverter.regulated = false;
  EXPECT_NEAR(rms_V(output(inverter, 26.0)), 16.0 * 26.0 * std::sqrt(0.5), 1e-12);
  inverter.kind = OutputKind::square;
  EXPECT_EQ(rms_V(output(inverter, 14.0)), 224.0);
}

TEST(Inverter, IsMostEfficientWhereNoLoadAndQuadraticLossAreEqual) {
  const Inverter inverter = bench_inverter();
  const double best = 300.0 * std::sqrt(0.02 / 0.05);
  EXPECT_GT(efficiency(inverter, best), efficiency(inverter, 1.02 * best));
  EXPECT_GT(efficiency(inverter, best), efficiency(inverter, 0.98 * best));
  EXPECT_NEAR(efficiency(inverter, 300.0), 1.0 / 1.10, 1e-12);
  EXPECT_EQ(efficiency(inverter, 0.0), 0.0);
}

TEST(Inverter, DrawsItsStandbyOrOffPowerWithoutOutput) {
  const Inverter inverter = bench_inverter();
  const AcDemand demand{.active_power_W = 100.0, .apparent_power_VA = 120.0};
  EXPECT_DOUBLE_EQ(inverter_flow(inverter, InverterMode::standby, 24.0, demand).dc_power_W, 0.6);
  EXPECT_DOUBLE_EQ(inverter_flow(inverter, InverterMode::stopped, 24.0, demand).dc_power_W, 0.05);
  EXPECT_DOUBLE_EQ(inverter_flow(inverter, InverterMode::starting, 24.0, demand).dc_power_W, 6.0);
  EXPECT_DOUBLE_EQ(inverter_flow(inverter, InverterMode::running, 24.0, demand).dc_power_W,
                   100.0 + 6.0 + 0.03 * 120.0 + 0.05 * 120.0 * 0.4);
}

// Of a resistance: below its lowest steady voltage, current and voltage fall together.
TEST(Inverter, DrawsLikeAResistanceBelowItsLowestSteadyVoltage) {
  const Inverter inverter = bench_inverter();
  const double lowest_V = lowest_steady_V(inverter);
  EXPECT_NEAR(lowest_V, std::numbers::sqrt2 * 230.0 / 16.0, 1e-12);  // of regulation
  const AcDemand demand{.active_power_W = 100.0, .apparent_power_VA = 120.0};
  const auto flow = [&](double dc_V) {
    return inverter_flow(inverter, InverterMode::running, dc_V, demand);
  };
  const double conductance_S = flow(lowest_V).dc_current_A / lowest_V;
  for (const double dc_V : {0.9 * lowest_V, 0.5 * lowest_V, 1e-3}) {
    EXPECT_NEAR(flow(dc_V).dc_current_A, conductance_S * dc_V, 1e-12);
    EXPECT_NEAR(flow(dc_V).slope_S, conductance_S, 1e-12);
    EXPECT_NEAR(flow(dc_V).ac_power_W, 100.0 * burst_share(inverter, dc_V), 1e-12);
  }
  EXPECT_EQ(flow(0.0).dc_current_A, 0.0);
  Inverter other = inverter;
  other.kind = OutputKind::square;
  EXPECT_NEAR(lowest_steady_V(other), 0.8 * 21.0, 1e-12);
  other = inverter;
  other.link_ratio = 10.0;  // never regulates where it may run
  EXPECT_EQ(lowest_steady_V(other), 21.0);
}

TEST(InverterProtection, StartsAfterItsDelay) {
  const Inverter inverter = bench_inverter();
  EXPECT_EQ(after(inverter, {}, on(26.0, 50.0), 0.45).mode, InverterMode::starting);
  EXPECT_EQ(after(inverter, {}, on(26.0, 50.0), 0.6).mode, InverterMode::running);
}

TEST(InverterProtection, LowVoltageWarnsThenStopsThenComesBackUncounted) {
  const Inverter inverter = bench_inverter();
  InverterState state = after(inverter, {}, on(26.0, 50.0), 1.0);
  EXPECT_FALSE(state.low_voltage_warning);
  state = after(inverter, state, on(21.5, 50.0), 20.0);
  EXPECT_TRUE(state.low_voltage_warning);
  EXPECT_EQ(state.mode, InverterMode::running);
  state = after(inverter, state, on(20.5, 50.0), 0.9);
  EXPECT_EQ(state.mode, InverterMode::running);
  // A short recovery sets the delay back.
  state = after(inverter, state, on(21.5, 50.0), 0.1);
  state = after(inverter, state, on(20.5, 50.0), 0.9);
  EXPECT_EQ(state.mode, InverterMode::running);
  state = after(inverter, state, on(20.5, 50.0), 0.2);
  EXPECT_EQ(state.mode, InverterMode::stopped);
  EXPECT_EQ(state.cause, StopCause::low_voltage);
  state = after(inverter, state, on(24.9, 50.0), 100.0);
  EXPECT_EQ(state.mode, InverterMode::stopped);
  state = after(inverter, state, on(25.1, 50.0), 4.9);
  EXPECT_EQ(state.mode, InverterMode::stopped);
  state = after(inverter, state, on(25.1, 50.0), 0.7);
  EXPECT_EQ(state.mode, InverterMode::running);
  EXPECT_EQ(state.restarts, 0);
}

TEST(InverterProtection, OverVoltageStopsAtOnceAndComesBackBelowItsReconnection) {
  const Inverter inverter = bench_inverter();
  InverterState state = after(inverter, {}, on(26.0, 50.0), 1.0);
  state = after(inverter, state, on(32.1, 50.0), 0.01);
  EXPECT_EQ(state.mode, InverterMode::stopped);
  EXPECT_EQ(state.cause, StopCause::high_voltage);
  EXPECT_EQ(after(inverter, state, on(30.5, 50.0), 60.0).mode, InverterMode::stopped);
  EXPECT_EQ(after(inverter, state, on(29.5, 50.0), 6.0).mode, InverterMode::running);
}

TEST(InverterProtection, OvercurrentRestartsThreeTimesThenLocksUntilSwitchedOff) {
  const Inverter inverter = bench_inverter();
  InverterState state = after(inverter, {}, on(26.0, 900.0), 0.7);
  EXPECT_EQ(state.mode, InverterMode::stopped);
  EXPECT_EQ(state.cause, StopCause::overcurrent);
  state = after(inverter, state, on(26.0, 900.0), 200.0);
  EXPECT_EQ(state.mode, InverterMode::locked);
  EXPECT_EQ(state.restarts, 3);
  // Neither time nor a lighter load nor the voltage frees it.
  state = after(inverter, state, on(26.0, 0.0), 5000.0);
  EXPECT_EQ(state.mode, InverterMode::locked);
  state = after(inverter, state, {.dc_voltage_V = 26.0, .connected_VA = 50.0, .switched_on = false},
                0.01);
  EXPECT_EQ(state.mode, InverterMode::off);
  state = after(inverter, state, on(26.0, 50.0), 1.0);
  EXPECT_EQ(state.mode, InverterMode::running);
  EXPECT_EQ(state.restarts, 0);
}

TEST(InverterProtection, WithoutRestartsEveryOverloadLocks) {
  Inverter inverter = bench_inverter();
  inverter.limits.most_restarts = 0;
  EXPECT_EQ(after(inverter, {}, on(26.0, 900.0), 1.0).mode, InverterMode::locked);
}

TEST(InverterProtection, RestartsAreForgivenAfterRunningWell) {
  const Inverter inverter = bench_inverter();
  InverterState state = after(inverter, {}, on(26.0, 900.0), 0.7);
  state = after(inverter, state, on(26.0, 50.0), 100.0);
  EXPECT_EQ(state.mode, InverterMode::running);
  EXPECT_EQ(state.restarts, 1);
  EXPECT_EQ(after(inverter, state, on(26.0, 50.0), 125.0).restarts, 0);
}

TEST(InverterProtection, OverloadWaitsUntilItHasCooled) {
  const Inverter inverter = bench_inverter();
  InverterState state = after(inverter, {}, on(26.0, 500.0), 25.0);
  while (state.mode == InverterMode::running)
    state = after(inverter, state, on(26.0, 500.0), 0.01);
  EXPECT_EQ(state.cause, StopCause::overload);
  // From 1 to 1/2 with a time constant of 60 s: 41.6 s, then the pause of 5 s.
  EXPECT_EQ(after(inverter, state, on(26.0, 100.0), 46.0).mode, InverterMode::stopped);
  EXPECT_EQ(after(inverter, state, on(26.0, 100.0), 47.5).mode, InverterMode::running);
}

TEST(InverterProtection, SearchesWithoutALoadAndWakesWithOne) {
  const Inverter inverter = bench_inverter();
  InverterState state = after(inverter, {}, on(26.0, 1.0), 10.0);
  EXPECT_EQ(state.mode, InverterMode::running);
  state = after(inverter, state, on(26.0, 1.0), 1.0);
  EXPECT_EQ(state.mode, InverterMode::standby);
  EXPECT_EQ(after(inverter, state, on(26.0, 2.9), 100.0).mode, InverterMode::standby);
  EXPECT_EQ(after(inverter, state, on(26.0, 5.0), 0.01).mode, InverterMode::running);
}

TEST(InverterProtection, RefusesWhatIsNoVoltageOrOutOfOrder) {
  const Inverter inverter = bench_inverter();
  const auto message = [](auto&& call) -> std::string {
    try {
      call();
    } catch (const base::BadInput& bad) {
      return bad.what();
    }
    return "";
  };
  EXPECT_EQ(message([&] { later(inverter.limits, 300.0, {}, on(std::nan(""), 0.0), 0.01); }),
            "inverter: DC voltage is nan V: 0 or more");
  EXPECT_EQ(message([&] {
              inverter_flow(inverter, InverterMode::running, 24.0,
                            {.active_power_W = 10.0, .apparent_power_VA = 5.0});
            }),
            "inverter: apparent power is below the active one: at least the active power");
  Inverter wrong = inverter;
  wrong.limits.low_reconnect_V = 20.0;
  EXPECT_EQ(message([&] { check(wrong); }),
            "inverter limits: low-voltage stop and reconnection are out of order: 0 < stop < "
            "reconnect");
  wrong = inverter;
  wrong.filter.capacitance_F = 1e-9;
  EXPECT_EQ(message([&] { check(wrong); }),
            "inverter: filter resonates above the carrier: a resonance below it");
}

}  // namespace
}  // namespace windwright::physics
