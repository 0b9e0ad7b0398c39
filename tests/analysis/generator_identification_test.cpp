// SPDX-License-Identifier: Apache-2.0
#include "analysis/generator_identification.h"

#include "base/errors.h"
#include "base/random.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>
#include <numbers>
#include <string>
#include <vector>

namespace windwright::analysis {
namespace {

using Parameter = GeneratorParameter;

physics::Generator true_generator() {
  return {.pole_pairs = 6,
          .flux_linkage_V_s = 0.0165,
          .winding_resistance_ohm = 0.45,
          .winding_inductance_H = 0.8e-3,
          .diode_drop_V = 0.75,
          .diode_resistance_ohm = 0.03,
          .bearing_torque_N_m = 0.006,
          .bearing_viscous_N_m_s = 4e-5,
          .iron_hysteresis_J = 1.5e-3,
          .iron_eddy_J_s = 3e-6,
          .cogging_torque_N_m = 0.015};
}

std::array<double, generator_parameters> values_of(const physics::Generator& g) {
  return {g.flux_linkage_V_s,   g.winding_resistance_ohm, g.winding_inductance_H,
          g.bearing_torque_N_m, g.bearing_viscous_N_m_s,  g.iron_hysteresis_J,
          g.iron_eddy_J_s};
}

/// A first guess that is off by as much as a data sheet.
physics::Generator guess() {
  physics::Generator start = true_generator();
  start.flux_linkage_V_s *= 1.2;
  start.winding_resistance_ohm *= 0.7;
  start.winding_inductance_H *= 1.6;
  start.bearing_torque_N_m = 0.0;
  start.bearing_viscous_N_m_s = 0.0;
  start.iron_hysteresis_J *= 0.5;
  start.iron_eddy_J_s *= 2.0;
  return start;
}

struct Plan {
  DcTerminals terminals = DcTerminals::held_voltage;
  bool without_magnets = true;
  bool loaded = true;
};

/// Readings of a run with the instruments of a small bench; `seed` 0 is without errors.
class SimulatedRun {
 public:
  SimulatedRun(const Plan& plan, std::uint64_t seed)
      : plan_(plan), stream_(seed, "run"), seed_(seed) {
    for (int i = 1; i <= 10; ++i)
      add_open(25.0 * i, true);
    for (int i = 1; i <= 10 && plan.without_magnets; ++i)
      add_open(25.0 * i, false);
    for (const double speed_rad_s : {80.0, 140.0, 200.0, 260.0}) {
      for (int i = 1; i <= 6 && plan.loaded; ++i)
        add_loaded(speed_rad_s, i / 7.0);
    }
  }
  const std::vector<GeneratorPoint>& points() const { return points_; }

 private:
  Reading noisy(double value, double u) {
    return {.value = value + (seed_ == 0 ? 0.0 : u * stream_.normal(drawn_++)), .u = u};
  }
  void add_open(double speed_rad_s, bool magnetised) {
    const physics::Generator g = true_generator();
    const double electrical_rad_s = g.pole_pairs * speed_rad_s;
    const Reading speed = noisy(speed_rad_s, 0.1);
    GeneratorPoint point{
        .rotor_speed_rad_s = speed.value, .u_rotor_speed_rad_s = speed.u, .magnetised = magnetised};
    double drag_N_m = g.bearing_torque_N_m + g.bearing_viscous_N_m_s * speed_rad_s;
    if (magnetised) {
      const bool held = plan_.terminals == DcTerminals::held_voltage;
      drag_N_m += g.pole_pairs * (g.iron_hysteresis_J + g.iron_eddy_J_s * electrical_rad_s);
      const double emf_V = g.flux_linkage_V_s * electrical_rad_s;
      const double open_V = std::numbers::sqrt3 * emf_V * (held ? 1.0 : 3.0 / std::numbers::pi);
      if (open_V > 2.0) point.dc_voltage_V = noisy(open_V - 1.5, 0.03);
      point.ac_voltage_V = noisy(emf_V / std::numbers::sqrt2, 0.02);
    }
    point.torque_N_m = noisy(drag_N_m, 3e-4);
    points_.push_back(point);
  }
  void add_loaded(double speed_rad_s, double part) {
    const physics::Generator g = true_generator();
    const double open_V =
        std::numbers::sqrt3 * g.pole_pairs * g.flux_linkage_V_s * speed_rad_s - 1.5;
    physics::GeneratorLoad load{};
    if (plan_.terminals == DcTerminals::held_voltage) {
      load = physics::generator_on_voltage(g, speed_rad_s, part * open_V).load;
    } else {
      load = physics::generator_load(g, speed_rad_s, 1.5 * part / (1.0 - part));
    }
    const Reading speed = noisy(speed_rad_s, 0.1);
    GeneratorPoint point{.rotor_speed_rad_s = speed.value, .u_rotor_speed_rad_s = speed.u};
    point.dc_voltage_V = noisy(load.dc_voltage_V, 0.02);
    point.dc_current_A = noisy(load.dc_current_A, 0.01);
    point.torque_N_m = noisy(load.shaft_torque_N_m, 1e-3);
    points_.push_back(point);
  }

  Plan plan_;
  base::RandomStream stream_;
  std::uint64_t seed_;
  std::uint64_t drawn_ = 0;
  std::vector<GeneratorPoint> points_;
};

TEST(GeneratorIdentification, FindsTheGeneratorOfReadingsWithoutErrors) {
  for (const DcTerminals terminals : {DcTerminals::held_voltage, DcTerminals::smooth_current}) {
    const SimulatedRun run({.terminals = terminals}, 0);
    const GeneratorIdentification found =
        identify_generator(guess(), run.points(), {.terminals = terminals, .known = {}});
    EXPECT_TRUE(found.converged) << found.stopped_because;
    const auto expected = values_of(true_generator());
    for (std::size_t i = 0; i < generator_parameters; ++i) {
      EXPECT_NEAR(found.value[i], expected[i], 1e-3 * found.u[i])
          << name_of(static_cast<Parameter>(i));
    }
    EXPECT_LT(found.chi_squared, 1e-6);
    EXPECT_TRUE(found.confounded.empty());
  }
}

// The stated uncertainty is honest: over many runs the errors are normal with that width, 95 % of
// them within two of it, and chi-squared has its distribution.
TEST(GeneratorIdentification, CoversTheTruthAsOftenAsItSays) {
  for (const DcTerminals terminals : {DcTerminals::held_voltage, DcTerminals::smooth_current}) {
    constexpr int runs = 200;
    const auto expected = values_of(true_generator());
    std::array<int, generator_parameters> covered{};
    std::array<double, generator_parameters> square{};
    double p_sum = 0.0;
    for (int seed = 1; seed <= runs; ++seed) {
      const SimulatedRun run({.terminals = terminals}, static_cast<std::uint64_t>(seed));
      const GeneratorIdentification found =
          identify_generator(guess(), run.points(), {.terminals = terminals, .known = {}});
      ASSERT_TRUE(found.converged) << found.stopped_because;
      p_sum += found.p_value;
      for (std::size_t i = 0; i < generator_parameters; ++i) {
        const double error = (found.value[i] - expected[i]) / found.u[i];
        covered[i] += std::abs(error) <= 2.0;
        square[i] += error * error / runs;
      }
    }
    int all = 0;
    for (std::size_t i = 0; i < generator_parameters; ++i) {
      all += covered[i];
      // Binomial of 200 at 0.9545: standard deviation 0.0147; mean square: 0.1.
      EXPECT_GE(covered[i], 180) << name_of(static_cast<Parameter>(i));
      EXPECT_NEAR(square[i], 1.0, 0.35) << name_of(static_cast<Parameter>(i));
    }
    const double part = static_cast<double>(all) / (runs * generator_parameters);
    EXPECT_NEAR(part, 0.9545, 0.02);
    EXPECT_NEAR(p_sum / runs, 0.5, 0.07);  // uniform: standard deviation 0.02
    RecordProperty("covered_pct", std::to_string(100.0 * part));
  }
}

// The covariance against the scatter of repeated runs, off its diagonal too.
TEST(GeneratorIdentification, StatesTheCorrelationThatRepeatedRunsShow) {
  constexpr int runs = 300;
  const std::size_t r = 1;
  const std::size_t l = 2;
  double stated = 0.0;
  double rl = 0.0;
  double rr = 0.0;
  double ll = 0.0;
  const auto expected = values_of(true_generator());
  for (int seed = 1; seed <= runs; ++seed) {
    const SimulatedRun run({}, static_cast<std::uint64_t>(1000 + seed));
    const GeneratorIdentification found = identify_generator(guess(), run.points(), {});
    stated += found.correlation[r * generator_parameters + l] / runs;
    rl += (found.value[r] - expected[r]) * (found.value[l] - expected[l]);
    rr += std::pow(found.value[r] - expected[r], 2);
    ll += std::pow(found.value[l] - expected[l], 2);
  }
  EXPECT_NEAR(rl / std::sqrt(rr * ll), stated, 0.12);
}

bool names(const Confounded& set, std::vector<Parameter> parameters) {
  std::vector<Parameter> have = set.parameters;
  std::sort(have.begin(), have.end());
  std::sort(parameters.begin(), parameters.end());
  return have == parameters;
}

bool is_confounded(const GeneratorIdentification& found, Parameter parameter) {
  return std::any_of(found.confounded.begin(), found.confounded.end(), [&](const Confounded& set) {
    return set.entirely && std::find(set.parameters.begin(), set.parameters.end(), parameter) !=
                               set.parameters.end();
  });
}

TEST(GeneratorIdentification, SaysThatDragAloneDoesNotPartBearingFromIron) {
  const SimulatedRun run({.without_magnets = false}, 5);
  const GeneratorIdentification found = identify_generator(guess(), run.points(), {});
  for (const Parameter lost : {Parameter::bearing_torque, Parameter::bearing_viscous,
                               Parameter::iron_hysteresis, Parameter::iron_eddy}) {
    EXPECT_TRUE(is_confounded(found, lost)) << name_of(lost);
    EXPECT_TRUE(std::isinf(found.u[static_cast<std::size_t>(lost)]));
  }
  EXPECT_FALSE(is_confounded(found, Parameter::flux_linkage));
  EXPECT_FALSE(is_confounded(found, Parameter::winding_resistance));
  // Their sums stay known.
  EXPECT_NEAR(found.drag_torque_N_m.value, 0.006 + 6 * 1.5e-3, 3.0 * found.drag_torque_N_m.u);
  EXPECT_NEAR(found.drag_slope_N_m_s.value, 4e-5 + 36 * 3e-6, 3.0 * found.drag_slope_N_m_s.u);
  EXPECT_LT(found.drag_torque_N_m.u, 3e-4);
  // What is known otherwise parts them.
  IdentificationOptions options;
  options.known[3] = Reading{0.006, 1e-4};
  options.known[4] = Reading{4e-5, 1e-6};
  EXPECT_TRUE(identify_generator(guess(), run.points(), options).confounded.empty());
}

TEST(GeneratorIdentification, SaysThatNoLoadTellsNothingOfTheWinding) {
  const SimulatedRun run({.loaded = false}, 5);
  const GeneratorIdentification found = identify_generator(guess(), run.points(), {});
  EXPECT_EQ(found.confounded.size(), 2U);
  for (const Confounded& set : found.confounded) {
    EXPECT_TRUE(names(set, {Parameter::winding_resistance}) ||
                names(set, {Parameter::winding_inductance}) ||
                names(set, {Parameter::winding_resistance, Parameter::winding_inductance}));
  }
  EXPECT_NEAR(found.value[0], 0.0165, 3.0 * found.u[0]);
}

TEST(GeneratorIdentification, FindsTheReadingThatDoesNotFit) {
  const SimulatedRun run({}, 7);
  std::vector<GeneratorPoint> points = run.points();
  EXPECT_GT(identify_generator(guess(), points, {}).p_value, 0.01);
  points[27].torque_N_m->value += 0.02;
  const GeneratorIdentification found = identify_generator(guess(), points, {});
  EXPECT_LT(found.p_value, 1e-4);
  EXPECT_EQ(found.largest_point, 27U);
  EXPECT_GT(found.largest_residual, 5.0);
}

TEST(GeneratorIdentification, TakesDragFromACoastDown) {
  // J domega/dt = -(a + b omega) has omega(t) = (omega0 + a/b) exp(-b t / J) - a/b.
  CoastDown run{
      .time_s = {}, .rotor_speed_rad_s = {}, .u_rotor_speed_rad_s = 0.02, .inertia_kg_m2 = 2e-3};
  for (int i = 0; i < 40; ++i) {
    const double time_s = 0.5 * i;
    run.time_s.push_back(time_s);
    run.rotor_speed_rad_s.push_back((260.0 + 0.015 / 1.5e-4) * std::exp(-1.5e-4 * time_s / 2e-3) -
                                    0.015 / 1.5e-4);
  }
  run.time_s.resize(30);
  run.rotor_speed_rad_s.resize(30);
  const std::vector<GeneratorPoint> points = points_of_coast_down(run);
  ASSERT_EQ(points.size(), 15U);
  const GeneratorIdentification found = identify_generator(guess(), points, {});
  EXPECT_NEAR(found.drag_torque_N_m.value, 0.015, 1e-2 * 0.015);
  EXPECT_NEAR(found.drag_slope_N_m_s.value, 1.5e-4, 1e-2 * 1.5e-4);
  run.time_s[3] = run.time_s[2];
  EXPECT_THROW(points_of_coast_down(run), base::BadInput);
}

TEST(GeneratorIdentification, ReadsPointsAndRefusesReadingsWithoutUncertainty) {
  const std::string text =
      "# source: drive of the second-year laboratory\n"
      "rotor_speed_rad_s,u_rotor_speed_rad_s,dc_voltage_V,u_dc_voltage_V,dc_current_A,u_dc_current_"
      "A,"
      "torque_N_m,u_torque_N_m,setting/magnetised\n"
      "100,0.1,15.6,0.02,0,0.01,0.03,0.001,1\n"
      "100,0.1,,,,,0.01,0.001,0\n"
      "100,0.1,10,0.02,3.5,0.01,0.4,0.001,1\n";
  const auto points = generator_points_from_text(text, "points.csv");
  ASSERT_EQ(points.size(), 3U);
  EXPECT_FALSE(points[0].dc_current_A);
  EXPECT_FALSE(points[1].dc_voltage_V);
  EXPECT_FALSE(points[1].magnetised);
  EXPECT_EQ(points[2].dc_current_A->value, 3.5);
  try {
    generator_points_from_text("rotor_speed_rad_s,torque_N_m\n100,0.03\n", "points.csv");
    FAIL();
  } catch (const base::BadInput& error) {
    EXPECT_NE(std::string(error.what()).find("points.csv:2: torque_N_m has no u_torque_N_m"),
              std::string::npos)
        << error.what();
  }
  EXPECT_THROW(identify_generator(guess(), {}, {}), base::BadInput);
}

}  // namespace
}  // namespace windwright::analysis
