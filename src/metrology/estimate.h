// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <functional>
#include <map>
#include <span>
#include <string>
#include <vector>

namespace windwright::metrology {

/// What one input adds to the standard uncertainty of a value.
struct Contribution {
  double
      u;  // sensitivity times the input's standard uncertainty, with its sign, in the value's unit
  double dof;  // degrees of freedom of the input; infinity where it is taken as known
};

/// A value with its standard uncertainty kept apart by input (first-order law, JCGM
/// 100:2008 5.1.2). Inputs are independent and are known by name: two estimates that name the same
/// input are correlated through it, so that a difference of two readings of one sensor has the
/// smaller uncertainty it deserves. Names of systematic inputs read `air_speed_m_s:standard`; those
/// of random ones end in `#` and the test point, so they occur nowhere else.
class Estimate {
 public:
  Estimate() = default;
  explicit Estimate(double value) : value_(value) {}
  Estimate(double value, std::map<std::string, Contribution> contributions);

  double value() const { return value_; }
  double u() const;    // standard uncertainty
  double dof() const;  // effective degrees of freedom (Welch and Satterthwaite, JCGM 100 G.4.1)
  /// Half-width of the interval that covers `level` (Student's t with dof()).
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

bool is_random(std::string_view input);

Estimate operator+(const Estimate& a, const Estimate& b);
Estimate operator-(const Estimate& a, const Estimate& b);
Estimate operator*(const Estimate& a, const Estimate& b);
Estimate operator/(const Estimate& a, const Estimate& b);
Estimate operator*(double factor, const Estimate& a);
Estimate power(const Estimate& a, double exponent);

/// Covariance through the inputs that both name.
double covariance(const Estimate& a, const Estimate& b);

/// f of several estimates, to first order; derivatives by central differences with a step of half
/// the argument's standard uncertainty (f is not called for arguments without uncertainty).
Estimate propagate(const std::function<double(std::span<const double>)>& f,
                   std::span<const Estimate> arguments);

}  // namespace windwright::metrology
