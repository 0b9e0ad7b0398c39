// SPDX-License-Identifier: Apache-2.0
#include "twin/truth.h"

#include "base/errors.h"
#include "twin/demo_bench.h"

#include <gtest/gtest.h>

#include <cmath>
#include <cstdint>
#include <numbers>
#include <vector>

namespace windwright::twin {
namespace {

constexpr int draws = 1000;

// Within four standard deviations of the mean and the variance of 1000 standard normal numbers.
void expect_standard_normal(const std::vector<double>& values) {
  double sum = 0.0;
  double squares = 0.0;
  for (const double value : values) {
    sum += value;
    squares += value * value;
  }
  const auto n = static_cast<double>(values.size());
  EXPECT_NEAR(sum / n, 0.0, 4.0 / std::sqrt(n));
  EXPECT_NEAR(squares / n, 1.0, 4.0 * std::sqrt(2.0 / n));
}

TEST(Truth, DiffersFromTheDescriptionAsFarAsStated) {
  const bench::Bench described = demo_bench();
  bench::Bench bench = described;
  std::vector<double> radius;
  std::vector<double> position;
  std::vector<double> bearing;
  std::vector<double> iron;
  std::vector<double> winding;
  std::vector<double> rectifier;
  const auto off = [&](double true_value, double said) {
    return (true_value / said - 1.0) / described.simulation->u_loss_relative;
  };
  for (int i = 0; i < draws; ++i) {
    bench.simulation->seed = static_cast<std::uint64_t>(i);
    const Truth truth = truth_of(bench);
    const physics::Generator& g = truth.generator;
    const physics::Generator& said = described.generator;
    radius.push_back((truth.rotor.tip_radius_m - described.rotor.tip_radius_m) /
                     described.u_tip_radius_m);
    position.push_back((truth.position_factor - described.position_factor) /
                       described.u_position_factor);
    bearing.push_back(off(g.bearing_torque_N_m, said.bearing_torque_N_m));
    iron.push_back(off(g.iron_eddy_J_s, said.iron_eddy_J_s));
    winding.push_back(off(g.winding_resistance_ohm, said.winding_resistance_ohm));
    rectifier.push_back(off(g.diode_drop_V, said.diode_drop_V));
  }
  for (const auto& values : {radius, position, bearing, iron, winding, rectifier})
    expect_standard_normal(values);
}

TEST(Truth, ARotorKeepsItsShape) {
  const bench::Bench bench = demo_bench();
  const Truth truth = truth_of(bench);
  const double factor = truth.rotor.tip_radius_m / bench.rotor.tip_radius_m;
  EXPECT_NE(factor, 1.0);
  for (std::size_t i = 0; i < bench.rotor.stations.size(); ++i) {
    EXPECT_DOUBLE_EQ(truth.rotor.stations[i].radius_m, factor * bench.rotor.stations[i].radius_m);
    EXPECT_DOUBLE_EQ(truth.rotor.stations[i].chord_m, factor * bench.rotor.stations[i].chord_m);
  }
}

TEST(Truth, PitchErrorsOfMountingsAreIndependentAndAsLargeAsStated) {
  const bench::Bench bench = demo_bench();
  const double u_rad = bench.actuator("pitch_deg").u_setting * std::numbers::pi / 180.0;
  std::vector<double> errors;
  for (int i = 0; i < draws; ++i)
    errors.push_back((pitch_as_set_rad(bench, 0.1, i) - 0.1) / u_rad);
  expect_standard_normal(errors);
  double product = 0.0;
  for (std::size_t i = 1; i < errors.size(); ++i)
    product += errors[i] * errors[i - 1];
  EXPECT_NEAR(product / draws, 0.0, 4.0 / std::sqrt(draws));
}

TEST(Truth, NeedsASimulation) {
  bench::Bench bench = demo_bench();
  bench.simulation.reset();
  EXPECT_THROW(truth_of(bench), base::BadInput);
}

}  // namespace
}  // namespace windwright::twin
