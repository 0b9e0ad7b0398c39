// SPDX-License-Identifier: Apache-2.0
#include "physics/rotor.h"

#include "base/table.h"
#include "physics/polar.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <map>
#include <memory>
#include <numbers>
#include <string>
#include <utility>
#include <vector>

namespace windwright::physics {
namespace {

constexpr double pi = std::numbers::pi;
constexpr double degree = pi / 180.0;
constexpr double betz = 16.0 / 27.0;
const std::string data = SOURCE_FOLDER "/tests/published/data/";

// The same force at every angle.
std::shared_ptr<const Polar> constant_polar(double cl, double cd) {
  return std::make_shared<const Polar>(
      std::vector<PolarRow>{{.reynolds = 1e6, .alpha_rad = -pi, .cl = cl, .cd = cd},
                            {.reynolds = 1e6, .alpha_rad = pi, .cl = cl, .cd = cd}});
}

// Thin-aerofoil lift without stall, 2 pi sin(alpha), with constant drag.
std::shared_ptr<const Polar> ideal_polar(double cd) {
  std::vector<PolarRow> rows;
  for (int i = -1800; i <= 1800; ++i) {
    const double alpha = 0.1 * i * degree;
    rows.push_back(
        {.reynolds = 1e6, .alpha_rad = alpha, .cl = 2.0 * pi * std::sin(alpha), .cd = cd});
  }
  return std::make_shared<const Polar>(rows);
}

std::map<std::string, double> exercise_column(const std::string& column) {
  const auto table = base::Table::from_file(data + "bem_single_element_exercise.csv");
  std::map<std::string, double> values;
  for (std::size_t row = 0; row < table.rows(); ++row) {
    values[table.text(row, table.required_column("quantity"))] =
        table.number(row, table.required_column(column));
  }
  return values;
}

// One blade element with given lift and drag; exercise of the wind turbine aerodynamics course at
// the Technical University of Denmark, after M. O. L. Hansen, Aerodynamics of Wind Turbines. Inputs
// and equations stand in the data file. Its axial induction of 0.384 lies below 0.4, where Buhl's
// parabola begins, so the plain momentum columns apply to it; the third is for the closure that
// begins at 1/3.
void check_exercise(const std::string& column, Losses losses,
                    HighThrust high_thrust = HighThrust::buhl) {
  const auto polar = constant_polar(0.5, 0.01);
  const Rotor rotor{
      .blades = 3,
      .hub_radius_m = 1.0,
      .tip_radius_m = 31.0,
      .pitch_rad = -3.0 * degree,
      .stations = {{1.0, 1.5, 2.0 * degree, polar}, {31.0, 1.5, 2.0 * degree, polar}}};
  const RotorFlow flow{.air_speed_m_s = 8.0,
                       .rotor_speed_rad_s = 2.61,
                       .density_kg_m3 = 1.225,
                       .dynamic_viscosity_Pa_s = 1.8e-5};
  const auto load = element_load(
      rotor, 24.5, flow, {.losses = losses, .high_thrust = high_thrust, .drag_in_swirl = true});
  const auto want = exercise_column(column);
  const auto same = [&](const char* quantity, double value) {
    EXPECT_NEAR(value / want.at(quantity), 1.0, 1e-6) << column << " " << quantity;
  };
  ASSERT_TRUE(load.converged);
  same("a", load.axial_induction);
  same("a_prime", load.tangential_induction);
  same("flow_angle_deg", load.inflow_angle_rad / degree);
  same("angle_of_attack_deg", load.angle_of_attack_rad / degree);
  same("tip_loss_factor", load.loss_factor);
  same("relative_speed_m_s", load.relative_speed_m_s);
  same("normal_load_N_per_m", load.normal_load_N_m1);
  same("tangential_load_N_per_m", load.tangential_load_N_m1);
  const double annulus_N_m1 = 0.5 * 1.225 * 64.0 * 2.0 * pi * 24.5;
  same("local_ct", 3.0 * load.normal_load_N_m1 / annulus_N_m1);
  same("local_cp", 3.0 * load.tangential_load_N_m1 * 24.5 * 2.61 / (annulus_N_m1 * 8.0));
}

TEST(PublishedElement, SolvesTheCourseExerciseWithTipLoss) {
  check_exercise("prandtl", Losses::tip);
}

TEST(PublishedElement, SolvesTheCourseExerciseWithGlauertsClosure) {
  check_exercise("prandtl_and_glauert_high_thrust", Losses::tip, HighThrust::glauert);
}

TEST(PublishedElement, SolvesTheCourseExerciseWithoutTipLoss) {
  check_exercise("no_tip_loss", Losses::none);
}

// H. Glauert, Airplane Propellers, in Durand (ed.), Aerodynamic Theory IV (1935): the ideal rotor
// with wake rotation; closed forms as in Hansen 2008, chapter 4, and Manwell, McGowan, Rogers 2009,
// section 3.3. A blade that has the table's loading at a radius must find the table's inductions
// there.
TEST(PublishedElement, FindsTheInductionsOfGlauertsIdealRotor) {
  const auto table = base::Table::from_file(data + "glauert_ideal_rotor_local.csv");
  const auto polar = constant_polar(1.0, 0.0);
  for (std::size_t row = 0; row < table.rows(); ++row) {
    const auto value = [&](const char* column) {
      return table.number(row, table.required_column(column));
    };
    const double x = value("local_speed_ratio");
    // Element at 0.5 m, air at 1 m/s; loading = B c cl lambda / R with lambda / R = x / r.
    const double chord_m = value("blade_loading") * 0.5 / (2.0 * x);
    const Rotor rotor{.blades = 2,
                      .hub_radius_m = 0.01,
                      .tip_radius_m = 1.0,
                      .pitch_rad = 0.0,
                      .stations = {{0.01, chord_m, 0.0, polar}, {1.0, chord_m, 0.0, polar}}};
    const auto load = element_load(rotor, 0.5,
                                   {.air_speed_m_s = 1.0,
                                    .rotor_speed_rad_s = x / 0.5,
                                    .density_kg_m3 = 1.0,
                                    .dynamic_viscosity_Pa_s = 1e-5},
                                   {.losses = Losses::none});
    // Half a unit of the last printed digit, and what the loading's 6 digits leave open.
    EXPECT_NEAR(load.axial_induction, value("a"), 2e-5) << table.place(row);
    EXPECT_NEAR(load.tangential_induction, value("a_prime"), 6e-6 + 2e-5 * value("a_prime"))
        << table.place(row);
    EXPECT_NEAR(load.inflow_angle_rad / degree, value("flow_angle_deg"), 1e-3) << table.place(row);
  }
}

// A blade with Glauert's optimum chord and twist for one tip-speed ratio, after the relations in
// glauert_ideal_rotor_local.csv; lift coefficient 1 everywhere.
Rotor ideal_rotor(double tip_speed_ratio, int blades, const std::shared_ptr<const Polar>& polar) {
  Rotor rotor{.blades = blades,
              .hub_radius_m = 0.001,
              .tip_radius_m = 1.0,
              .pitch_rad = -std::asin(1.0 / (2.0 * pi)),  // of lift coefficient 1
              .stations = {}};
  constexpr int count = 500;
  for (int i = 0; i <= count; ++i) {
    const double r = 0.001 + 0.999 * (0.5 - 0.5 * std::cos(pi * i / count));
    const double x = tip_speed_ratio * r;
    const double phi = 2.0 / 3.0 * std::atan(1.0 / x);
    const double chord_m = 8.0 * pi * x * (1.0 - std::cos(phi)) / (blades * tip_speed_ratio);
    rotor.stations.push_back({r, chord_m, phi, polar});
  }
  return rotor;
}

double cp_at(const Rotor& rotor, double tip_speed_ratio, const RotorOptions& options) {
  return rotor_load(rotor,
                    {.air_speed_m_s = 1.0,
                     .rotor_speed_rad_s = tip_speed_ratio,
                     .density_kg_m3 = 1.0,
                     .dynamic_viscosity_Pa_s = 1e-5},
                    options)
      .cp;
}

// The same source: the ideal rotor's largest power coefficient. Many blades without losses and
// drag.
TEST(PublishedRotor, GlauertsIdealRotorGivesItsLargestPower) {
  const auto table = base::Table::from_file(data + "glauert_ideal_rotor_cp.csv");
  const auto polar = ideal_polar(0.0);
  for (std::size_t row = 0; row < table.rows(); ++row) {
    const double ratio = table.number(row, table.required_column("tip_speed_ratio"));
    const double exact = table.number(row, table.required_column("cp_exact"));
    const auto rotor = ideal_rotor(ratio, 12, polar);
    const RotorOptions options{.losses = Losses::none, .elements = 200};
    EXPECT_NEAR(cp_at(rotor, ratio, options), exact, 1e-4) << ratio;
    // Away from its own ratio no blade beats the ideal one for that ratio, nor the actuator disc.
    for (int quarters = 1; quarters < 60; ++quarters) {
      const double other = 0.25 * quarters;
      EXPECT_LT(cp_at(rotor, other, options), betz) << ratio << " at " << other;
    }
  }
}

// Betz, from the momentum theorem alone: without wake rotation a blade loaded to a = 1/3 everywhere
// reaches 16/27.
TEST(PublishedRotor, ReachesTheActuatorDiscLimitWithoutWakeRotation) {
  const auto polar = ideal_polar(0.0);
  Rotor rotor = ideal_rotor(8.0, 12, polar);
  for (RotorStation& station : rotor.stations) {
    // tan phi = 2 / (3 x), 8/9 = sigma cl cos phi (2/3)^2 / sin^2 phi.
    const double x = 8.0 * station.radius_m;
    const double phi = std::atan(2.0 / (3.0 * x));
    station.twist_rad = phi;
    station.chord_m = 2.0 * std::pow(std::sin(phi), 2) / std::cos(phi) * 2.0 * pi *
                      station.radius_m / rotor.blades;
  }
  const double cp =
      cp_at(rotor, 8.0, {.losses = Losses::none, .elements = 200, .wake_rotation = false});
  EXPECT_NEAR(cp, betz, 1e-4);
  EXPECT_LE(cp, betz);
}

// Prandtl's tip-loss factor at points worked by hand from Glauert's formula, Airplane Propellers
// (1935), equation VII 5: F = (2/pi) acos(exp(-B (R - r) / (2 r sin phi))).
TEST(PublishedRotor, TipLossFollowsPrandtl) {
  // B = 3, r/R = 0.9, phi = 7 degrees: f = 1.5 * 0.111111 / 0.121869 = 1.367584, exp(-f) =
  // 0.254721.
  EXPECT_NEAR(prandtl_loss_factor(3, 0.1 / 0.9, std::sin(7.0 * degree)), 0.836031, 2e-5);
  // exp(-f) = 1/2 gives acos = pi/3, F = 2/3 exactly.
  EXPECT_NEAR(prandtl_loss_factor(2, std::log(2.0), 1.0), 2.0 / 3.0, 1e-15);
  EXPECT_NEAR(prandtl_loss_factor(2, 0.0, 0.3), 0.0, 1e-15);
  EXPECT_EQ(prandtl_loss_factor(2, 0.5, 0.0), 1.0);
}

// Wilson, Lissaman, Walker (1976) in the form of Manwell, McGowan, Rogers, Wind Energy Explained,
// 2nd ed., section 3.9 (formula from memory), and the local optimum with Prandtl's factor, worked
// out in the data file. A blade with Glauert's chord, narrowed by the loss factor at the tip, is
// not the very best one: 5 % of either column.
TEST(PublishedRotor, FewBladesAndDragCostWhatTheLimitsSay) {
  const auto table = base::Table::from_file(data + "blade_number_limit_cp.csv");
  std::map<std::pair<double, int>, double> best;
  for (std::size_t row = 0; row < table.rows(); ++row) {
    const auto blades = static_cast<int>(table.number(row, table.required_column("blades")));
    const double ratio = table.number(row, table.required_column("tip_speed_ratio"));
    const std::string& quality = table.text(row, table.required_column("lift_to_drag"));
    const double cd = quality == "inf" ? 0.0 : 1.0 / std::stod(quality);
    Rotor rotor = ideal_rotor(ratio, blades, ideal_polar(cd));
    for (RotorStation& station : rotor.stations) {
      station.chord_m *=
          std::max(0.05, prandtl_loss_factor(blades, (1.0 - station.radius_m) / station.radius_m,
                                             std::sin(station.twist_rad)));
    }
    const double cp = cp_at(rotor, ratio, {.losses = Losses::tip, .elements = 100});
    const double fit = table.number(row, table.required_column("cp_fit"));
    const double local = table.number(row, table.required_column("cp_local_optimum"));
    if (blades >= 2) {
      EXPECT_LT(std::min(std::abs(cp / fit - 1.0), std::abs(cp / local - 1.0)), 0.05)
          << table.place(row) << ": " << cp << " " << fit << " " << local;
    }
    best[{ratio, blades}] = std::max(best[{ratio, blades}], cp);
  }
  for (const double ratio : {4.0, 6.0, 8.0, 10.0}) {
    EXPECT_LT((best[{ratio, 1}]), (best[{ratio, 2}])) << ratio;
    EXPECT_LT((best[{ratio, 2}]), (best[{ratio, 3}])) << ratio;
  }
}

// Buhl, A new empirical relationship between thrust coefficient and induction factor for the
// turbulent windmill state, NREL/TP-500-36834 (2005): ct = 8/9 + (4 F - 40/9) a + (50/9 - 4 F) a^2,
// ct = 2 at a = 1. The element's own thrust must lie on it.
TEST(PublishedElement, HeavyLoadingFollowsBuhl) {
  const auto polar = constant_polar(1.0, 0.0);
  int seen = 0;
  for (int i = 0; i < 100; ++i) {
    const double chord_m = 0.1 + 0.005 * i;
    const Rotor rotor{.blades = 3,
                      .hub_radius_m = 0.1,
                      .tip_radius_m = 1.0,
                      .pitch_rad = 0.0,
                      .stations = {{0.1, chord_m, 0.0, polar}, {1.0, chord_m, 0.0, polar}}};
    const auto load = element_load(rotor, 0.9,
                                   {.air_speed_m_s = 1.0,
                                    .rotor_speed_rad_s = 5.0,
                                    .density_kg_m3 = 1.0,
                                    .dynamic_viscosity_Pa_s = 1e-5},
                                   {.losses = Losses::tip});
    const double a = load.axial_induction;
    const double F = load.loss_factor;
    if (a < 0.4 || a > 1.0) continue;
    ++seen;
    const double ct = 3.0 * load.normal_load_N_m1 / (0.5 * 2.0 * pi * 0.9);
    EXPECT_NEAR(ct, 8.0 / 9.0 + (4.0 * F - 40.0 / 9.0) * a + (50.0 / 9.0 - 4.0 * F) * a * a, 1e-8)
        << a;
  }
  EXPECT_GT(seen, 5);
}

}  // namespace
}  // namespace windwright::physics
