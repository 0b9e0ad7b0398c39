// SPDX-License-Identifier: Apache-2.0
#include "metrology/estimate.h"

#include "metrology/student.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <map>
#include <span>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::metrology {

namespace {

using Contributions = std::map<std::string, Contribution>;

void add_scaled(Contributions& sum, const Contributions& part, double factor) {
  for (const auto& [input, contribution] : part) {
    const double u = factor * contribution.u;
    const auto [at, is_new] = sum.try_emplace(input, Contribution{u, contribution.dof});
    if (is_new) continue;
    at->second.u += u;
    at->second.dof = std::min(at->second.dof, contribution.dof);
  }
}

// Inputs that were estimated together share one estimate of variance: `x:calibration-0`,
// `x:calibration-1` and `x:residual-3`, or `x:mean-0#7` and `x:mean-1#7`. Their names differ only
// in the number.
std::string variance_of(std::string_view input) {
  const auto point = input.find('#');
  std::string_view name = input.substr(0, point);
  const std::string tail(point == std::string_view::npos ? "" : input.substr(point));
  const auto last_letter = name.find_last_not_of("0123456789");
  const bool numbered = last_letter != std::string_view::npos && name[last_letter] == '-' &&
                        last_letter + 1 < name.size();
  if (numbered) name = name.substr(0, last_letter);
  constexpr std::string_view residual = ":residual";
  if (name.ends_with(residual)) {
    return std::string(name.substr(0, name.size() - residual.size())) + ":calibration" + tail;
  }
  return std::string(name) + tail;
}

double root_sum_of_squares(const Contributions& contributions, auto&& wanted) {
  double sum = 0.0;
  for (const auto& [input, contribution] : contributions) {
    if (wanted(input)) sum += contribution.u * contribution.u;
  }
  return std::sqrt(sum);
}

}  // namespace

Estimate::Estimate(double value, std::map<std::string, Contribution> contributions)
    : value_(value), contributions_(std::move(contributions)) {}

double Estimate::u() const {
  return root_sum_of_squares(contributions_, [](const std::string&) { return true; });
}

double Estimate::u_random() const {
  return root_sum_of_squares(contributions_, is_random);
}

double Estimate::u_systematic() const {
  return root_sum_of_squares(contributions_,
                             [](const std::string& input) { return !is_random(input); });
}

double Estimate::dof() const {
  struct Part {
    double variance = 0.0;
    double dof = std::numeric_limits<double>::infinity();
  };
  std::map<std::string, Part> parts;
  double variance = 0.0;
  for (const auto& [input, contribution] : contributions_) {
    Part& part = parts[variance_of(input)];
    const double square = contribution.u * contribution.u;
    variance += square;
    part.variance += square;
    if (square > 0.0) part.dof = std::min(part.dof, contribution.dof);
  }
  // Shares of the variance, so that the fourth powers neither overflow nor vanish.
  double sum = 0.0;
  for (const auto& [name, part] : parts) {
    const double share = variance > 0.0 ? part.variance / variance : 0.0;
    if (share > 0.0) sum += share * share / part.dof;
  }
  return sum > 0.0 ? 1.0 / sum : std::numeric_limits<double>::infinity();
}

double Estimate::expanded(double level) const {
  const double standard = u();
  return standard > 0.0 ? student_factor(level, dof()) * standard : 0.0;
}

void Estimate::add(const std::string& input, Contribution contribution) {
  add_scaled(contributions_, {{input, contribution}}, 1.0);
}

bool is_random(std::string_view input) {
  return input.find('#') != std::string_view::npos;
}

Estimate operator+(const Estimate& a, const Estimate& b) {
  Contributions sum = a.contributions();
  add_scaled(sum, b.contributions(), 1.0);
  return {a.value() + b.value(), std::move(sum)};
}

Estimate operator-(const Estimate& a, const Estimate& b) {
  Contributions sum = a.contributions();
  add_scaled(sum, b.contributions(), -1.0);
  return {a.value() - b.value(), std::move(sum)};
}

Estimate operator*(const Estimate& a, const Estimate& b) {
  Contributions sum;
  add_scaled(sum, a.contributions(), b.value());
  add_scaled(sum, b.contributions(), a.value());
  return {a.value() * b.value(), std::move(sum)};
}

Estimate operator/(const Estimate& a, const Estimate& b) {
  const double ratio = a.value() / b.value();
  Contributions sum;
  add_scaled(sum, a.contributions(), 1.0 / b.value());
  add_scaled(sum, b.contributions(), -ratio / b.value());
  return {ratio, std::move(sum)};
}

Estimate operator*(double factor, const Estimate& a) {
  Contributions scaled;
  add_scaled(scaled, a.contributions(), factor);
  return {factor * a.value(), std::move(scaled)};
}

Estimate power(const Estimate& a, double exponent) {
  const double slope = exponent == 0.0 ? 0.0 : exponent * std::pow(a.value(), exponent - 1.0);
  Contributions scaled;
  add_scaled(scaled, a.contributions(), slope);
  return {std::pow(a.value(), exponent), std::move(scaled)};
}

double covariance(const Estimate& a, const Estimate& b) {
  double sum = 0.0;
  for (const auto& [input, contribution] : a.contributions()) {
    const auto other = b.contributions().find(input);
    if (other != b.contributions().end()) sum += contribution.u * other->second.u;
  }
  return sum;
}

Estimate propagate(const std::function<double(std::span<const double>)>& f,
                   std::span<const Estimate> arguments) {
  std::vector<double> x(arguments.size());
  for (std::size_t i = 0; i < x.size(); ++i)
    x[i] = arguments[i].value();
  Contributions sum;
  for (std::size_t i = 0; i < x.size(); ++i) {
    const double u = arguments[i].u();
    if (u == 0.0) continue;
    const double at = x[i];
    // Not so small that rounding takes over where the uncertainty is tiny.
    constexpr double smallest_relative = 6e-6;  // cube root of the rounding error of a double
    const double step = std::max(0.5 * u, smallest_relative * std::abs(at));
    const double above_at = at + step;
    const double below_at = at - step;
    x[i] = above_at;
    const double above = f(x);
    x[i] = below_at;
    const double below = f(x);
    x[i] = at;
    add_scaled(sum, arguments[i].contributions(), (above - below) / (above_at - below_at));
  }
  return {f(x), std::move(sum)};
}

}  // namespace windwright::metrology
