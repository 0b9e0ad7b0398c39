// SPDX-License-Identifier: Apache-2.0
#include "base/table.h"
#include "physics/ideal_rotor.h"
#include "physics/polar.h"
#include "physics/rotor.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <memory>
#include <numbers>
#include <string>
#include <vector>

// How the number of blades bounds the power: R. E. Wilson, P. B. S. Lissaman, S. N. Walker,
// Aerodynamic performance of wind turbines (1976), in the form of Manwell, McGowan, Rogers, Wind
// Energy Explained, 2nd ed. (2009), section 3.9. tests/published/data/blade_number_limit_cp.csv has
// the textbook's fitted formula (from memory) and, worked out there by an independent hand, the sum
// of local optima with Prandtl's factor.
namespace windwright::physics {
namespace {

constexpr double pi = std::numbers::pi;

// The same lift at every angle, 1, and the same drag.
std::shared_ptr<const Polar> section_with(double drag_to_lift) {
  return std::make_shared<const Polar>(
      std::vector<PolarRow>{{.reynolds = 1e6, .alpha_rad = -pi, .cl = 1.0, .cd = drag_to_lift},
                            {.reynolds = 1e6, .alpha_rad = pi, .cl = 1.0, .cd = drag_to_lift}});
}

// The loading s = B c cl / (2 pi r) that holds the inflow angle phi at the local speed ratio x, and
// what of the wind's power it takes there; momentum with Prandtl's factor F, drag in the power
// alone.
struct Held {
  double solidity_lift;
  double power;
};
Held held_at(double phi, double x, double F, double drag_to_lift) {
  const double s = std::sin(phi);
  const double c = std::cos(phi);
  const double k = s * (c - x * s) / (s + x * c);
  const double W = (1.0 / (1.0 + k * c / (s * s))) / s;  // relative speed over air speed
  return {4.0 * F * k, 4.0 * F * k * (s - drag_to_lift * c) * W * W * x};
}

// The blade that takes the most at every radius, sought by plain trial.
Rotor best_rotor(int blades, double tip_speed_ratio, double drag_to_lift) {
  Rotor rotor{.blades = blades,
              .hub_radius_m = 0.01,
              .tip_radius_m = 1.0,
              .pitch_rad = 0.0,
              .stations = {}};
  const auto section = section_with(drag_to_lift);
  constexpr int count = 300;
  for (int i = 0; i <= count; ++i) {
    const double r = 0.01 + 0.99 * std::sin(0.5 * pi * i / count);
    const double x = tip_speed_ratio * r;
    Held best{0.0, 0.0};
    constexpr int trials = 4000;
    for (int j = 1; j < trials; ++j) {
      const double phi = std::atan(1.0 / x) * j / trials;
      const double F = prandtl_loss_factor(blades, (1.0 - r) / r, std::sin(phi));
      const Held held = held_at(phi, x, F, drag_to_lift);
      if (held.power > best.power) best = held;
    }
    rotor.stations.push_back(
        {r, std::max(1e-5, best.solidity_lift * 2.0 * pi * r / blades), 0.0, section});
  }
  return rotor;
}

double cp_of(int blades, double tip_speed_ratio, double drag_to_lift) {
  return rotor_load(best_rotor(blades, tip_speed_ratio, drag_to_lift),
                    {.air_speed_m_s = 1.0,
                     .rotor_speed_rad_s = tip_speed_ratio,
                     .density_kg_m3 = 1.0,
                     .dynamic_viscosity_Pa_s = 1e-5},
                    {.losses = Losses::tip, .elements = 200})
      .cp;
}

TEST(PublishedBladeNumber, EachNumbersOwnBestBladeComesToTheSumOfLocalOptima) {
  const auto table =
      base::Table::from_file(SOURCE_FOLDER "/tests/published/data/blade_number_limit_cp.csv");
  ASSERT_EQ(table.rows(), 48U);
  for (std::size_t row = 0; row < table.rows(); ++row) {
    const auto blades = static_cast<int>(table.number(row, table.required_column("blades")));
    const double ratio = table.number(row, table.required_column("tip_speed_ratio"));
    const std::string& quality = table.text(row, table.required_column("lift_to_drag"));
    const double drag_to_lift = quality == "inf" ? 0.0 : 1.0 / std::stod(quality);
    const double cp = cp_of(blades, ratio, drag_to_lift);
    const double local = table.number(row, table.required_column("cp_local_optimum"));
    const double fit = table.number(row, table.required_column("cp_fit"));
    // Drag takes part in the thrust here, but not there.
    EXPECT_NEAR(cp, local, (drag_to_lift == 0.0 ? 0.001 : 0.05) * local) << table.place(row);
    if (blades > 1) {
      EXPECT_LT(std::min(std::abs(cp / fit - 1.0), std::abs(cp / local - 1.0)), 0.05)
          << table.place(row);
    }
  }
}

TEST(PublishedBladeNumber, OneToTwelveIdealBladesRiseTowardsGlauertsLimit) {
  for (const double ratio : {2.0, 4.0, 7.0, 10.0}) {
    const double limit = ideal_rotor_cp(ratio);
    double before = 0.0;
    double gain_before = 1.0;
    for (int blades = 1; blades <= 12; ++blades) {
      const double cp = cp_of(blades, ratio, 0.0);
      EXPECT_GT(cp, before) << blades << " blades at " << ratio;
      EXPECT_LT(cp, limit) << blades << " blades at " << ratio;
      // Each further blade brings less than the one before.
      EXPECT_LT(cp - before, gain_before) << blades << " blades at " << ratio;
      gain_before = cp - before;
      before = cp;
    }
  }
}

}  // namespace
}  // namespace windwright::physics
