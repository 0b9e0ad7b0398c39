// SPDX-License-Identifier: Apache-2.0
#include "metrology/poles.h"

#include "metrology/program.h"
#include "metrology/student.h"
#include "metrology/uncertain_input.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <string>
#include <vector>

namespace windwright::metrology {

namespace {

// A step at whose zeros the output may have a pole; of a tangent's angle at those of its cosine.
struct Divisor {
  std::uint32_t step;
  bool cosine = false;
};

std::vector<bool> steps_behind(const Program& program, std::uint32_t step) {
  std::vector<bool> behind(program.steps.size(), false);
  behind[step] = true;
  for (std::uint32_t i = step + 1; i-- > 0;) {
    if (!behind[i]) continue;
    const Step& each = program.steps[i];
    if (is_unary(each.operation) || is_binary(each.operation)) behind[each.a] = true;
    if (is_binary(each.operation)) behind[each.b] = true;
  }
  return behind;
}

std::vector<Divisor> divisors_of(const Program& program, std::uint32_t output) {
  const std::vector<bool> behind = steps_behind(program, output);
  std::vector<Divisor> divisors;
  for (std::uint32_t i = 0; i < program.steps.size(); ++i) {
    if (!behind[i]) continue;
    const Step& step = program.steps[i];
    if (step.operation == Operation::divide) divisors.push_back({.step = step.b});
    const bool negative_power = step.operation == Operation::whole_power && step.number < 0.0;
    if (negative_power || step.operation == Operation::power) divisors.push_back({.step = step.a});
    if (step.operation == Operation::tangent) divisors.push_back({.step = step.a, .cosine = true});
  }
  return divisors;
}

class Search {
 public:
  Search(const MeasurementModel& model, std::size_t output)
      : model_(model),
        output_(model.program.outputs[output]),
        directions_(independent_directions(model)),
        home_(input_values(model)) {
    // A little off: at the values themselves a divisor may have no slope, and two steps may both
    // be zero by chance.
    for (std::size_t i = 0; i < home_.size(); ++i)
      home_[i] += (i % 2 == 0 ? 0.037 : -0.061) * model.inputs[i].standard_uncertainty;
  }

  Pole worst() {
    for (const Divisor& divisor : divisors_of(model_.program, output_)) {
      const std::vector<double> direction = direction_of(divisor);
      if (direction.empty()) continue;
      for (const double side : {-1.0, 1.0})
        look_along(divisor, direction, side);
    }
    return worst_;
  }

 private:
  double value_of(const Divisor& divisor, const std::vector<double>& steps) const {
    return divisor.cosine ? std::cos(steps[divisor.step]) : steps[divisor.step];
  }

  // Where the divisor changes most, in units of the inputs, one standard deviation long; empty
  // where nothing uncertain moves it.
  std::vector<double> direction_of(const Divisor& divisor) const {
    const std::size_t size = home_.size();
    std::vector<double> at = home_;
    std::vector<double> slope(size, 0.0);
    for (std::size_t i = 0; i < size; ++i) {
      const double step = 1e-4 * model_.inputs[i].standard_uncertainty;
      if (step == 0.0) continue;
      at[i] = home_[i] + step;
      const double above = values_of(model_.program, at)[divisor.step];
      at[i] = home_[i] - step;
      slope[i] = (above - values_of(model_.program, at)[divisor.step]) / (2.0 * step);
      at[i] = home_[i];
      if (!std::isfinite(slope[i])) slope[i] = 0.0;
    }
    std::vector<double> direction(size, 0.0);
    double squares = 0.0;
    for (std::size_t z = 0; z < size; ++z) {
      double along = 0.0;
      for (std::size_t i = 0; i < size; ++i)
        along += directions_[i * size + z] * slope[i];
      squares += along * along;
      for (std::size_t i = 0; i < size; ++i)
        direction[i] += directions_[i * size + z] * along;
    }
    if (!(squares > 0.0)) return {};
    for (double& each : direction)
      each /= std::sqrt(squares);
    return direction;
  }

  std::vector<double> place(const std::vector<double>& direction, double share) const {
    constexpr double far = 5.0;
    constexpr double seldom = 5.733e-7;  // of normal inputs beyond 5 standard deviations
    std::vector<double> at = home_;
    for (std::size_t i = 0; i < at.size(); ++i) {
      const UncertainInput& input = model_.inputs[i];
      if (direction[i] == 0.0) continue;
      if (input.distribution != Distribution::normal) {
        const double reach = input.half_width;
        at[i] = std::clamp(home_[i] + share * far * direction[i], input.value - reach,
                           input.value + reach);
        continue;
      }
      const double nu = input.degrees_of_freedom;
      at[i] += share * direction[i] * (std::isfinite(nu) ? student_factor(1.0 - seldom, nu) : far);
    }
    return at;
  }

  void look_along(const Divisor& divisor, const std::vector<double>& direction, double side) {
    constexpr int places = 16;
    std::vector<bool> watched = steps_behind(model_.program, divisor.step);
    std::vector<double> before = values_of(model_.program, home_);
    for (int i = 1; i <= places; ++i) {
      const double from = side * (i - 1) / places;
      const double to = side * i / places;
      std::vector<double> now = values_of(model_.program, place(direction, to));
      if (divisor.cosine && value_of(divisor, before) * value_of(divisor, now) < 0.0) {
        close_in(direction, from, to,
                 [&](const std::vector<double>& steps) { return value_of(divisor, steps); });
      }
      for (std::size_t step = 0; step < watched.size(); ++step) {
        if (!watched[step] || !(before[step] * now[step] < 0.0)) continue;
        close_in(direction, from, to,
                 [step](const std::vector<double>& steps) { return steps[step]; });
      }
      before = std::move(now);
    }
  }

  // The zero between two places of the way, and how fast the output grows towards it.
  void close_in(const std::vector<double>& direction, double from, double to, auto&& value) {
    const auto at = [&](double share) {
      return values_of(model_.program, place(direction, share));
    };
    const bool rising = value(at(to)) > 0.0;
    for (int halving = 0; halving < 60; ++halving) {
      const double middle = 0.5 * (from + to);
      ((value(at(middle)) > 0.0) == rising ? to : from) = middle;
    }
    for (const double side : {-1.0, 1.0}) {
      double values[3];
      double distance = 1e-3;
      constexpr double closer = 100.0;
      for (double& each : values) {
        each = at(to + side * distance)[output_];
        distance /= closer;
      }
      const double farther = std::abs(values[1] - values[0]);
      const double nearer = std::abs(values[2] - values[1]);
      constexpr double rounding = 1e-6;
      if (!std::isfinite(nearer) || !(farther > 0.0) || !(nearer > rounding * std::abs(values[0])))
        continue;
      const double order = std::log10(nearer / farther) / std::log10(closer);
      const double half = std::round(2.0 * order) / 2.0;
      take(std::abs(order - half) < 0.03 ? half : order, direction, to);
    }
  }

  void take(double order, const std::vector<double>& direction, double share) {
    constexpr double least = 0.05;  // a logarithm grows slower
    if (order < least || order <= worst_.order) return;
    worst_ = {.order = order, .near = {}};
    const std::vector<double> there = place(direction, share);
    const auto part = [&](std::size_t i) {
      const double u = model_.inputs[i].standard_uncertainty;
      return u > 0.0 ? std::abs(direction[i]) / u : 0.0;
    };
    for (std::size_t i = 0; i < there.size(); ++i) {
      if (part(i) < 0.3) continue;
      constexpr double rounding = 1e-9;  // of the place, in standard uncertainties
      const bool zero = std::abs(there[i]) < rounding * model_.inputs[i].standard_uncertainty;
      worst_.near += fmt::format("{}{} = {:.4g}", worst_.near.empty() ? "" : ", ",
                                 model_.inputs[i].name, zero ? 0.0 : there[i]);
    }
  }

  const MeasurementModel& model_;
  std::uint32_t output_;
  std::vector<double> directions_;  // inputs x inputs
  std::vector<double> home_;
  Pole worst_;
};

}  // namespace

Pole worst_pole(const MeasurementModel& model, std::size_t output) {
  return Search(model, output).worst();
}

}  // namespace windwright::metrology
