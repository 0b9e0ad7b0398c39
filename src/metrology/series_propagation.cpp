// SPDX-License-Identifier: Apache-2.0
#include "metrology/series_propagation.h"

#include "metrology/derivatives.h"
#include "metrology/measurement_model.h"
#include "metrology/student.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <span>
#include <vector>

namespace windwright::metrology {

namespace {

constexpr std::size_t most_halved = 40;  // inputs: the work grows with their cube
constexpr double known = std::numeric_limits<double>::infinity();

// sum over j of r_ij a_j.
std::vector<double> product(std::span<const double> matrix, std::span<const double> a) {
  std::vector<double> result(a.size());
  for (std::size_t i = 0; i < a.size(); ++i) {
    for (std::size_t j = 0; j < a.size(); ++j)
      result[i] += matrix[i * a.size() + j] * a[j];
  }
  return result;
}

double inner(std::span<const double> a, std::span<const double> b) {
  double sum = 0.0;
  for (std::size_t i = 0; i < a.size(); ++i)
    sum += a[i] * b[i];
  return sum;
}

SeriesResult result_of(double value, double variance, double dof, double level) {
  SeriesResult result{.value = value,
                      .u = std::sqrt(std::max(variance, 0.0)),
                      .dof = dof,
                      .expanded = 0.0,
                      .interval = {value, value}};
  if (std::isnan(variance)) result.u = variance;
  result.expanded = result.u * student_factor(level, dof);
  result.interval = {value - result.expanded, value + result.expanded};
  return result;
}

// Parts are sensitivity times uncertainty; those of inputs known exactly stay 0 even where the
// sensitivity is infinite.
std::vector<double> parts_of(const MeasurementModel& model, std::span<const double> sensitivity) {
  std::vector<double> parts;
  for (std::size_t i = 0; i < model.inputs.size(); ++i) {
    const double u = model.inputs[i].standard_uncertainty;
    parts.push_back(u == 0.0 ? 0.0 : sensitivity[i] * u);
  }
  return parts;
}

std::vector<InputShare> shares_of(std::span<const double> sensitivity,
                                  std::span<const double> parts,
                                  std::span<const double> correlation) {
  const std::vector<double> met = product(correlation, parts);
  const double variance = inner(parts, met);
  std::vector<InputShare> shares;
  for (std::size_t i = 0; i < parts.size(); ++i) {
    // Halving part i takes parts[i] met[i] from the variance and gives a quarter of its own back.
    const double halved = variance - parts[i] * met[i] + 0.25 * parts[i] * parts[i];
    shares.push_back({.input = i,
                      .sensitivity = sensitivity[i],
                      .contribution = std::abs(parts[i]),
                      .share = variance > 0.0 ? parts[i] * met[i] / variance : 0.0,
                      .u_if_halved = std::sqrt(std::max(halved, 0.0))});
  }
  return shares;
}

struct SecondOrder {
  double shift;     // of the value
  double variance;  // of all terms up to the fourth power
};

// In independent variables z of variance 1. Third moments are 0: all distributions are symmetric.
SecondOrder second_order_of(const Derivatives& d, std::span<const double> fourth) {
  const std::size_t n = fourth.size();
  SecondOrder result{0.0, 0.0};
  for (std::size_t i = 0; i < n; ++i) {
    const double ii = d.second[i * n + i];
    result.shift += 0.5 * ii;
    result.variance += d.first[i] * d.first[i] + 0.25 * ii * ii * (fourth[i] - 1.0);
    for (std::size_t j = 0; j < n; ++j) {
      const double weight = i == j ? fourth[i] / 3.0 : 1.0;
      result.variance += d.first[i] * d.third[i * n + j] * weight;
      if (j < i) result.variance += d.second[i * n + j] * d.second[i * n + j];
    }
  }
  return result;
}

// Of the independent variables that members of a group are written in: normal.
std::vector<double> fourth_moments(const MeasurementModel& model) {
  std::vector<double> fourth;
  for (const UncertainInput& input : model.inputs)
    fourth.push_back(kurtosis(input));
  return fourth;
}

MeasurementModel with_halved(const MeasurementModel& model, std::size_t input) {
  MeasurementModel halved = model;
  halved.inputs[input].standard_uncertainty *= 0.5;
  return halved;
}

// What halving each input would bring, to second order: an input whose sensitivity is 0 can matter
// most of all (JCGM 101, 9.3).
void halve(const MeasurementModel& model, std::span<const double> point,
           std::span<const double> fourth, std::vector<std::vector<InputShare>>& budgets) {
  for (std::size_t i = 0; i < model.inputs.size(); ++i) {
    const auto expansions =
        derivatives(model.program, point, independent_directions(with_halved(model, i)));
    for (std::size_t o = 0; o < budgets.size(); ++o) {
      const double variance = second_order_of(expansions[o], fourth).variance;
      if (std::isfinite(variance)) budgets[o][i].u_if_halved = std::sqrt(std::max(variance, 0.0));
    }
  }
}

}  // namespace

double effective_degrees_of_freedom(const MeasurementModel& model, std::span<const double> parts) {
  const std::size_t n = parts.size();
  const std::vector<double> correlation = input_correlation(model);
  const std::vector<double> met = product(correlation, parts);
  std::vector<double> weight(n);  // u^4 / dof of each
  for (std::size_t i = 0; i < n; ++i)
    weight[i] = std::pow(parts[i] * met[i], 2) / model.inputs[i].degrees_of_freedom;
  for (const InputGroup& group : model.groups) {
    if (group.shared_degrees_of_freedom == 0.0) continue;
    double variance = 0.0;
    for (const std::size_t member : group.members) {
      variance += parts[member] * met[member];
      weight[member] = 0.0;
    }
    weight[group.members.front()] = variance * variance / group.shared_degrees_of_freedom;
  }
  double sum = 0.0;
  for (const double w : weight)
    sum += w;
  return sum > 0.0 ? std::pow(inner(parts, met), 2) / sum : known;
}

SeriesPropagation series_propagation(const MeasurementModel& model, double level) {
  const std::vector<double> point = input_values(model);
  const std::vector<double> correlation = input_correlation(model);
  const std::vector<double> fourth = fourth_moments(model);
  const auto sensitivity = sensitivities(model.program, point);
  const auto expansions = derivatives(model.program, point, independent_directions(model));
  const std::vector<double> values = values_of(model.program, point);
  const std::size_t outputs = model.outputs.size();
  SeriesPropagation result;
  result.covariance.resize(outputs * outputs);
  std::vector<std::vector<double>> parts;
  for (std::size_t o = 0; o < outputs; ++o) {
    parts.push_back(parts_of(model, sensitivity[o]));
    const double value = values[model.program.outputs[o]];
    const double dof = effective_degrees_of_freedom(model, parts[o]);
    const double variance = inner(parts[o], product(correlation, parts[o]));
    result.first_order.push_back(result_of(value, variance, dof, level));
    const SecondOrder second = second_order_of(expansions[o], fourth);
    result.second_order.push_back(result_of(value + second.shift, second.variance, dof, level));
    result.budgets.push_back(shares_of(sensitivity[o], parts[o], correlation));
    for (std::size_t p = 0; p <= o; ++p) {
      result.covariance[o * outputs + p] = result.covariance[p * outputs + o] =
          inner(parts[o], product(correlation, parts[p]));
    }
  }
  if (model.inputs.size() <= most_halved) halve(model, point, fourth, result.budgets);
  for (std::vector<InputShare>& budget : result.budgets) {
    std::ranges::stable_sort(budget, [](const InputShare& a, const InputShare& b) {
      if (a.share != b.share) return std::abs(a.share) > std::abs(b.share);
      return a.u_if_halved < b.u_if_halved;
    });
  }
  return result;
}

}  // namespace windwright::metrology
