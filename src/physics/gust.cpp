// SPDX-License-Identifier: Apache-2.0
#include "physics/gust.h"

#include <cmath>
#include <numbers>

namespace windwright::physics {

double gust_m_s(const Gust& gust, double time_s) {
  if (!(time_s > 0.0 && time_s < gust.duration_s)) return 0.0;
  const double turn = std::numbers::pi * time_s / gust.duration_s;
  const double swell_m_s = 0.5 * gust.amplitude_m_s * (1.0 - std::cos(2.0 * turn));
  return gust.shape == GustShape::one_minus_cosine ? swell_m_s : -swell_m_s * std::sin(3.0 * turn);
}

}  // namespace windwright::physics
