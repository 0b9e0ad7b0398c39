// SPDX-License-Identifier: Apache-2.0
#include "physics/mains_charger.h"

#include "base/errors.h"
#include "physics/battery_in_test.h"

#include <gtest/gtest.h>

#include <cmath>

namespace windwright::physics {
namespace {

MainsCharger charger() {
  return {.highest_current_A = 10.0,
          .absorption_V = 14.4,
          .float_V = 13.5,
          .regulation_ohm = 0.01,
          .efficiency = 0.85,
          .no_load_W = 3.0,
          .end_current_A = 2.0};
}

TEST(MainsCharger, GivesConstantCurrentThenConstantVoltage) {
  const MainsChargerFlow low = mains_charger_flow(charger(), {}, 12.0);
  EXPECT_EQ(low.current_A, 10.0);
  EXPECT_EQ(low.slope_A_V, 0.0);
  const MainsChargerFlow near = mains_charger_flow(charger(), {}, 14.36);
  EXPECT_NEAR(near.current_A, 4.0, 1e-9);
  EXPECT_NEAR(near.slope_A_V, -100.0, 1e-12);
  const MainsChargerFlow above = mains_charger_flow(charger(), {}, 14.5);
  EXPECT_EQ(above.current_A, 0.0);
  EXPECT_NEAR(above.mains_power_W, 3.0, 1e-12);
  EXPECT_NEAR(low.mains_power_W, 120.0 / 0.85 + 3.0, 1e-9);
  EXPECT_DOUBLE_EQ(low.mains_power_W, low.output_power_W + low.loss_W);
}

TEST(MainsCharger, BringsABatteryUpAndThenFloats) {
  const Battery battery = typical_battery(BatteryKind::flooded, 6, 100.0 * hour_s);
  BatteryRun run{.state = rested_state(battery, 0.4, room_K), .sums = {}};
  MainsChargerState state;
  double mains_J = 0.0;
  double voltage_V = 12.0;
  double before_A = 10.0;
  double up_after_s = 0.0;
  for (double time_s = 0.0; time_s < 30.0 * hour_s; time_s += 2.0) {
    const auto bus_V = [&](const BatteryState& at) {
      double low_V = 5.0;
      double high_V = 20.0;
      for (int i = 0; i < 45; ++i) {
        const double middle_V = 0.5 * (low_V + high_V);
        const double sum_A = battery_flow(battery, at, middle_V).current_A +
                             mains_charger_flow(charger(), state, middle_V).current_A;
        (sum_A > 0.0 ? low_V : high_V) = middle_V;
      }
      return low_V;
    };
    voltage_V = bus_V(run.state);
    const MainsChargerFlow flow = mains_charger_flow(charger(), state, voltage_V);
    const MainsChargerState next = mains_charger_step(charger(), state, flow.current_A, 2.0);
    if (!state.floating) {
      EXPECT_LE(flow.current_A, before_A + 1e-6) << time_s;
      before_A = flow.current_A;
      up_after_s = time_s;
    }
    mains_J += 2.0 * flow.mains_power_W;
    state = next;
    run = after_step(battery, run, 2.0, bus_V);
  }
  EXPECT_TRUE(state.floating);
  EXPECT_LT(up_after_s, 14.0 * hour_s);
  EXPECT_NEAR(voltage_V, 13.5, 0.02);
  EXPECT_GT(state_of_charge(battery, run.state), 0.95);
  EXPECT_GT(mains_J, -run.sums.terminal_J / 0.85);
}

TEST(MainsCharger, SaysWhatIsWrong) {
  MainsCharger wrong = charger();
  wrong.float_V = 15.0;
  EXPECT_THROW(mains_charger_flow(wrong, {}, 12.0), base::BadInput);
  EXPECT_THROW(mains_charger_flow(charger(), {}, NAN), base::BadInput);
  EXPECT_THROW(mains_charger_step(charger(), {}, 1.0, 0.0), base::BadInput);
}

}  // namespace
}  // namespace windwright::physics
