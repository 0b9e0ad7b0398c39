// SPDX-License-Identifier: Apache-2.0
#include "physics/state_of_charge.h"

#include "base/errors.h"
#include "base/random.h"
#include "physics/battery_in_test.h"

#include <gtest/gtest.h>

#include <cmath>

namespace windwright::physics {
namespace {

ChargeCount day_of_counting() {
  return {.initial = {.value = 0.9, .standard_uncertainty = 0.03},
          .charged_A_s = 40.0 * hour_s,
          .discharged_A_s = 60.0 * hour_s,
          .charging_time_s = 10.0 * hour_s,
          .discharging_time_s = 14.0 * hour_s,
          .coulombic_efficiency = 0.92,
          .u_coulombic_efficiency = 0.03,
          .u_current_offset_A = 0.1,
          .u_current_gain = 0.005,
          .capacity_A_s = 105.0 * hour_s,
          .u_capacity_A_s = 5.0 * hour_s};
}

TEST(StateOfCharge, CountingAddsWhatWentInAndTakesOffWhatCameOut) {
  EXPECT_NEAR(counted_state_of_charge(day_of_counting()).value, 0.9 + (0.92 * 40.0 - 60.0) / 105.0,
              1e-15);
}

// JCGM 101: the same inputs drawn a hundred thousand times through the definition.
TEST(StateOfCharge, UncertaintyOfCountingIsThatOfManyDraws) {
  const ChargeCount count = day_of_counting();
  const base::RandomStream random(7, "counting");
  const int draws = 100000;
  double sum = 0.0;
  double squares = 0.0;
  for (int i = 0; i < draws; ++i) {
    const auto normal = [&](int input) {
      return random.normal(5ULL * static_cast<unsigned>(i) + static_cast<unsigned>(input));
    };
    const double offset_A = 0.1 * normal(0);
    const double gain = 1.0 + 0.005 * normal(1);
    // A discharge counts positive: the offset adds to it and is taken off the charge that goes in.
    const double in_A_s = gain * count.charged_A_s - offset_A * count.charging_time_s;
    const double out_A_s = gain * count.discharged_A_s + offset_A * count.discharging_time_s;
    const double s = 0.9 + 0.03 * normal(2) +
                     ((0.92 + 0.03 * normal(3)) * in_A_s - out_A_s) /
                         (count.capacity_A_s + count.u_capacity_A_s * normal(4));
    sum += s;
    squares += s * s;
  }
  const double drawn = std::sqrt(squares / draws - sum / draws * sum / draws);
  EXPECT_NEAR(counted_state_of_charge(count).standard_uncertainty / drawn, 1.0, 0.02);
}

TEST(StateOfCharge, AnOffsetDriftsWithTime) {
  ChargeCount count = day_of_counting();
  const double day = counted_state_of_charge(count).standard_uncertainty;
  count.charging_time_s *= 30.0;
  count.discharging_time_s *= 30.0;
  EXPECT_GT(counted_state_of_charge(count).standard_uncertainty, 5.0 * day);
}

RestReading reading(const Battery& battery, double charge, double rest_time_s) {
  return {.voltage_V = open_circuit_V(battery, rested_state(battery, charge, room_K)),
          .u_voltage_V = 0.01,
          .u_curve_V = 0.01,
          .temperature_K = room_K,
          .u_temperature_K = 3.0,
          .rest_time_s = rest_time_s,
          .level_difference = 0.3,
          .diffusion_V = 0.1};
}

TEST(StateOfCharge, RestVoltageFindsTheChargeAndIsWorthTheSlopeOfItsCurve) {
  const Battery lead = typical_battery(BatteryKind::flooded, 6, 100.0 * hour_s);
  const ChargeEstimate got = rested_state_of_charge(lead, reading(lead, 0.63, 48.0 * hour_s));
  EXPECT_NEAR(got.value, 0.63, 1e-9);
  // 10 mV of reading, six times 10 mV of curve, 3.6 mV of temperature over 1.014 V.
  const double u = std::sqrt(0.01 * 0.01 + 0.06 * 0.06 + 0.0036 * 0.0036) / (6.0 * 0.169);
  EXPECT_NEAR(got.standard_uncertainty, u / std::sqrt(1.0 + 12.0 * u * u), 1e-9);
}

TEST(StateOfCharge, ShortRestSaysLessThanALongOne) {
  const Battery lead = typical_battery(BatteryKind::flooded, 6, 100.0 * hour_s);
  const auto u_after = [&](double rest_s) {
    return rested_state_of_charge(lead, reading(lead, 0.63, rest_s)).standard_uncertainty;
  };
  EXPECT_GT(u_after(0.0), 1.5 * u_after(48.0 * hour_s));
  EXPECT_GT(u_after(1.0 * hour_s), u_after(4.0 * hour_s));
}

TEST(StateOfCharge, RestVoltageOfLithiumIronPhosphateTellsLittle) {
  const Battery lead = typical_battery(BatteryKind::flooded, 6, 100.0 * hour_s);
  const Battery flat = typical_battery(BatteryKind::lithium_iron_phosphate, 4, 100.0 * hour_s);
  const auto u = [](const Battery& battery, double charge) {
    return rested_state_of_charge(battery, reading(battery, charge, 48.0 * hour_s))
        .standard_uncertainty;
  };
  for (const double charge : {0.3, 0.5, 0.7, 0.9}) {
    EXPECT_GT(u(flat, charge), 0.12) << charge;
    EXPECT_GT(u(flat, charge), 2.0 * u(lead, charge)) << charge;
    EXPECT_LE(u(flat, charge), std::sqrt(1.0 / 12.0)) << charge;
  }
  EXPECT_LT(u(flat, 0.02), 0.05);  // below the knee it tells much
  Battery level = flat;
  level.open_circuit.slope_V = level.open_circuit.knee_V = level.open_circuit.rise_V = 0.0;
  EXPECT_DOUBLE_EQ(u(level, 0.5), std::sqrt(1.0 / 12.0));
}

TEST(StateOfCharge, CombinationWeighsByUncertaintyAndTellsADisagreement) {
  const CombinedCharge got = combined_state_of_charge({.value = 0.6, .standard_uncertainty = 0.03},
                                                      {.value = 0.7, .standard_uncertainty = 0.06});
  EXPECT_NEAR(got.counted_weight, 0.8, 1e-12);
  EXPECT_NEAR(got.estimate.value, 0.62, 1e-12);
  EXPECT_NEAR(got.estimate.standard_uncertainty, 0.03 * std::sqrt(0.8), 1e-12);
  EXPECT_NEAR(got.disagreement, 0.1 / std::sqrt(0.0045), 1e-12);
  EXPECT_THROW(combined_state_of_charge({.value = 0.6, .standard_uncertainty = 0.0},
                                        {.value = 0.7, .standard_uncertainty = 0.06}),
               base::BadInput);
}

}  // namespace
}  // namespace windwright::physics
