// SPDX-License-Identifier: Apache-2.0
#include "physics/ideal_rotor.h"

#include "base/errors.h"

#include <fmt/format.h>

#include <cmath>
#include <numbers>

namespace windwright::physics {

IdealElement ideal_element(double local_speed_ratio) {
  const double x = local_speed_ratio;
  if (!(x > 0.0) || !std::isfinite(x)) {
    throw base::BadInput("local speed ratio", fmt::format("{}", x), "above 0");
  }
  const double phi = 2.0 / 3.0 * std::atan(1.0 / x);
  const double cosine = std::cos(phi);
  // 1 - cos phi without the digits that a small angle loses.
  const double versine = 2.0 * std::pow(std::sin(0.5 * phi), 2);
  return {.inflow_angle_rad = phi,
          .axial_induction = cosine / (1.0 + 2.0 * cosine),
          .tangential_induction = versine / (1.0 - 2.0 * versine),
          .loading = 8.0 * std::numbers::pi * x * versine};
}

double ideal_rotor_cp(double tip_speed_ratio) {
  if (!(tip_speed_ratio >= 0.01 && tip_speed_ratio <= 1000.0)) {
    throw base::BadInput("tip-speed ratio", fmt::format("{}", tip_speed_ratio), "0.01 to 1000");
  }
  const double phi = ideal_element(tip_speed_ratio).inflow_angle_rad;
  const double z = 2.0 * std::pow(std::sin(0.5 * phi), 2) / (1.0 + 2.0 * std::cos(phi));
  const auto primitive = [](double t) {
    return t * (-63.0 + t * (38.0 + t * (124.0 + t * (72.0 + t * 12.8)))) - 12.0 * std::log(t) -
           4.0 / t;
  };
  return 8.0 / (729.0 * tip_speed_ratio * tip_speed_ratio) * (primitive(0.25) - primitive(z));
}

}  // namespace windwright::physics
