// SPDX-License-Identifier: Apache-2.0
#include "metrology/uncertain_input.h"

#include <cmath>
#include <utility>

namespace windwright::metrology {

namespace {

// A trapezoid is the sum of two rectangular errors of these half-widths.
struct Halves {
  double wide;
  double narrow;
};
Halves halves_of(const UncertainInput& input) {
  const double top = input.distribution == Distribution::trapezoidal ? input.top_half_width : 0.0;
  return {0.5 * (input.half_width + top), 0.5 * (input.half_width - top)};
}

}  // namespace

UncertainInput with_limits(UncertainInput input) {
  const double w = input.half_width;
  switch (input.distribution) {
    case Distribution::normal:
      break;
    case Distribution::rectangular:
      input.standard_uncertainty = w / std::sqrt(3.0);
      break;
    case Distribution::triangular:
      input.standard_uncertainty = w / std::sqrt(6.0);
      break;
    case Distribution::trapezoidal: {
      const double part = input.top_half_width / w;
      input.standard_uncertainty = w * std::sqrt((1.0 + part * part) / 6.0);
      break;
    }
    case Distribution::arcsine:
      input.standard_uncertainty = w / std::sqrt(2.0);
      break;
    case Distribution::curvilinear_trapezoid: {
      const double d = input.half_width_inexactness;
      input.standard_uncertainty = std::sqrt(w * w / 3.0 + d * d / 9.0);
      break;
    }
  }
  return input;
}

double half_width_of(Distribution distribution, double standard_uncertainty) {
  switch (distribution) {
    case Distribution::triangular:
      return standard_uncertainty * std::sqrt(6.0);
    case Distribution::arcsine:
      return standard_uncertainty * std::sqrt(2.0);
    default:
      return standard_uncertainty * std::sqrt(3.0);
  }
}

double kurtosis(const UncertainInput& input) {
  const double w = input.half_width;
  switch (input.distribution) {
    case Distribution::normal:
      return 3.0;
    case Distribution::rectangular:
      return 9.0 / 5.0;
    case Distribution::arcsine:
      return 3.0 / 2.0;
    case Distribution::triangular:
    case Distribution::trapezoidal: {
      const auto [p, q] = halves_of(input);
      const double second = (p * p + q * q) / 3.0;
      const double fourth =
          (std::pow(p, 4) + std::pow(q, 4)) / 5.0 + 6.0 * (p * p / 3.0) * (q * q / 3.0);
      return fourth / (second * second);
    }
    case Distribution::curvilinear_trapezoid: {
      const double d = input.half_width_inexactness;
      const double second = w * w / 3.0 + d * d / 9.0;
      const double fourth = (std::pow(w, 4) + 2.0 * w * w * d * d + std::pow(d, 4) / 5.0) / 5.0;
      return fourth / (second * second);
    }
  }
  return 3.0;
}

}  // namespace windwright::metrology
