// SPDX-License-Identifier: Apache-2.0
#include "metrology/measurement_model.h"

#include "base/errors.h"
#include "metrology/correlated.h"

#include <Eigen/Eigenvalues>
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <numeric>
#include <span>
#include <string>
#include <vector>

namespace windwright::metrology {

namespace {

// Rounded published coefficients may miss semidefiniteness by their last digit's square.
constexpr double least_eigenvalue = -1e-9;

void check_pair(std::span<const UncertainInput> inputs, const StatedCorrelation& one) {
  for (const std::size_t k : {one.first, one.second}) {
    if (inputs[k].distribution != Distribution::normal)
      throw base::BadInput(one.where,
                           fmt::format("'{}' is correlated but not normal", inputs[k].name),
                           "correlations between normal inputs, or a common input that both depend "
                           "on written into the equation");
    if (inputs[k].standard_uncertainty == 0.0)
      throw base::BadInput(one.where,
                           fmt::format("'{}' is correlated but has no uncertainty", inputs[k].name),
                           "correlations between uncertain inputs");
  }
}

// Which inputs hang together, each by the smallest of its group.
std::vector<std::size_t> roots_of(std::size_t count,
                                  std::span<const StatedCorrelation> correlations) {
  std::vector<std::size_t> root(count);
  std::iota(root.begin(), root.end(), std::size_t{0});
  for (bool moved = true; moved;) {
    moved = false;
    for (const StatedCorrelation& one : correlations) {
      const std::size_t least = std::min(root[one.first], root[one.second]);
      moved = moved || root[one.first] != least || root[one.second] != least;
      root[one.first] = root[one.second] = least;
    }
  }
  return root;
}

double shared_degrees_of_freedom(std::span<const UncertainInput> inputs, const InputGroup& group) {
  const double first = inputs[group.members.front()].degrees_of_freedom;
  const bool shared =
      std::isfinite(first) && std::ranges::all_of(group.members, [&](std::size_t k) {
        return inputs[k].degrees_of_freedom == first;
      });
  return shared ? first : 0.0;
}

void check_matrix(std::span<const UncertainInput> inputs, const InputGroup& group,
                  std::span<const StatedCorrelation> correlations) {
  const double least = smallest_eigenvalue(group.correlation, group.members.size());
  if (least >= least_eigenvalue) return;
  std::vector<std::string> names;
  for (const std::size_t k : group.members)
    names.push_back(inputs[k].name);
  const auto of_group = std::ranges::find_if(correlations, [&](const StatedCorrelation& one) {
    return one.first == group.members.front() || one.second == group.members.front();
  });
  throw base::BadInput(
      of_group->where,
      fmt::format("the correlation coefficients of {} contradict each other: their matrix has the "
                  "eigenvalue {:.3g}",
                  fmt::join(names, ", "), least),
      "coefficients whose matrix has no eigenvalue below 0; pairs left out count as 0");
}

}  // namespace

double smallest_eigenvalue(std::span<const double> matrix, std::size_t size) {
  const auto n = static_cast<Eigen::Index>(size);
  const Eigen::Map<const Eigen::MatrixXd> whole(matrix.data(), n, n);
  return Eigen::SelfAdjointEigenSolver<Eigen::MatrixXd>(whole, Eigen::EigenvaluesOnly)
      .eigenvalues()
      .minCoeff();
}

std::vector<InputGroup> groups_of(std::span<const UncertainInput> inputs,
                                  std::span<const StatedCorrelation> correlations) {
  for (const StatedCorrelation& one : correlations)
    check_pair(inputs, one);
  const std::vector<std::size_t> roots = roots_of(inputs.size(), correlations);
  std::vector<InputGroup> groups;
  for (std::size_t r = 0; r < inputs.size(); ++r) {
    InputGroup group;
    for (std::size_t k = r; k < inputs.size(); ++k) {
      if (roots[k] == r) group.members.push_back(k);
    }
    const std::size_t size = group.members.size();
    if (size < 2) continue;
    group.correlation.assign(size * size, 0.0);
    for (std::size_t i = 0; i < size; ++i)
      group.correlation[i * size + i] = 1.0;
    const auto place = [&group](std::size_t input) {
      return static_cast<std::size_t>(std::ranges::find(group.members, input) -
                                      group.members.begin());
    };
    for (const StatedCorrelation& one : correlations) {
      if (roots[one.first] != r) continue;
      const std::size_t i = place(one.first);
      const std::size_t j = place(one.second);
      group.correlation[i * size + j] = group.correlation[j * size + i] = one.coefficient;
    }
    check_matrix(inputs, group, correlations);
    group.shared_degrees_of_freedom = shared_degrees_of_freedom(inputs, group);
    groups.push_back(group);
  }
  return groups;
}

std::vector<double> factor_of(const InputGroup& group) {
  return decorrelated(group.correlation, group.members.size());
}

std::vector<double> input_values(const MeasurementModel& model) {
  std::vector<double> values;
  for (const UncertainInput& input : model.inputs)
    values.push_back(input.value);
  return values;
}

std::vector<double> input_correlation(const MeasurementModel& model) {
  const std::size_t n = model.inputs.size();
  std::vector<double> correlation(n * n);
  for (std::size_t i = 0; i < n; ++i)
    correlation[i * n + i] = 1.0;
  for (const InputGroup& group : model.groups) {
    const std::size_t size = group.members.size();
    for (std::size_t i = 0; i < size; ++i) {
      for (std::size_t j = 0; j < size; ++j)
        correlation[group.members[i] * n + group.members[j]] = group.correlation[i * size + j];
    }
  }
  return correlation;
}

std::vector<double> independent_directions(const MeasurementModel& model) {
  const std::size_t n = model.inputs.size();
  std::vector<double> directions(n * n);
  for (std::size_t i = 0; i < n; ++i)
    directions[i * n + i] = model.inputs[i].standard_uncertainty;
  for (const InputGroup& group : model.groups) {
    const std::size_t size = group.members.size();
    const std::vector<double> factor = factor_of(group);
    for (std::size_t i = 0; i < size; ++i) {
      const std::size_t a = group.members[i];
      for (std::size_t j = 0; j < size; ++j)
        directions[a * n + group.members[j]] =
            factor[i * size + j] * model.inputs[a].standard_uncertainty;
    }
  }
  return directions;
}

}  // namespace windwright::metrology
