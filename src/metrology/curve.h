// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "metrology/certificate.h"
#include "metrology/law.h"

#include <cstddef>
#include <memory>
#include <vector>

namespace windwright::metrology {

/// The fitted curve of a certificate without its field adjustment, used both ways. Beyond the
/// certified range it is carried on along its tangents. Refers to the certificate: keep that alive.
class Curve {
 public:
  explicit Curve(const Certificate& certificate);

  double value(double reading) const;
  double reading(double value) const;
  /// Change of the value per change of the reading, at a reading.
  double value_per_reading(double reading) const;
  /// Change of the value per change of the law's own value: that of a reading, or 1 where the law
  /// gives the reference.
  double value_per_residual(double reading) const;
  /// Change of the value with each coefficient that covariance() is of, at a reading.
  std::vector<double> value_per_coefficient(double reading) const;
  /// Of the coefficients in use: those of the fit, or of a polynomial in scaled powers.
  const std::vector<double>& covariance() const;

  /// Slope of the law at an argument within the range.
  double slope(double argument) const;
  bool is_backward() const { return backward_; }

 private:
  double function(double argument) const;
  double extended_function(double argument) const;
  double inverse(double function_value) const;
  double root(double function_value) const;
  std::vector<double> gradient(double argument) const;

  const Fit& fit_;
  double middle_;                            // of a polynomial in scaled powers, else 0
  double half_width_;                        // the same, else 1
  const std::vector<double>& coefficients_;  // in use
  std::unique_ptr<const Law> law_;           // null for polynomials, which need none
  bool backward_;
  double low_;  // of the argument
  double high_;
  double at_low_;
  double at_high_;
  double slope_low_;
  double slope_high_;
  double rising_;
};

}  // namespace windwright::metrology
