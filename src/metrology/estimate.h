// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <functional>
#include <map>
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::metrology {

/// What one input adds to the standard uncertainty of a value.
struct Contribution {
  double u;    // sensitivity times standard uncertainty of the input, signed, in the value's unit
  double dof;  // degrees of freedom of the input; infinity where it is taken as known
};

/// A value with its standard uncertainty kept apart by input (first-order law, JCGM
/// 100:2008 5.1.2). Inputs are independent and are known by name: two estimates that name the same
/// input are correlated through it, so that a difference of two readings of one sensor has the
/// smaller uncertainty it deserves. Names of systematic inputs read `air_speed_m_s:standard`; those
/// of random ones end in `#` and the test point, so they occur nowhere else. Inputs that come from
/// one estimate of variance (coefficients of one fit, means of one set of samples) have the same
/// name but for a trailing number, `x:calibration-0` and `x:calibration-1`, or `x:mean-0#7`;
/// `x:residual` and `x:residual-0` belong to `x:calibration`.
class Estimate {
 public:
  Estimate() = default;
  explicit Estimate(double value) : value_(value) {}
  Estimate(double value, std::map<std::string, Contribution> contributions);

  double value() const { return value_; }
  double u() const;  // standard uncertainty
  /// Effective degrees of freedom (Welch and Satterthwaite, JCGM 100:2008 G.4.1). Inputs that share
  /// one estimate of variance count as one. Infinity for a value without uncertainty.
  double dof() const;
  /// Half-width of the interval that covers `level`, in (0, 1): Student's t with dof().
  double expanded(double level = 0.95) const;
  const std::map<std::string, Contribution>& contributions() const { return contributions_; }

  /// Adds an independent contribution, or joins it to the one of the same name.
  void add(const std::string& input, Contribution contribution);
  /// The part from inputs whose name does (or does not) mark them as random.
  double u_random() const;
  double u_systematic() const;

 private:
  double value_ = 0.0;
  std::map<std::string, Contribution> contributions_;
};

/// True for an input of one test point alone: its name contains `#`.
bool is_random(std::string_view input);

/// Sums, products and quotients to first order. A divisor must not be 0.
Estimate operator+(const Estimate& a, const Estimate& b);
Estimate operator-(const Estimate& a, const Estimate& b);
Estimate operator*(const Estimate& a, const Estimate& b);
Estimate operator/(const Estimate& a, const Estimate& b);
Estimate operator*(double factor, const Estimate& a);
/// a^exponent; a must be above 0 unless the exponent is a whole number above 0.
Estimate power(const Estimate& a, double exponent);

/// Covariance, in the product of the two units, through the inputs that both name.
double covariance(const Estimate& a, const Estimate& b);

/// f of several estimates, to first order (JCGM 100:2008 5.1.2); derivatives by central differences
/// with a step of half the argument's standard uncertainty (5.1.3 note 2), or 6e-6 of its value
/// where that is more, so f must be defined that far around. f is not varied for arguments without
/// uncertainty.
Estimate propagate(const std::function<double(std::span<const double>)>& f,
                   std::span<const Estimate> arguments);

}  // namespace windwright::metrology
