// SPDX-License-Identifier: Apache-2.0
#include "metrology/certificate.h"

#include "base/errors.h"
#include "metrology/correlated.h"
#include "metrology/student.h"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <cmath>
#include <cstddef>
#include <limits>
#include <span>
#include <string>
#include <string_view>
#include <system_error>
#include <utility>
#include <vector>

namespace windwright::metrology {

namespace {

constexpr double known = std::numeric_limits<double>::infinity();

// The curve from low to high reference, carried on along its tangents.
class Curve {
 public:
  explicit Curve(const Certificate& certificate)
      : coefficients_(certificate.fit.coefficients),
        low_(certificate.reference_range[0]),
        high_(certificate.reference_range[1]),
        at_low_(polynomial(coefficients_, low_)),
        at_high_(polynomial(coefficients_, high_)),
        slope_low_(polynomial_slope(coefficients_, low_)),
        slope_high_(polynomial_slope(coefficients_, high_)),
        rising_(at_high_ > at_low_ ? 1.0 : -1.0) {}

  double inverse(double reading) const {
    if (coefficients_.size() == 2) return (reading - coefficients_[0]) / coefficients_[1];
    if (rising_ * (reading - at_high_) >= 0.0) return high_ + (reading - at_high_) / slope_high_;
    if (rising_ * (reading - at_low_) <= 0.0) return low_ + (reading - at_low_) / slope_low_;
    if (std::isnan(reading)) return reading;
    return root(reading);
  }

  double slope(double reference) const {
    return polynomial_slope(coefficients_, std::clamp(reference, low_, high_));
  }

  // Change of the reading with each coefficient, at a reference.
  std::vector<double> gradient(double reference) const {
    const double end = std::clamp(reference, low_, high_);
    const double beyond = reference - end;
    std::vector<double> result(coefficients_.size());
    double power = 1.0;
    double slope_of_power = 0.0;
    for (std::size_t k = 0; k < result.size(); ++k) {
      result[k] = power + slope_of_power * beyond;
      slope_of_power = static_cast<double>(k + 1) * power;
      power *= end;
    }
    return result;
  }

 private:
  // Newton's method from the chord, kept inside a shrinking bracket.
  double root(double reading) const {
    double below = low_;
    double above = high_;
    double x = low_ + (high_ - low_) * (reading - at_low_) / (at_high_ - at_low_);
    const double smallest = 4e-16 * std::max(std::abs(low_), std::abs(high_));
    constexpr int most_steps = 100;
    for (int step = 0; step < most_steps; ++step) {
      const double miss = rising_ * (polynomial(coefficients_, x) - reading);
      if (miss == 0.0) return x;
      (miss < 0.0 ? below : above) = x;
      double next = x - miss / (rising_ * polynomial_slope(coefficients_, x));
      if (!(next > below && next < above)) next = 0.5 * (below + above);
      if (std::abs(next - x) <= smallest) return next;
      x = next;
    }
    return x;
  }

  std::span<const double> coefficients_;
  double low_;
  double high_;
  double at_low_;
  double at_high_;
  double slope_low_;
  double slope_high_;
  double rising_;
};

void add_if_any(Estimate& estimate, const std::string& input, Contribution contribution) {
  if (contribution.u != 0.0) estimate.add(input, contribution);
}

}  // namespace

int degree_of_model(std::string_view model, std::string_view where) {
  if (model == "line") return 1;
  constexpr std::string_view prefix = "polynomial:";
  constexpr int highest = 6;
  if (model.starts_with(prefix)) {
    int degree = 0;
    const std::string_view number = model.substr(prefix.size());
    const auto [end, error] = std::from_chars(number.data(), number.data() + number.size(), degree);
    if (error == std::errc{} && end == number.data() + number.size() && degree >= 1 &&
        degree <= highest) {
      return degree;
    }
  }
  throw base::BadInput(where, fmt::format("model '{}'", model), "line, or polynomial:1 to 6");
}

void require_one_to_one(const Certificate& certificate, std::string_view where) {
  const double low = certificate.reference_range[0];
  const double high = certificate.reference_range[1];
  const auto& coefficients = certificate.fit.coefficients;
  const double first_slope = polynomial_slope(coefficients, low);
  constexpr int places = 1000;
  for (int i = 0; i <= places; ++i) {
    const double reference = low + (high - low) * i / places;
    if (polynomial_slope(coefficients, reference) * first_slope > 0.0) continue;
    throw base::BadInput(
        where,
        fmt::format("the {} is level or turns at reference {:.4g}, so a reading belongs to more "
                    "than one value",
                    certificate.model, reference),
        "a lower degree, more readings, or a smaller range");
  }
}

Certificate calibrate(Certificate certificate, const Readings& readings, std::string_view where) {
  certificate.fit = fit_polynomial(readings, degree_of_model(certificate.model, where), where);
  const auto [low, high] =
      std::minmax_element(readings.reference.begin(), readings.reference.end());
  certificate.reference_range[0] = *low;
  certificate.reference_range[1] = *high;
  const auto [least, most] = std::minmax_element(readings.reading.begin(), readings.reading.end());
  certificate.reading_range[0] = *least;
  certificate.reading_range[1] = *most;
  require_one_to_one(certificate, where);

  // What readings and references scatter by themselves is not for the curve to answer for.
  double own = 0.0;
  const std::size_t size = readings.reading.size();
  for (std::size_t i = 0; i < size; ++i) {
    const double u_reading = readings.u_reading.empty() ? 0.0 : readings.u_reading[i];
    const double u_reference = readings.u_reference.empty() ? 0.0 : readings.u_reference[i];
    const double moved =
        u_reference * polynomial_slope(certificate.fit.coefficients, readings.reference[i]);
    own += (u_reading * u_reading + moved * moved) / static_cast<double>(size);
  }
  const double residual = certificate.fit.residual_standard_deviation;
  certificate.lack_of_fit = std::sqrt(std::max(0.0, residual * residual - own));
  return certificate;
}

bool lack_of_fit_is_significant(const Fit& fit) {
  constexpr double level = 0.05;
  return chi_squared_tail(fit.chi_squared, fit.degrees_of_freedom) < level;
}

double value_of(const Certificate& certificate, double reading) {
  return Curve(certificate).inverse(reading);
}

void values_of(const Certificate& certificate, std::span<const double> readings,
               std::span<double> values) {
  const Curve curve(certificate);
  for (std::size_t i = 0; i < readings.size(); ++i)
    values[i] = curve.inverse(readings[i]);
}

double sensitivity(const Certificate& certificate, double reading) {
  const Curve curve(certificate);
  return 1.0 / curve.slope(curve.inverse(reading));
}

Estimate estimate_of(const Certificate& certificate, double reading) {
  const Curve curve(certificate);
  const double value = curve.inverse(reading);
  const double slope = curve.slope(value);
  const Fit& fit = certificate.fit;
  const std::size_t size = fit.coefficients.size();
  const bool scaled_by_residuals = std::isnan(fit.chi_squared);
  const double fit_dof = fit.degrees_of_freedom;

  Estimate estimate(value);
  const std::vector<double> lower = decorrelated(fit.covariance, size);
  const std::vector<double> gradient = curve.gradient(value);
  for (std::size_t input = 0; input < size; ++input) {
    double sum = 0.0;
    for (std::size_t k = input; k < size; ++k)
      sum += gradient[k] * lower[k * size + input];
    add_if_any(estimate, fmt::format("{}:calibration-{}", certificate.channel, input),
               {-sum / slope, scaled_by_residuals ? fit_dof : known});
  }
  add_if_any(estimate, certificate.channel + ":residual",
             {certificate.lack_of_fit / slope, fit_dof});
  add_if_any(estimate, certificate.channel + ":standard", {certificate.standard.u, known});
  add_if_any(estimate, certificate.channel + ":standard-relative",
             {certificate.standard.u_relative * value, known});
  add_if_any(estimate, certificate.channel + ":drift", {certificate.u_drift, known});
  return estimate;
}

bool covers(const Certificate& certificate, double reading) {
  return reading >= certificate.reading_range[0] && reading <= certificate.reading_range[1];
}

LargestUncertainty largest_uncertainty(const Certificate& certificate) {
  constexpr double coverage_factor = 2.0;
  constexpr int places = 100;
  LargestUncertainty largest{.expanded = 0.0, .reference = certificate.reference_range[0]};
  const double width = certificate.reference_range[1] - certificate.reference_range[0];
  for (int i = 0; i <= places; ++i) {
    const double reference = certificate.reference_range[0] + width * i / places;
    const double reading = polynomial(certificate.fit.coefficients, reference);
    const double expanded = coverage_factor * estimate_of(certificate, reading).u();
    if (expanded > largest.expanded) largest = {.expanded = expanded, .reference = reference};
  }
  return largest;
}

}  // namespace windwright::metrology
