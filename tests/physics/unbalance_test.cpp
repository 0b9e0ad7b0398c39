// SPDX-License-Identifier: Apache-2.0
#include "physics/unbalance.h"

#include <gtest/gtest.h>

#include <cmath>
#include <numbers>

namespace windwright::physics {
namespace {

constexpr TowerMode mode{.mass_kg = 12.0, .frequency_Hz = 60.0, .damping = 0.03};
constexpr double unbalance_kg = 0.005;
constexpr double radius_m = 0.3;
constexpr double natural_rad_s = 2.0 * std::numbers::pi * 60.0;

// M x'' + c x' + k x = m e omega^2 cos(omega t) by fourth-order Runge-Kutta, until the start has
// died away; then the RMS of x'' over a turn.
double integrated_m_s2(double omega_rad_s) {
  struct State {
    double x;  // m
    double v;  // m/s
  };
  const auto acceleration = [&](double t, const State& s) {
    const double drive_N =
        unbalance_kg * radius_m * omega_rad_s * omega_rad_s * std::cos(omega_rad_s * t);
    return drive_N / mode.mass_kg - 2.0 * mode.damping * natural_rad_s * s.v -
           natural_rad_s * natural_rad_s * s.x;
  };
  constexpr int steps_a_turn = 400;
  const double turn_s = 2.0 * std::numbers::pi / omega_rad_s;
  const double h = turn_s / steps_a_turn;
  const int turns = static_cast<int>(std::ceil(20.0 / (mode.damping * natural_rad_s) / turn_s));
  State s{.x = 0.0, .v = 0.0};
  double squares = 0.0;
  for (int i = 0; i < turns * steps_a_turn; ++i) {
    const double t = i * h;
    if (i >= (turns - 1) * steps_a_turn) squares += std::pow(acceleration(t, s), 2);
    const State a{.x = s.v, .v = acceleration(t, s)};
    const State b{.x = s.v + 0.5 * h * a.v,
                  .v = acceleration(t + 0.5 * h, {s.x + 0.5 * h * a.x, s.v + 0.5 * h * a.v})};
    const State c{.x = s.v + 0.5 * h * b.v,
                  .v = acceleration(t + 0.5 * h, {s.x + 0.5 * h * b.x, s.v + 0.5 * h * b.v})};
    const State d{.x = s.v + h * c.v, .v = acceleration(t + h, {s.x + h * c.x, s.v + h * c.v})};
    s.x += h / 6.0 * (a.x + 2.0 * b.x + 2.0 * c.x + d.x);
    s.v += h / 6.0 * (a.v + 2.0 * b.v + 2.0 * c.v + d.v);
  }
  return std::sqrt(squares / steps_a_turn);
}

TEST(Unbalance, AgreesWithItsEquationOfMotion) {
  for (const double part : {0.2, 0.6, 0.95, 1.0, 1.1, 2.0}) {
    const double omega_rad_s = part * natural_rad_s;
    EXPECT_NEAR(unbalance_acceleration_m_s2(mode, unbalance_kg, radius_m, omega_rad_s) /
                    integrated_m_s2(omega_rad_s),
                1.0, 1e-4)
        << part;
  }
}

TEST(Unbalance, GrowsWithTheFourthPowerFarBelowAndTheSecondFarAbove) {
  const auto at = [](double part) {
    return unbalance_acceleration_m_s2(mode, unbalance_kg, radius_m, part * natural_rad_s);
  };
  EXPECT_NEAR(at(0.02) / at(0.01), 16.0, 0.02);
  EXPECT_NEAR(at(200.0) / at(100.0), 4.0, 0.001);
  // At resonance the driving acceleration times 1 / (2 zeta).
  EXPECT_NEAR(at(1.0),
              unbalance_kg * radius_m / mode.mass_kg * natural_rad_s * natural_rad_s /
                  (2.0 * mode.damping) / std::numbers::sqrt2,
              1e-9);
  EXPECT_EQ(at(0.0), 0.0);
}

}  // namespace
}  // namespace windwright::physics
