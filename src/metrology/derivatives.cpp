// SPDX-License-Identifier: Apache-2.0
#include "metrology/derivatives.h"

#include <cmath>
#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

namespace windwright::metrology {

namespace {

// f, f', f'', f''' of a function of one argument.
struct Curve {
  double value;
  double first;
  double second;
  double third;
};

Curve power_curve(double a, double n, double value) {
  // Factors first: n (n - 1) = 0 must win over a^(n - 2) at a = 0.
  const auto term = [a](double factor, double exponent) {
    return factor == 0.0 ? 0.0 : factor * std::pow(a, exponent);
  };
  return {value, term(n, n - 1.0), term(n * (n - 1.0), n - 2.0),
          term(n * (n - 1.0) * (n - 2.0), n - 3.0)};
}

Curve arc_curve(double a, double value, double sign) {
  const double rest = 1.0 - a * a;
  const double first = sign / std::sqrt(rest);
  return {value, first, first * a / rest, first * (1.0 + 2.0 * a * a) / (rest * rest)};
}

Curve tangent_like(double t, double sign) {  // t' = 1 + sign t^2
  const double first = 1.0 + sign * t * t;
  return {t, first, 2.0 * sign * t * first, 2.0 * sign * first * (first + 2.0 * sign * t * t)};
}

Curve curve_of(Operation operation, double a, double value, double number) {
  switch (operation) {
    case Operation::negative:
      return {value, -1.0, 0.0, 0.0};
    case Operation::square_root:
      return power_curve(a, 0.5, value);
    case Operation::exponential:
      return {value, value, value, value};
    case Operation::logarithm:
      return {value, 1.0 / a, -1.0 / (a * a), 2.0 / (a * a * a)};
    case Operation::sine:
      return {value, std::cos(a), -value, -std::cos(a)};
    case Operation::cosine:
      return {value, -std::sin(a), -value, std::sin(a)};
    case Operation::tangent:
      return tangent_like(value, 1.0);
    case Operation::hyperbolic_tangent:
      return tangent_like(value, -1.0);
    case Operation::arcsine:
      return arc_curve(a, value, 1.0);
    case Operation::arccosine:
      return arc_curve(a, value, -1.0);
    case Operation::arctangent: {
      const double d = 1.0 / (1.0 + a * a);
      return {value, d, -2.0 * a * d * d, (6.0 * a * a - 2.0) * d * d * d};
    }
    case Operation::hyperbolic_sine:
      return {value, std::cosh(a), value, std::cosh(a)};
    case Operation::hyperbolic_cosine:
      return {value, std::sinh(a), value, std::sinh(a)};
    case Operation::whole_power:
      return power_curve(a, number, value);
    default:
      return {value, a < 0.0 ? -1.0 : 1.0, 0.0, 0.0};  // absolute
  }
}

// One step's derivatives with respect to all directions i and one direction j.
struct Taylor {
  double value = 0.0;
  std::vector<double> i = {};    // d/dz_i
  std::vector<double> ij = {};   // d2/dz_i dz_j
  std::vector<double> ijj = {};  // d3/dz_i dz_j dz_j

  explicit Taylor(std::size_t size) : i(size), ij(size), ijj(size) {}
};

// Steps that do not vary keep no derivatives: 0 times infinity must not arise from a constant.
class Sweep {
 public:
  Sweep(const Program& program, std::span<const double> directions, std::size_t size)
      : program_(program), directions_(directions), size_(size), varies_(program.steps.size()) {
    for (std::size_t s = 0; s < varies_.size(); ++s) {
      const Step& step = program.steps[s];
      steps_.emplace_back(0);
      if (step.operation == Operation::input) {
        for (std::size_t k = 0; k < size; ++k)
          varies_[s] = varies_[s] || directions[step.a * size + k] != 0.0;
      } else if (step.operation != Operation::constant) {
        varies_[s] = varies_[step.a] || (is_binary(step.operation) && varies_[step.b]);
      }
      if (varies_[s]) steps_.back() = Taylor(size);
    }
  }

  void run(std::span<const double> values, std::size_t j) {
    j_ = j;
    for (std::size_t s = 0; s < steps_.size(); ++s) {
      Taylor& to = steps_[s];
      to.value = values[s];
      if (!varies_[s]) continue;
      const Step& step = program_.steps[s];
      if (step.operation == Operation::input) {
        for (std::size_t k = 0; k < size_; ++k)
          to.i[k] = directions_[step.a * size_ + k];
      } else if (is_unary(step.operation)) {
        chain(steps_[step.a], curve_of(step.operation, values[step.a], values[s], step.number), to);
      } else {
        combine(step, to);
      }
    }
  }

  const Taylor& of(std::uint32_t step) const { return steps_[step]; }
  bool varies(std::uint32_t step) const { return varies_[step]; }

 private:
  void chain(const Taylor& a, const Curve& f, Taylor& to) const {
    const double aj = a.i[j_];
    const double ajj = a.ij[j_];
    for (std::size_t k = 0; k < size_; ++k) {
      to.i[k] = f.first * a.i[k];
      to.ij[k] = f.second * a.i[k] * aj + f.first * a.ij[k];
      to.ijj[k] = f.third * a.i[k] * aj * aj + f.second * (2.0 * a.ij[k] * aj + a.i[k] * ajj) +
                  f.first * a.ijj[k];
    }
  }

  void add(double a_factor, const Taylor& a, double b_factor, const Taylor& b, Taylor& to) const {
    for (std::size_t k = 0; k < size_; ++k) {
      to.i[k] = a_factor * a.i[k] + b_factor * b.i[k];
      to.ij[k] = a_factor * a.ij[k] + b_factor * b.ij[k];
      to.ijj[k] = a_factor * a.ijj[k] + b_factor * b.ijj[k];
    }
  }

  void multiply(const Taylor& a, const Taylor& b, Taylor& to) const {
    const double aj = a.i[j_];
    const double ajj = a.ij[j_];
    const double bj = b.i[j_];
    const double bjj = b.ij[j_];
    for (std::size_t k = 0; k < size_; ++k) {
      to.i[k] = a.i[k] * b.value + a.value * b.i[k];
      to.ij[k] = a.ij[k] * b.value + a.i[k] * bj + aj * b.i[k] + a.value * b.ij[k];
      to.ijj[k] = a.ijj[k] * b.value + ajj * b.i[k] + a.i[k] * bjj + a.value * b.ijj[k] +
                  2.0 * (a.ij[k] * bj + aj * b.ij[k]);
    }
  }

  // With zeros where a step does not vary.
  const Taylor& whole(std::uint32_t step, Taylor& room) const {
    if (varies_[step]) return steps_[step];
    room.value = steps_[step].value;
    return room;
  }

  void combine(const Step& step, Taylor& to) const {
    Taylor room_a(size_);
    Taylor room_b(size_);
    const Taylor& a = whole(step.a, room_a);
    const Taylor& b = whole(step.b, room_b);
    switch (step.operation) {
      case Operation::add:
        return add(1.0, a, 1.0, b, to);
      case Operation::subtract:
        return add(1.0, a, -1.0, b, to);
      case Operation::multiply:
        return multiply(a, b, to);
      case Operation::divide:
        return divide(step, a, b, to);
      case Operation::power:
        return raise(step, a, b, to);
      case Operation::arctangent_of_two:
        return arctangent(a, b, to);
      case Operation::least:
        return add(b.value < a.value ? 0.0 : 1.0, a, b.value < a.value ? 1.0 : 0.0, b, to);
      default:
        return add(b.value > a.value ? 0.0 : 1.0, a, b.value > a.value ? 1.0 : 0.0, b, to);
    }
  }

  void divide(const Step& step, const Taylor& a, const Taylor& b, Taylor& to) const {
    if (!varies_[step.b]) return add(1.0 / b.value, a, 0.0, b, to);
    Taylor inverse(size_);
    inverse.value = 1.0 / b.value;
    chain(b, power_curve(b.value, -1.0, inverse.value), inverse);
    multiply(a, inverse, to);
  }

  // a^b = exp(b log a); with a constant exponent the base may be negative or 0.
  void raise(const Step& step, const Taylor& a, const Taylor& b, Taylor& to) const {
    if (!varies_[step.b]) return chain(a, power_curve(a.value, b.value, to.value), to);
    Taylor logarithm(size_);
    logarithm.value = std::log(a.value);
    if (varies_[step.a])
      chain(a, curve_of(Operation::logarithm, a.value, logarithm.value, 0.0), logarithm);
    Taylor exponent(size_);
    exponent.value = b.value * logarithm.value;
    multiply(b, logarithm, exponent);
    chain(exponent, {to.value, to.value, to.value, to.value}, to);
  }

  // atan2(a, b): atan(a / b), or a right angle less atan(b / a) where that divides by the larger.
  void arctangent(const Taylor& a, const Taylor& b, Taylor& to) const {
    const bool steep = std::abs(a.value) > std::abs(b.value);
    const Taylor& over = steep ? b : a;
    const Taylor& under = steep ? a : b;
    Taylor inverse(size_);
    inverse.value = 1.0 / under.value;
    chain(under, power_curve(under.value, -1.0, inverse.value), inverse);
    Taylor ratio(size_);
    ratio.value = over.value * inverse.value;
    multiply(over, inverse, ratio);
    chain(ratio, curve_of(Operation::arctangent, ratio.value, 0.0, 0.0), to);
    if (steep) add(-1.0, to, 0.0, to, to);
  }

  const Program& program_;
  std::span<const double> directions_;
  std::size_t size_;
  std::size_t j_ = 0;
  std::vector<bool> varies_;
  std::vector<Taylor> steps_;
};

}  // namespace

std::vector<Derivatives> derivatives(const Program& program, std::span<const double> point,
                                     std::span<const double> directions) {
  const std::size_t size = program.inputs == 0 ? 0 : directions.size() / program.inputs;
  const std::vector<double> values = values_of(program, point);
  std::vector<Derivatives> result;
  for (const std::uint32_t output : program.outputs)
    result.push_back({.value = values[output],
                      .first = std::vector<double>(size),
                      .second = std::vector<double>(size * size),
                      .third = std::vector<double>(size * size)});
  Sweep sweep(program, directions, size);
  for (std::size_t j = 0; j < size; ++j) {
    sweep.run(values, j);
    for (std::size_t o = 0; o < result.size(); ++o) {
      if (!sweep.varies(program.outputs[o])) continue;
      const Taylor& got = sweep.of(program.outputs[o]);
      for (std::size_t i = 0; i < size; ++i) {
        result[o].second[i * size + j] = got.ij[i];
        result[o].third[i * size + j] = got.ijj[i];
      }
      result[o].first = got.i;
    }
  }
  return result;
}

std::vector<std::vector<double>> sensitivities(const Program& program,
                                               std::span<const double> point) {
  const std::size_t size = program.inputs;
  std::vector<double> identity(size * size);
  for (std::size_t i = 0; i < size; ++i)
    identity[i * size + i] = 1.0;
  std::vector<std::vector<double>> result(program.outputs.size(), std::vector<double>(size));
  if (size == 0) return result;
  Sweep sweep(program, identity, size);
  sweep.run(values_of(program, point), 0);
  for (std::size_t o = 0; o < result.size(); ++o) {
    if (sweep.varies(program.outputs[o])) result[o] = sweep.of(program.outputs[o]).i;
  }
  return result;
}

std::vector<bool> at_kink(const Program& program, std::span<const double> point) {
  const std::vector<double> values = values_of(program, point);
  std::vector<bool> kink(program.steps.size());
  for (std::size_t s = 0; s < kink.size(); ++s) {
    const Step& step = program.steps[s];
    const bool unary = is_unary(step.operation);
    const bool binary = is_binary(step.operation);
    kink[s] = (step.operation == Operation::absolute && values[step.a] == 0.0) ||
              ((step.operation == Operation::least || step.operation == Operation::largest) &&
               values[step.a] == values[step.b]) ||
              ((unary || binary) && kink[step.a]) || (binary && kink[step.b]);
  }
  std::vector<bool> result;
  for (const std::uint32_t output : program.outputs)
    result.push_back(kink[output]);
  return result;
}

}  // namespace windwright::metrology
