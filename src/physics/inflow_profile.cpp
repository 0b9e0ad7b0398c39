// SPDX-License-Identifier: Apache-2.0
#include "physics/inflow_profile.h"

#include "base/errors.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <utility>
#include <vector>

namespace windwright::physics {

namespace {

void check(const InflowProfile& profile, double tip_radius_m) {
  const auto& radius_m = profile.radius_m;
  if (radius_m.size() < 2 || radius_m.size() != profile.speed_ratio.size()) {
    throw base::BadInput(
        "profile",
        fmt::format("{} radii and {} speed ratios", radius_m.size(), profile.speed_ratio.size()),
        "at least two radii, one speed ratio each");
  }
  const bool ascending =
      std::adjacent_find(radius_m.begin(), radius_m.end(),
                         [](double a, double b) { return !(b > a); }) == radius_m.end();
  if (!ascending || !(radius_m.front() >= 0.0)) {
    throw base::BadInput("profile", "its radii do not rise from 0 or above",
                         "radii from the axis outwards");
  }
  const bool positive = std::all_of(profile.speed_ratio.begin(), profile.speed_ratio.end(),
                                    [](double ratio) { return ratio > 0.0; });
  if (!positive || !(profile.u_speed_ratio >= 0.0)) {
    throw base::BadInput("profile", "a speed ratio that is not above 0, or a negative uncertainty",
                         "measured air speed over that at the sensor");
  }
  if (!(tip_radius_m > 0.0 && tip_radius_m <= radius_m.back())) {
    throw base::BadInput(
        "profile",
        fmt::format("ends at {} m, inside the rotor's tip at {} m", radius_m.back(), tip_radius_m),
        "a traverse that reaches at least the tip");
  }
}

struct Means {
  double speed;
  double cube;
};

// 2 / R^2 times the integral of q r and q^3 r: at most the fourth power of r on a linear piece,
// which three Gauss-Legendre points integrate exactly.
Means area_means(const InflowProfile& profile, double tip_radius_m) {
  static const std::array<std::pair<double, double>, 3> points{
      {{-std::sqrt(0.6), 5.0 / 9.0}, {0.0, 8.0 / 9.0}, {std::sqrt(0.6), 5.0 / 9.0}}};
  const double first_m = std::min(profile.radius_m.front(), tip_radius_m);
  const double share = first_m * first_m / (tip_radius_m * tip_radius_m);
  const double innermost = profile.speed_ratio.front();
  Means means{.speed = share * innermost, .cube = share * innermost * innermost * innermost};
  for (std::size_t i = 1; i < profile.radius_m.size(); ++i) {
    const double from_m = profile.radius_m[i - 1];
    const double to_m = std::min(profile.radius_m[i], tip_radius_m);
    if (to_m <= from_m) break;
    const double slope =
        (profile.speed_ratio[i] - profile.speed_ratio[i - 1]) / (profile.radius_m[i] - from_m);
    const double half_m = 0.5 * (to_m - from_m);
    for (const auto& [place, weight] : points) {
      const double radius_m = from_m + half_m * (1.0 + place);
      const double ratio = profile.speed_ratio[i - 1] + slope * (radius_m - from_m);
      const double area = 2.0 * weight * half_m * radius_m / (tip_radius_m * tip_radius_m);
      means.speed += area * ratio;
      means.cube += area * ratio * ratio * ratio;
    }
  }
  return means;
}

double cube_factor(const Means& means) {
  return means.cube / (means.speed * means.speed * means.speed);
}

}  // namespace

DiscInflow disc_inflow(const InflowProfile& profile, double tip_radius_m) {
  check(profile, tip_radius_m);
  const Means means = area_means(profile, tip_radius_m);
  double variance = 0.0;
  constexpr double step = 1e-4;
  for (std::size_t i = 0; i < profile.speed_ratio.size(); ++i) {
    InflowProfile shifted = profile;
    shifted.speed_ratio[i] += step;
    const double above = cube_factor(area_means(shifted, tip_radius_m));
    shifted.speed_ratio[i] -= 2.0 * step;
    const double below = cube_factor(area_means(shifted, tip_radius_m));
    variance += std::pow((above - below) / (2.0 * step) * profile.u_speed_ratio, 2);
  }
  return {.speed_ratio = means.speed,
          .u_speed_ratio = profile.u_speed_ratio,
          .cube_factor = cube_factor(means),
          .u_cube_factor = std::sqrt(variance)};
}

double turbulence_cube_factor(double turbulence_intensity) {
  return 1.0 + 3.0 * turbulence_intensity * turbulence_intensity;
}

}  // namespace windwright::physics
