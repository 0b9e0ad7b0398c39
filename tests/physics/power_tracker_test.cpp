// SPDX-License-Identifier: Apache-2.0
#include "physics/power_tracker.h"

#include "base/errors.h"

#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include <algorithm>
#include <cmath>

namespace windwright::physics {
namespace {

constexpr double best_V = 17.3;

/// A power curve with its maximum of 40 W at best_V.
double power_W(double voltage_V) {
  return std::max(0.0, 40.0 - 0.3 * (voltage_V - best_V) * (voltage_V - best_V));
}

TrackerReading reading_at(double voltage_V) {
  return {.input_voltage_V = voltage_V,
          .input_current_A = power_W(voltage_V) / voltage_V,
          .frequency_Hz = 50.0};
}

TEST(PowerTracker, PerturbAndObserveFindsTheMaximumWithinItsStep) {
  for (const double start_V : {8.0, 17.0, 27.0}) {
    const PerturbAndObserve method{
        .step_V = 0.4, .lowest_V = 5.0, .highest_V = 30.0, .hold_s = 3.0};
    TrackerState state;
    double demand_V = start_V;
    double mean_V = 0.0;
    double furthest_V = 0.0;
    for (int sample = 0; sample < 600; ++sample) {
      const TrackerStep step = tracker_step(method, state, reading_at(demand_V), 1.0);
      state = step.state;
      demand_V = step.demand.input_voltage_V.value();
      if (sample < 480) continue;  // 120 samples: whole cycles of the 12 that it hunts with
      mean_V += demand_V / 120.0;
      furthest_V = std::max(furthest_V, std::abs(demand_V - best_V));
    }
    EXPECT_NEAR(mean_V, best_V, 0.4) << start_V;
    EXPECT_LE(furthest_V, 2.0 * 0.4 + 1e-9) << start_V;
    EXPECT_GT(furthest_V, 0.0);  // it never rests
  }
}

TEST(PowerTracker, PerturbAndObserveHoldsEachDemandAndStaysInsideItsLimits) {
  const PerturbAndObserve method{.step_V = 1.0, .lowest_V = 10.0, .highest_V = 12.0, .hold_s = 5.0};
  TrackerState state;
  double demand_V = 11.0;
  int changes = 0;
  for (int sample = 0; sample < 500; ++sample) {
    const TrackerStep step = tracker_step(method, state, reading_at(demand_V), 0.1);
    state = step.state;
    if (step.demand.input_voltage_V != demand_V) ++changes;
    demand_V = step.demand.input_voltage_V.value();
    EXPECT_GE(demand_V, 10.0);
    EXPECT_LE(demand_V, 12.0);
  }
  EXPECT_LE(changes, 9);  // fifty seconds by five, the first one found
  EXPECT_GE(changes, 4);
}

// A rotor at its best point gives a torque that goes with the square of its speed (power with the
// cube): a current in that proportion leads it there, from both sides and without hunting.
TEST(PowerTracker, TableLeadsARotorToItsBestSpeedWithoutHunting) {
  TrackingTable table;
  const double torque_per_ampere = 0.1;  // N m / A, the generator
  const double best_torque = 0.08;       // N m, at the best speed of 100 rad/s
  for (double speed = 0.0; speed <= 200.0; speed += 5.0) {
    table.frequency_Hz.push_back(speed);
    table.demand_current_A.push_back(best_torque * speed * speed / 1e4 / torque_per_ampere);
  }
  for (const double start : {60.0, 170.0}) {
    double speed = start;
    double before = start;
    for (int sample = 0; sample < 4000; ++sample) {
      const TrackerReading reading{
          .input_voltage_V = 12.0, .input_current_A = 1.0, .frequency_Hz = speed};
      const double current_A =
          tracker_step(table, {}, reading, 0.05).demand.input_current_A.value();
      // Power at constant wind: its maximum at 100 rad/s.
      const double driving = 8.0 * (1.0 - (speed / 100.0 - 1.0) * (speed / 100.0 - 1.0)) / speed;
      speed += 0.05 * (driving - torque_per_ampere * current_A) / 0.002;
      EXPECT_LE((speed - before) * (start - 100.0), 1e-12);  // towards the best speed, never back
      before = speed;
    }
    EXPECT_NEAR(speed, 100.0, 0.2) << start;
  }
}

TEST(PowerTracker, TableIsConstantBeyondItsEnds) {
  const TrackingTable table{.frequency_Hz = {},
                            .input_voltage_V = {10.0, 20.0},
                            .demand_voltage_V = {9.0, 15.0},
                            .demand_current_A = {}};
  const auto demand_V = [&](double key_V) {
    return tracker_step(table, {},
                        {.input_voltage_V = key_V, .input_current_A = 0.0, .frequency_Hz = 0.0},
                        1.0)
        .demand.input_voltage_V.value();
  };
  EXPECT_DOUBLE_EQ(demand_V(0.0), 9.0);
  EXPECT_DOUBLE_EQ(demand_V(15.0), 12.0);
  EXPECT_DOUBLE_EQ(demand_V(50.0), 15.0);
}

TEST(PowerTracker, RefusesATableThatIsNone) {
  const TrackerReading reading = reading_at(15.0);
  EXPECT_THROW(tracker_step(TrackingTable{}, {}, reading, 1.0), base::BadInput);
  const TrackingTable falling{.frequency_Hz = {2.0, 1.0},
                              .input_voltage_V = {},
                              .demand_voltage_V = {},
                              .demand_current_A = {1.0, 2.0}};
  EXPECT_THROW(tracker_step(falling, {}, reading, 1.0), base::BadInput);
}

RC_GTEST_PROP(Converter, PowersCloseAndTheSlopeIsTheDerivative, ()) {
  const auto part = [] {
    return *rc::gen::resize(rc::kNominalSize, rc::gen::inRange(0, 1000001)) * 1e-6;
  };
  const Converter converter{
      .no_load_W = 2.0 * part(), .drop_V = part(), .series_ohm = 0.2 * part()};
  const double input_W = 200.0 * part();
  const double output_V = 5.0 + 50.0 * part();
  const ConverterFlow flow = converter_flow(converter, input_W, output_V);
  RC_ASSERT(std::abs(flow.output_power_W + flow.loss_W - input_W) <= 1e-12 * input_W);
  RC_ASSERT(flow.efficiency >= 0.0 && flow.efficiency <= 1.0);
  const double current_A = flow.output_current_A;
  if (current_A > 0.0) {
    const double losses_W = converter.no_load_W + converter.drop_V * current_A +
                            converter.series_ohm * current_A * current_A;
    RC_ASSERT(std::abs(losses_W - flow.loss_W) <= 1e-11 * input_W);
  }
  const double measured_A_V =
      (converter_flow(converter, input_W, output_V + 1e-4).output_current_A -
       converter_flow(converter, input_W, output_V - 1e-4).output_current_A) /
      2e-4;
  RC_ASSERT(std::abs(measured_A_V - flow.slope_A_V) <= 1e-6 * (current_A + 1e-3));
}

TEST(Converter, IsBestWhereSeriesAndNoLoadLossesAreEqual) {
  const Converter converter{.no_load_W = 1.0, .drop_V = 0.5, .series_ohm = 0.04};
  const double best_A = 5.0;  // sqrt(1 / 0.04)
  const auto efficiency_at = [&](double current_A) {
    const double input_W = 14.0 * current_A + 1.0 + 0.5 * current_A + 0.04 * current_A * current_A;
    const ConverterFlow flow = converter_flow(converter, input_W, 14.0);
    EXPECT_NEAR(flow.output_current_A, current_A, 1e-12);
    return flow.efficiency;
  };
  EXPECT_GT(efficiency_at(best_A), efficiency_at(0.9 * best_A));
  EXPECT_GT(efficiency_at(best_A), efficiency_at(1.1 * best_A));
  EXPECT_EQ(converter_flow(converter, 0.5, 14.0).output_current_A, 0.0);
  EXPECT_THROW(converter_flow(converter, -1.0, 14.0), base::BadInput);
}

}  // namespace
}  // namespace windwright::physics
