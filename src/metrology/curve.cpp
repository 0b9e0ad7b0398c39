// SPDX-License-Identifier: Apache-2.0
#include "metrology/curve.h"

#include "metrology/fit.h"
#include "metrology/law.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <span>
#include <vector>

namespace windwright::metrology {

namespace {

struct AtArgument {
  double value;
  double slope;
  std::vector<Extended> gradient;
};

AtArgument evaluated(const Law& law, const std::vector<double>& coefficients, Extended argument) {
  const std::vector<Extended> extended(coefficients.begin(), coefficients.end());
  AtArgument result{.value = 0.0, .slope = 0.0, .gradient = std::vector<Extended>(extended.size())};
  Extended slope = 0;
  result.value = static_cast<double>(law.evaluate(extended, argument, slope, result.gradient));
  result.slope = static_cast<double>(slope);
  return result;
}

}  // namespace

Curve::Curve(const Certificate& certificate)
    : fit_(certificate.fit),
      middle_(fit_.scaled ? fit_.scaled->middle : 0.0),
      half_width_(fit_.scaled ? fit_.scaled->half_width : 1.0),
      coefficients_(fit_.scaled ? fit_.scaled->coefficients : fit_.coefficients),
      law_(degree_of(certificate.model) > 0 ? nullptr : law_of_model(certificate.model, "model")),
      backward_(law_ != nullptr && law_->is_backward()),
      low_(backward_ ? certificate.reading_range[0] : certificate.reference_range[0]),
      high_(backward_ ? certificate.reading_range[1] : certificate.reference_range[1]),
      at_low_(function(low_)),
      at_high_(function(high_)),
      slope_low_(slope(low_)),
      slope_high_(slope(high_)),
      rising_(at_high_ > at_low_ ? 1.0 : -1.0) {}

double Curve::function(double argument) const {
  if (law_ == nullptr) return polynomial(coefficients_, (argument - middle_) / half_width_);
  return evaluated(*law_, coefficients_, argument).value;
}

double Curve::slope(double argument) const {
  const double inside = std::clamp(argument, low_, high_);
  if (law_ == nullptr)
    return polynomial_slope(coefficients_, (inside - middle_) / half_width_) / half_width_;
  return evaluated(*law_, coefficients_, inside).slope;
}

double Curve::extended_function(double argument) const {
  if (argument < low_) return at_low_ + slope_low_ * (argument - low_);
  if (argument > high_) return at_high_ + slope_high_ * (argument - high_);
  return function(argument);
}

double Curve::inverse(double value) const {
  if (law_ == nullptr && coefficients_.size() == 2)
    return middle_ + half_width_ * ((value - coefficients_[0]) / coefficients_[1]);
  if (rising_ * (value - at_high_) >= 0.0) return high_ + (value - at_high_) / slope_high_;
  if (rising_ * (value - at_low_) <= 0.0) return low_ + (value - at_low_) / slope_low_;
  if (std::isnan(value)) return value;
  return root(value);
}

// Newton's method from the chord, kept inside a shrinking bracket.
double Curve::root(double value) const {
  double below = low_;
  double above = high_;
  double x = low_ + (high_ - low_) * (value - at_low_) / (at_high_ - at_low_);
  const double smallest = 4e-16 * std::max(std::abs(low_), std::abs(high_));
  constexpr int most_steps = 100;
  for (int step = 0; step < most_steps; ++step) {
    const double miss = rising_ * (function(x) - value);
    if (miss == 0.0) return x;
    (miss < 0.0 ? below : above) = x;
    double next = x - miss / (rising_ * slope(x));
    if (!(next > below && next < above)) next = 0.5 * (below + above);
    if (std::abs(next - x) <= smallest) return next;
    x = next;
  }
  return x;
}

double Curve::value(double reading) const {
  return backward_ ? extended_function(reading) : inverse(reading);
}

double Curve::reading(double value) const {
  return backward_ ? inverse(value) : extended_function(value);
}

double Curve::value_per_reading(double reading) const {
  return backward_ ? slope(reading) : 1.0 / slope(inverse(reading));
}

double Curve::value_per_residual(double reading) const {
  return backward_ ? 1.0 : value_per_reading(reading);
}

std::vector<double> Curve::value_per_coefficient(double reading) const {
  const double argument = backward_ ? reading : inverse(reading);
  std::vector<double> result = gradient(argument);
  if (!backward_) {
    const double per_value = -1.0 / slope(argument);
    for (double& entry : result)
      entry *= per_value;
  }
  return result;
}

const std::vector<double>& Curve::covariance() const {
  return fit_.scaled ? fit_.scaled->covariance : fit_.covariance;
}

// Of the curve carried on along its tangents.
std::vector<double> Curve::gradient(double argument) const {
  const double end = std::clamp(argument, low_, high_);
  const double beyond = argument - end;
  std::vector<double> result(coefficients_.size());
  if (law_ == nullptr) {
    double power = 1.0;
    double slope_of_power = 0.0;
    for (std::size_t k = 0; k < result.size(); ++k) {
      result[k] = power + slope_of_power * (beyond / half_width_);
      slope_of_power = static_cast<double>(k + 1) * power;
      power *= (end - middle_) / half_width_;
    }
    return result;
  }
  const AtArgument at = evaluated(*law_, coefficients_, end);
  std::copy(at.gradient.begin(), at.gradient.end(), result.begin());
  if (beyond == 0.0) return result;
  // How the gradient changes along the argument, towards the inside, in extended precision.
  const Extended step = (end == low_ ? 1e-7L : -1e-7L) * (Extended(high_) - low_);
  const AtArgument inside = evaluated(*law_, coefficients_, end + step);
  for (std::size_t k = 0; k < result.size(); ++k)
    result[k] += beyond * static_cast<double>((inside.gradient[k] - at.gradient[k]) / step);
  return result;
}

}  // namespace windwright::metrology
