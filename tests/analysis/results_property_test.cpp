// SPDX-License-Identifier: Apache-2.0
#include "analysis/points.h"
#include "analysis/results.h"
#include "analysis/synthetic_points.h"
#include "base/json.h"
#include "bench/rotor_file.h"

#include <boost/json.hpp>
#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <random>
#include <string>
#include <vector>

namespace windwright::analysis {
namespace {

const physics::Rotor& rotor() {
  static const physics::Rotor read = bench::rotor_from_file(
      std::filesystem::path(SOURCE_FOLDER) / "examples/saltmarsh-college/rotor.toml");
  return read;
}

double between(double low, double high) {
  return low + (high - low) * *rc::gen::inRange(0, 10001) / 10000.0;
}

KnownCurve any_curve() {
  return {.maximum = between(0.05, 0.5),
          .optimum = between(2.0, 9.0),
          .curvature = between(0.005, 0.02),
          .points = *rc::gen::inRange(5, 20),
          .u_gain = between(0.0, 0.05),
          .u_speed = between(0.0, 0.05),
          .u_random = between(0.0001, 0.02)};
}

RC_GTEST_PROP(ReductionProperty, OrderOfPointsDoesNotMatter, ()) {
  auto points = points_on(any_curve());
  const Results straight = reduce({.points = points, .rotor = rotor()});
  std::shuffle(points.begin(), points.end(), std::mt19937(*rc::gen::arbitrary<unsigned>()));
  const Results shuffled = reduce({.points = points, .rotor = rotor()});
  RC_ASSERT(base::json_text(to_json(straight)) == base::json_text(to_json(shuffled)));
}

RC_GTEST_PROP(ReductionProperty, KnownMaximumIsRecovered, ()) {
  const KnownCurve known = any_curve();
  const Curve curve = reduce({.points = points_on(known), .rotor = rotor()}).curves[0];
  RC_ASSERT(curve.optimum_tip_speed_ratio.has_value());
  RC_ASSERT(std::abs(curve.maximum_cp.value() - known.maximum) < 1e-8);
  RC_ASSERT(std::abs(curve.optimum_tip_speed_ratio->value() - known.optimum) < 1e-5);
}

// Density and power enter cp as a ratio, and a heavier air carries more power for the same cp.
RC_GTEST_PROP(ReductionProperty, CpDoesNotDependOnTheScaleOfPowerAndDensity, ()) {
  auto points = points_on(any_curve());
  const Results before = reduce({.points = points, .rotor = rotor()});
  const double factor = between(0.5, 2.0);
  for (Point& point : points) {
    for (const char* name : {"dc_power_W", "air_density_kg_m3"}) {
      auto& estimate = point.quantities.at(name);
      estimate = factor * estimate;
    }
  }
  const Results after = reduce({.points = points, .rotor = rotor()});
  const auto& a = before.curves[0].maximum_cp;
  const auto& b = after.curves[0].maximum_cp;
  RC_ASSERT(std::abs(a.value() - b.value()) < 1e-9);
  RC_ASSERT(std::abs(a.u() - b.u()) < 1e-9);
}

RC_GTEST_PROP(ReductionProperty, PointsSurviveTheirFile, ()) {
  const auto points = points_on(any_curve());
  const std::string text = points_csv(points);
  RC_ASSERT(points_csv(points_from_text(text, "points.csv")) == text);
}

}  // namespace
}  // namespace windwright::analysis
