// SPDX-License-Identifier: Apache-2.0
#include "physics/generator.h"

#include "base/errors.h"
#include "bench_generator.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>
#include <string>

namespace windwright::physics {
namespace {

constexpr double pi = std::numbers::pi;
constexpr double open_circuit = std::numeric_limits<double>::infinity();

constexpr int points = 12000;  // of one electrical period

struct Means {
  double ac_power_W = 0.0;
  double emf_power_W = 0.0;
  double current_square = 0.0;
  double largest_imbalance_A = 0.0;  // of the three line currents
};

/// Means of the instantaneous values over one electrical period, by the midpoint rule.
Means means_of_period(const Generator& generator, const GeneratorLoad& load, double speed_rad_s) {
  Means means;
  for (int i = 0; i < points; ++i) {
    const double angle_rad = 2.0 * pi * (i + 0.5) / points;
    const PhaseSample a = phase_sample(generator, load, speed_rad_s, angle_rad);
    const PhaseSample b = phase_sample(generator, load, speed_rad_s, angle_rad - 2.0 * pi / 3.0);
    const PhaseSample c = phase_sample(generator, load, speed_rad_s, angle_rad - 4.0 * pi / 3.0);
    const double emf_V = load.phase_emf_peak_V * std::sin(angle_rad);
    means.ac_power_W += 3.0 * a.voltage_V * a.current_A / points;
    means.emf_power_W += 3.0 * emf_V * a.current_A / points;
    means.current_square += a.current_A * a.current_A / points;
    means.largest_imbalance_A =
        std::max(means.largest_imbalance_A, std::abs(a.current_A + b.current_A + c.current_A));
  }
  return means;
}

// The load's powers come from mean-value formulas, the waveforms from the conduction pattern: that
// both agree is the check of either. What remains is the midpoint rule at the kinks.
TEST(Generator, WaveformsCarryThePowersInEveryModeOfCommutation) {
  Generator generator = bench_generator();
  for (const double inductance_H : {0.0, 0.5e-3, 2e-3, 5e-3, 20e-3}) {
    generator.winding_inductance_H = inductance_H;
    for (const double resistance_ohm : {0.01, 1.0, 3.0, 10.0, 100.0}) {
      for (const double speed_rad_s : {30.0, 150.0, 400.0}) {
        const GeneratorLoad load = generator_load(generator, speed_rad_s, resistance_ohm);
        const Means means = means_of_period(generator, load, speed_rad_s);
        // Voltage times current jumps up to twelve times a period in each of three phases, by less
        // than E Id, each misplaced by at most half a step.
        const double jumps_W =
            3.0 * 12.0 * 0.5 / points * load.phase_emf_peak_V * load.dc_current_A;
        const std::string at = std::to_string(inductance_H) + " H, " +
                               std::to_string(resistance_ohm) + " ohm, overlap " +
                               std::to_string(load.overlap_rad * 180.0 / pi) + " deg";
        EXPECT_NEAR(means.emf_power_W, load.electromagnetic_power_W,
                    1e-4 * load.electromagnetic_power_W)
            << at;
        EXPECT_NEAR(means.ac_power_W, load.ac_power_W, jumps_W) << at;
        EXPECT_NEAR(std::sqrt(means.current_square), load.line_current_rms_A,
                    3e-6 * load.line_current_rms_A)
            << at;
        EXPECT_LT(means.largest_imbalance_A, 1e-9 * load.dc_current_A) << at;
      }
    }
  }
}

TEST(Generator, ReachesAllThreeModesOfCommutation) {
  Generator generator = bench_generator();
  generator.winding_inductance_H = 5e-3;
  EXPECT_LT(generator_load(generator, 400.0, 100.0).overlap_rad, pi / 3.0 - 0.1);
  EXPECT_DOUBLE_EQ(generator_load(generator, 400.0, 12.0).overlap_rad, pi / 3.0);
  EXPECT_GT(generator_load(generator, 400.0, 0.1).overlap_rad, pi / 2.0);
}

TEST(Generator, GivesNoCurrentUntilTwoDiodesConduct) {
  const Generator generator = bench_generator();
  // 3 sqrt3 / pi flux 6 omega = 1.5 V
  const double cut_in_rad_s = 1.5 * pi / (3.0 * std::numbers::sqrt3 * 6.0 * 0.0165);
  EXPECT_EQ(generator_load(generator, 0.999 * cut_in_rad_s, 5.0).dc_current_A, 0.0);
  EXPECT_EQ(generator_load(generator, 0.999 * cut_in_rad_s, open_circuit).dc_voltage_V, 0.0);
  EXPECT_GT(generator_load(generator, 1.001 * cut_in_rad_s, 5.0).dc_current_A, 0.0);
  EXPECT_GT(generator_load(generator, 1.001 * cut_in_rad_s, open_circuit).dc_voltage_V, 0.0);
}

TEST(Generator, OpenCircuitIsTheLimitOfAHighResistance) {
  const Generator generator = bench_generator();
  const GeneratorLoad open = generator_load(generator, 150.0, open_circuit);
  const GeneratorLoad high = generator_load(generator, 150.0, 1e9);
  EXPECT_EQ(open.dc_current_A, 0.0);
  EXPECT_EQ(open.electromagnetic_power_W, 0.0);
  EXPECT_NEAR(high.dc_voltage_V, open.dc_voltage_V, 1e-6);
  EXPECT_NEAR(high.shaft_torque_N_m, open.shaft_torque_N_m, 1e-6);
}

TEST(Generator, OpposesTheMotionBothWaysAndRestsAtStandstill) {
  const Generator generator = bench_generator();
  const GeneratorLoad forward = generator_load(generator, 120.0, 8.0);
  const GeneratorLoad backward = generator_load(generator, -120.0, 8.0);
  EXPECT_GT(forward.shaft_torque_N_m, 0.0);
  EXPECT_EQ(backward.shaft_torque_N_m, -forward.shaft_torque_N_m);
  EXPECT_EQ(backward.dc_power_W, forward.dc_power_W);
  EXPECT_EQ(generator_load(generator, 0.0, 8.0).shaft_torque_N_m, 0.0);
}

TEST(Generator, TurningBackwardsMirrorsTheWaveformsInTime) {
  const Generator generator = bench_generator();
  const GeneratorLoad load = generator_load(generator, 120.0, 4.0);
  for (const double angle_rad : {0.3, 0.6, 2.0, 4.0, 6.2}) {
    const PhaseSample forward = phase_sample(generator, load, 120.0, angle_rad);
    const PhaseSample backward = phase_sample(generator, load, -120.0, -angle_rad);
    EXPECT_EQ(forward.voltage_V, backward.voltage_V);
    EXPECT_EQ(forward.current_A, backward.current_A);
  }
}

TEST(Generator, BreakawayCoversTheDragJustAfterStarting) {
  Generator generator = bench_generator();
  generator.cogging_torque_N_m = 0.0;
  EXPECT_LE(generator_load(generator, 1e-9, 8.0).shaft_torque_N_m,
            breakaway_torque_N_m(generator) + 1e-12);
  EXPECT_NEAR(breakaway_torque_N_m(bench_generator()), 0.015 + 0.006 + 6 * 2.5e-4, 1e-12);
}

TEST(Generator, BalancingResistanceIsRefusedOutsideWhatTheMachineCanTakeUp) {
  Generator generator = bench_generator();
  for (const double inductance_H : {0.0, 0.5e-3}) {
    generator.winding_inductance_H = inductance_H;
    const double drag_N_m = generator_load(generator, 150.0, open_circuit).shaft_torque_N_m;
    const double shorted_N_m = generator_load(generator, 150.0, 1e-6).shaft_torque_N_m;
    EXPECT_FALSE(balancing_resistance_ohm(generator, 150.0, 0.999 * drag_N_m));
    EXPECT_TRUE(balancing_resistance_ohm(generator, 150.0, 1.001 * drag_N_m));
    EXPECT_TRUE(balancing_resistance_ohm(generator, 150.0, 0.999 * shorted_N_m));
    EXPECT_FALSE(balancing_resistance_ohm(generator, 150.0, 1.001 * shorted_N_m));
    EXPECT_FALSE(balancing_resistance_ohm(generator, 0.0, 0.1));
  }
}

TEST(Generator, RefusesALoadResistanceThatIsNotAboveZero) {
  for (const double resistance_ohm : {0.0, -1.0, std::nan("")}) {
    try {
      generator_load(bench_generator(), 100.0, resistance_ohm);
      FAIL() << resistance_ohm;
    } catch (const base::BadInput& error) {
      EXPECT_NE(std::string(error.what()).find("load resistance"), std::string::npos);
      EXPECT_NE(std::string(error.what()).find("above 0"), std::string::npos);
    }
  }
}

}  // namespace
}  // namespace windwright::physics
