// SPDX-License-Identifier: Apache-2.0
#include "base/errors.h"
#include "physics/kinetic_battery.h"

#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include <cmath>
#include <string>

namespace windwright::physics {
namespace {

double part() {
  // inRange widens with the size of the test; at the nominal size it spans all it is given.
  return *rc::gen::resize(rc::kNominalSize, rc::gen::inRange(0, 1000001)) * 1e-6;
}

KineticTanks any_tanks() {
  return {.charge_A_s = std::pow(10.0, 3.0 + 3.0 * part()),
          .available_share = 0.05 + 0.9 * part(),
          .exchange_rate_s1 = std::pow(10.0, -6.0 + 4.0 * part())};
}

TankCharge any_charge(const KineticTanks& tanks) {
  return {.available_A_s = tanks.available_share * tanks.charge_A_s * (0.01 + 0.98 * part()),
          .bound_A_s = (1.0 - tanks.available_share) * tanks.charge_A_s * part()};
}

RC_GTEST_PROP(KineticBattery, ChargeIsConserved, ()) {
  const KineticTanks tanks = any_tanks();
  const TankCharge charge = any_charge(tanks);
  const double current_A = 2.0 * part() - 1.0;
  const double time_s = 1e5 * part();
  const TankCharge after = after_constant_current(tanks, charge, current_A, time_s);
  const double lost_A_s =
      charge.available_A_s + charge.bound_A_s - after.available_A_s - after.bound_A_s;
  RC_ASSERT(std::abs(lost_A_s - current_A * time_s) <= 1e-12 * (tanks.charge_A_s + time_s));
}

RC_GTEST_PROP(KineticBattery, TwoStepsAreOne, ()) {
  const KineticTanks tanks = any_tanks();
  const TankCharge charge = any_charge(tanks);
  const double current_A = 2.0 * part() - 1.0;
  const double time_s = 1e4 * part();
  const double split = part();
  const TankCharge once = after_constant_current(tanks, charge, current_A, time_s);
  const TankCharge twice = after_constant_current(
      tanks, after_constant_current(tanks, charge, current_A, split * time_s), current_A,
      (1.0 - split) * time_s);
  RC_ASSERT(std::abs(once.available_A_s - twice.available_A_s) <=
            1e-11 * (tanks.charge_A_s + time_s));
  RC_ASSERT(std::abs(once.bound_A_s - twice.bound_A_s) <= 1e-11 * (tanks.charge_A_s + time_s));
}

RC_GTEST_PROP(KineticBattery, TheLimitsJustEmptyAndFillTheAvailableTank, ()) {
  const KineticTanks tanks = any_tanks();
  const TankCharge charge = any_charge(tanks);
  const double time_s = 1.0 + 1e5 * part();
  const double full_A_s = tanks.available_share * tanks.charge_A_s;
  const auto available = [&](double current_A) {
    return after_constant_current(tanks, charge, current_A, time_s).available_A_s;
  };
  const double discharge_A = largest_discharge_A(tanks, charge, time_s);
  RC_ASSERT(std::abs(available(discharge_A)) <= 1e-9 * full_A_s);
  RC_ASSERT(std::abs(available(largest_charge_A(tanks, charge, time_s)) / full_A_s - 1.0) <= 1e-9);
  const auto empty_s = time_to_empty_s(tanks, charge, discharge_A);
  RC_ASSERT(empty_s.has_value());
  RC_ASSERT(std::abs(*empty_s / time_s - 1.0) <= 1e-6);
}

TEST(KineticBattery, ShortStepsKeepTheirDigits) {
  const KineticTanks tanks{.charge_A_s = 3.6e5, .available_share = 0.4, .exchange_rate_s1 = 4e-4};
  const TankCharge full{.available_A_s = 1.44e5, .bound_A_s = 2.16e5};
  // Level tanks: only the current moves charge; in second order the other tank sends k (1 - c) of
  // what the first has lost.
  const double step_s = 1e-3;
  const TankCharge after = after_constant_current(tanks, full, 1000.0, step_s);
  EXPECT_NEAR(full.bound_A_s - after.bound_A_s, 0.5 * 4e-4 * 0.6 * 1000.0 * step_s * step_s, 1e-10);
  EXPECT_NEAR(largest_discharge_A(tanks, full, 1e-6), 1.44e11, 1e2);
}

TEST(KineticBattery, SaysWhatIsWrong) {
  const TankCharge charge{.available_A_s = 1.0, .bound_A_s = 1.0};
  try {
    after_constant_current({.charge_A_s = 2.0, .available_share = 1.0, .exchange_rate_s1 = 1.0},
                           charge, 1.0, 1.0);
    FAIL();
  } catch (const base::BadInput& error) {
    EXPECT_EQ(std::string(error.what()), "kinetic battery: the available share is 1: in (0, 1)");
  }
  const KineticTanks tanks{.charge_A_s = 2.0, .available_share = 0.5, .exchange_rate_s1 = 1.0};
  EXPECT_FALSE(time_to_empty_s(tanks, charge, -1.0).has_value());
  EXPECT_EQ(time_to_empty_s(tanks, {.available_A_s = 0.0, .bound_A_s = 1.0}, 1.0), 0.0);
  EXPECT_THROW(largest_charge_A(tanks, charge, 0.0), base::BadInput);
  EXPECT_THROW(
      peukert_exponent({.current_A = 1.0, .time_s = 1.0}, {.current_A = 1.0, .time_s = 2.0}),
      base::BadInput);
}

}  // namespace
}  // namespace windwright::physics
