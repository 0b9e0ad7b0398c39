// SPDX-License-Identifier: Apache-2.0
#include "physics/ideal_rotor.h"

#include "base/errors.h"
#include "base/table.h"
#include "physics/polar.h"
#include "physics/rotor.h"

#include <gtest/gtest.h>

#include <cmath>
#include <cstddef>
#include <memory>
#include <numbers>
#include <string>
#include <vector>

// H. Glauert, Airplane Propellers, in Durand (ed.), Aerodynamic Theory IV (1935): the ideal rotor
// with wake rotation, as carried in Hansen, Aerodynamics of Wind Turbines, 2nd ed. (2008), chapter
// 4, and Manwell, McGowan, Rogers, Wind Energy Explained, 2nd ed. (2009), section 3.3. The data
// files' heads say which columns are exact and which are printed (those from memory).
namespace windwright::physics {
namespace {

constexpr double pi = std::numbers::pi;
constexpr double degree = pi / 180.0;

struct Rows {
  explicit Rows(const std::string& file)
      : table(base::Table::from_file(SOURCE_FOLDER "/tests/published/data/" + file)) {}
  double operator()(std::size_t row, const char* column) const {
    return table.number(row, table.required_column(column));
  }
  base::Table table;
};

TEST(PublishedIdealRotor, ClosedFormGivesTheLargestPower) {
  const Rows value("glauert_ideal_rotor_cp.csv");
  ASSERT_EQ(value.table.rows(), 8U);
  for (std::size_t row = 0; row < value.table.rows(); ++row) {
    const double ratio = value(row, "tip_speed_ratio");
    EXPECT_NEAR(ideal_rotor_cp(ratio), value(row, "cp_exact"), 1e-4) << ratio;
    EXPECT_NEAR(ideal_element(ratio).axial_induction, value(row, "axial_induction_at_tip"), 1e-4);
    // Hand integration of 1935: 0.7 % off at most.
    EXPECT_NEAR(ideal_rotor_cp(ratio) * 27.0 / 16.0, value(row, "published_27cp_over_16"), 0.007);
  }
}

TEST(PublishedIdealRotor, ClosedFormGivesTheInductionsAndTheBlade) {
  const Rows value("glauert_ideal_rotor_local.csv");
  ASSERT_EQ(value.table.rows(), 11U);
  for (std::size_t row = 0; row < value.table.rows(); ++row) {
    const IdealElement ideal = ideal_element(value(row, "local_speed_ratio"));
    EXPECT_NEAR(ideal.axial_induction, value(row, "a"), 1e-4);
    EXPECT_NEAR(ideal.tangential_induction, value(row, "a_prime"), 1e-4);
    EXPECT_NEAR(ideal.inflow_angle_rad / degree, value(row, "flow_angle_deg"), 1e-4);
    EXPECT_NEAR(ideal.loading, value(row, "blade_loading"), 1e-4);
  }
}

// Hansen's Table 4.1 gives a' and x for a; x at a = 0.33 is printed 2.63, exactly 2.619.
TEST(PublishedIdealRotor, ClosedFormAgreesWithThePrintedTable) {
  const Rows value("glauert_ideal_rotor_published_ax.csv");
  ASSERT_EQ(value.table.rows(), 9U);
  for (std::size_t row = 0; row < value.table.rows(); ++row) {
    const IdealElement exact = ideal_element(value(row, "x_exact"));
    EXPECT_NEAR(exact.axial_induction, value(row, "a"), 1e-3 * value(row, "a"));
    // x stands there to four decimals, so that a' near the axis has no more than a part in 700.
    const double of_digits = value(row, "a_prime_exact") * 0.5e-4 / value(row, "x_exact");
    EXPECT_NEAR(exact.tangential_induction, value(row, "a_prime_exact"), 1e-3 + of_digits);
  }
}

// Against the integral that the closed form resolves, summed with Simpson's rule.
TEST(PublishedIdealRotor, ClosedFormIsTheIntegralOfItsElements) {
  for (const double ratio : {0.1, 0.5, 2.0, 7.0, 25.0}) {
    const auto integrand = [](double x) {
      if (x == 0.0) return 0.0;
      const IdealElement ideal = ideal_element(x);
      return ideal.tangential_induction * (1.0 - ideal.axial_induction) * x * x * x;
    };
    constexpr int steps = 4000;
    const double h = ratio / steps;
    double sum = 0.0;
    for (int i = 0; i < steps; i += 2)
      sum += integrand(i * h) + 4.0 * integrand((i + 1) * h) + integrand((i + 2) * h);
    EXPECT_NEAR(ideal_rotor_cp(ratio), 8.0 / (ratio * ratio) * sum * h / 3.0, 1e-9) << ratio;
  }
  EXPECT_NEAR(ideal_rotor_cp(1000.0), 16.0 / 27.0, 1e-5);
  EXPECT_THROW(ideal_rotor_cp(0.0), base::BadInput);
  EXPECT_THROW(ideal_element(-1.0), base::BadInput);
}

// Lift 2 pi sin(alpha) at every angle, no drag.
std::shared_ptr<const Polar> ideal_section() {
  std::vector<PolarRow> rows;
  for (int i = -1800; i <= 1800; ++i) {
    const double alpha = 0.1 * i * degree;
    rows.push_back(
        {.reynolds = 1e6, .alpha_rad = alpha, .cl = 2.0 * pi * std::sin(alpha), .cd = 0.0});
  }
  return std::make_shared<const Polar>(rows);
}

// Twelve blades with Glauert's chord and twist for lift coefficient 1, from a hub of a thousandth
// of the radius. Infinitely many blades are those without a loss factor.
Rotor ideal_rotor(double tip_speed_ratio) {
  const auto section = ideal_section();
  Rotor rotor{.blades = 12,
              .hub_radius_m = 0.001,
              .tip_radius_m = 1.0,
              .pitch_rad = -std::asin(1.0 / (2.0 * pi)),
              .stations = {}};
  constexpr int count = 500;
  for (int i = 0; i <= count; ++i) {
    const double r = 0.001 + 0.999 * (0.5 - 0.5 * std::cos(pi * i / count));
    const IdealElement ideal = ideal_element(tip_speed_ratio * r);
    rotor.stations.push_back(
        {r, ideal.loading / (12.0 * tip_speed_ratio), ideal.inflow_angle_rad, section});
  }
  return rotor;
}

RotorFlow flow_at(double tip_speed_ratio) {
  return {.air_speed_m_s = 1.0,
          .rotor_speed_rad_s = tip_speed_ratio,
          .density_kg_m3 = 1.0,
          .dynamic_viscosity_Pa_s = 1e-5};
}

TEST(PublishedIdealRotor, BladeElementsGiveTheLargestPowerWithinThreeInAThousand) {
  const Rows value("glauert_ideal_rotor_cp.csv");
  for (std::size_t row = 0; row < value.table.rows(); ++row) {
    const double ratio = value(row, "tip_speed_ratio");
    const double exact = value(row, "cp_exact");
    for (const int elements : {40, 200}) {
      const auto load = rotor_load(ideal_rotor(ratio), flow_at(ratio),
                                   {.losses = Losses::none, .elements = elements});
      EXPECT_NEAR(load.cp, exact, 0.003 * exact) << ratio;
      EXPECT_LE(load.cp, ideal_rotor_cp(ratio) * (1.0 + 1e-6)) << ratio;
    }
  }
}

TEST(PublishedIdealRotor, BladeElementsGiveTheInductionsWithinThreeInAThousand) {
  const Rows value("glauert_ideal_rotor_local.csv");
  for (std::size_t row = 0; row < value.table.rows(); ++row) {
    const double x = value(row, "local_speed_ratio");
    for (const double ratio : {8.5, 12.0}) {
      const auto load =
          element_load(ideal_rotor(ratio), x / ratio, flow_at(ratio), {.losses = Losses::none});
      const auto same = [&](double found, const char* column) {
        EXPECT_NEAR(found, value(row, column), 0.003 * value(row, column)) << column << " at " << x;
      };
      same(load.axial_induction, "a");
      same(load.tangential_induction, "a_prime");
      same(load.inflow_angle_rad / degree, "flow_angle_deg");
    }
  }
}

}  // namespace
}  // namespace windwright::physics
