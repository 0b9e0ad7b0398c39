// SPDX-License-Identifier: Apache-2.0
#include "metrology/monte_carlo.h"

#include "base/errors.h"
#include "metrology/block_program.h"
#include "metrology/measurement_model.h"
#include "metrology/program.h"
#include "metrology/tail_moments.h"
#include "metrology/trial_draws.h"
#include "metrology/uncertain_input.h"

#include <Eigen/Cholesky>
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <optional>
#include <span>
#include <utility>
#include <vector>

namespace windwright::metrology {

namespace {

constexpr double none = std::numeric_limits<double>::quiet_NaN();
constexpr std::size_t sequence = 10'000;      // trials of one step of the adaptive procedure
constexpr std::size_t fewest_sequences = 10;  // standard deviations of fewer mean little
constexpr double singular = 1e-6;  // least eigenvalue of a correlation matrix that has an inverse

// Makes trials in order and keeps every output's values.
class Trials {
 public:
  Trials(const MeasurementModel& model, std::uint64_t seed)
      : draws_(model, seed),
        program_(block_program(model.program)),
        rows_(program_.rows * block_trials),
        values_(program_.outputs.size()) {
    lay_constants(program_, rows_.data());
  }

  void extend_to(std::size_t count) {
    // Whole blocks; what is beyond `count` waits for its turn.
    const std::size_t padded = (count + block_trials - 1) / block_trials * block_trials;
    for (std::vector<double>& values : values_)
      values.resize(std::max(values.size(), padded));
    for (; made_ < padded; made_ += block_trials) {
      draws_.fill(made_, rows_.data());
      run_block(program_, rows_.data());
      for (std::size_t o = 0; o < values_.size(); ++o) {
        const double* row = rows_.data() + program_.outputs[o] * block_trials;
        std::copy_n(row, block_trials, values_[o].begin() + static_cast<std::ptrdiff_t>(made_));
      }
    }
  }

  void reserve(std::size_t count) {
    for (std::vector<double>& values : values_)
      values.reserve(count + block_trials);
  }

  std::span<const double> output(std::size_t o, std::size_t from, std::size_t to) const {
    return std::span<const double>(values_[o]).subspan(from, to - from);
  }
  std::vector<std::vector<double>> taken(std::size_t count) {
    for (std::vector<double>& values : values_)
      values.resize(count);
    return std::move(values_);
  }

 private:
  TrialDraws draws_;
  BlockProgram program_;
  std::vector<double> rows_;
  std::vector<std::vector<double>> values_;
  std::size_t made_ = 0;
};

bool all_finite(std::span<const double> values) {
  bool finite = true;
  for (const double value : values)
    finite = finite & (std::abs(value) <= std::numeric_limits<double>::max());
  return finite;
}

std::vector<double> finite_ones(std::span<const double> values) {
  std::vector<double> finite;
  for (const double value : values) {
    if (std::isfinite(value)) finite.push_back(value);
  }
  return finite;
}

// Figures of one sequence of the adaptive procedure, or their running sums.
struct Figures {
  double mean = 0.0;
  double u = 0.0;
  double low = 0.0;
  double high = 0.0;
};

class Stability {
 public:
  Stability(double tolerance, double level, TailMoments exist)
      : tolerance_(tolerance), level_(level), exist_(std::move(exist)) {}

  void add(std::span<const double> values) {
    const std::vector<double> finite = finite_ones(values);
    if (finite.size() < sequence / 2) return;
    const TrialMoments moments = moments_of(finite);
    const Interval interval = coverage_intervals(finite, level_).symmetric;
    figures_[0].push_back(exist_.mean ? moments.mean : 0.0);
    figures_[1].push_back(exist_.variance ? moments.standard_deviation : 0.0);
    figures_[2].push_back(interval.low);
    figures_[3].push_back(interval.high);
  }

  bool stable() const {
    return std::ranges::all_of(figures_, [this](const std::vector<double>& figure) {
      if (figure.size() < 2) return false;
      const auto n = static_cast<double>(figure.size());
      return 2.0 * moments_of(figure).standard_deviation / std::sqrt(n) <= tolerance_;
    });
  }

 private:
  double tolerance_;
  double level_;
  TailMoments exist_;
  std::vector<std::vector<double>> figures_ = std::vector<std::vector<double>>(4);
};

MonteCarloOutput output_of(std::span<const double> all, double level, const MeasurementModel& model,
                           std::size_t o) {
  std::vector<double> room;
  std::span<const double> values = all;
  if (!all_finite(all)) {
    room = finite_ones(all);
    values = room;
  }
  if (values.size() < std::max<std::size_t>(all.size() / 2, 100)) {
    throw base::BadInput(
        model.places[o],
        fmt::format("{} has no value in {} of {} trials", model.outputs[o],
                    all.size() - values.size(), all.size()),
        "inputs whose distributions stay where every root, logarithm and quotient has a value");
  }
  const TrialMoments moments = moments_of(values);
  const CoverageIntervals intervals = coverage_intervals(values, level);
  const TailMoments exist = tail_moments(model, o);
  // The mean's own standard error wants a variance.
  double error = std::max(intervals.low_standard_error, intervals.high_standard_error);
  if (exist.variance)
    error = std::max({error, moments.mean_standard_error, moments.deviation_standard_error});
  return {.trials = values.size(),
          .not_finite = all.size() - values.size(),
          .value = exist.mean ? moments.mean : none,
          .u = exist.variance ? moments.standard_deviation : none,
          .exist = exist,
          .intervals = intervals,
          .numerical_tolerance = 2.0 * error,
          .stable = true};
}

// Trials in which every output has a value, outputs x trials.
std::vector<std::vector<double>> common_trials(const Trials& trials, std::size_t outputs,
                                               std::size_t count) {
  std::vector<std::vector<double>> common(outputs);
  for (std::vector<double>& values : common)
    values.reserve(count);
  for (std::size_t t = 0; t < count; ++t) {
    bool finite = true;
    for (std::size_t o = 0; o < outputs; ++o)
      finite = finite && std::isfinite(trials.output(o, t, t + 1).front());
    for (std::size_t o = 0; finite && o < outputs; ++o)
      common[o].push_back(trials.output(o, t, t + 1).front());
  }
  return common;
}

// Each output's trials less their mean, in their standard deviations.
void standardise(std::vector<std::vector<double>>& values) {
  for (std::vector<double>& output : values) {
    const TrialMoments moments = moments_of(output);
    const double scale = moments.standard_deviation > 0.0 ? 1.0 / moments.standard_deviation : 0.0;
    for (double& value : output)
      value = (value - moments.mean) * scale;
  }
}

std::vector<double> correlation_of_trials(const std::vector<std::vector<double>>& standardised) {
  const std::size_t size = standardised.size();
  std::vector<double> matrix(size * size, 1.0);
  for (std::size_t i = 0; i < size; ++i) {
    for (std::size_t j = 0; j < i; ++j) {
      double sum = 0.0;
      for (std::size_t t = 0; t < standardised[i].size(); ++t)
        sum += standardised[i][t] * standardised[j][t];
      const double r = sum / (static_cast<double>(standardised[i].size()) - 1.0);
      matrix[i * size + j] = matrix[j * size + i] = std::clamp(r, -1.0, 1.0);
    }
  }
  return matrix;
}

double quantile(std::vector<double> values, double level) {
  const auto place =
      std::min(static_cast<std::size_t>(std::floor(level * static_cast<double>(values.size()))),
               values.size() - 1);
  std::ranges::nth_element(values, values.begin() + static_cast<std::ptrdiff_t>(place));
  return values[place];
}

JointRegion joint_region(const std::vector<std::vector<double>>& standardised,
                         const std::vector<double>& correlation, double level) {
  const std::size_t size = standardised.size();
  const std::size_t count = standardised.front().size();
  JointRegion region{.ellipsoid_factor = std::numeric_limits<double>::quiet_NaN(),
                     .box_factor = 0.0};
  std::vector<double> reach(count, 0.0);
  for (const std::vector<double>& output : standardised) {
    for (std::size_t t = 0; t < count; ++t)
      reach[t] = std::max(reach[t], std::abs(output[t]));
  }
  region.box_factor = quantile(std::move(reach), level);
  if (smallest_eigenvalue(correlation, size) < singular) return region;
  const auto n = static_cast<Eigen::Index>(size);
  const Eigen::Map<const Eigen::MatrixXd> matrix(correlation.data(), n, n);
  const Eigen::LLT<Eigen::MatrixXd> factor(matrix);
  std::vector<double> distance(count);
  Eigen::VectorXd point(n);
  for (std::size_t t = 0; t < count; ++t) {
    for (std::size_t o = 0; o < size; ++o)
      point[static_cast<Eigen::Index>(o)] = standardised[o][t];
    factor.matrixL().solveInPlace(point);
    distance[t] = point.squaredNorm();
  }
  region.ellipsoid_factor = std::sqrt(quantile(std::move(distance), level));
  return region;
}

struct AdaptiveEnd {
  std::size_t trials = 0;
  std::vector<bool> stable;  // (outputs)
};

AdaptiveEnd adaptive_trials(Trials& trials, const MonteCarloOptions& options,
                            const MeasurementModel& model) {
  std::vector<Stability> outputs;
  for (std::size_t o = 0; o < options.tolerances.size(); ++o)
    outputs.emplace_back(options.tolerances[o], options.level, tail_moments(model, o));
  std::size_t made = 0;
  for (bool stable = false; !stable && made + sequence <= options.most_trials;) {
    trials.extend_to(made + sequence);
    for (std::size_t o = 0; o < outputs.size(); ++o)
      outputs[o].add(trials.output(o, made, made + sequence));
    made += sequence;
    stable = made >= fewest_sequences * sequence &&
             std::ranges::all_of(outputs, [](const Stability& one) { return one.stable(); });
  }
  AdaptiveEnd end{.trials = made, .stable = {}};
  for (const Stability& one : outputs)
    end.stable.push_back(made >= fewest_sequences * sequence && one.stable());
  return end;
}

}  // namespace

MonteCarlo monte_carlo(const MeasurementModel& model, const MonteCarloOptions& options) {
  const std::size_t outputs = model.outputs.size();
  MonteCarloOptions limited = options;
  limited.most_trials = std::min(options.most_trials, most_values / outputs);
  const std::size_t wanted = options.trials.value_or(limited.most_trials);
  if (wanted < 100 || wanted > most_values / outputs)
    throw base::BadInput("--trials", fmt::format("is {}, of {} outputs", wanted, outputs),
                         fmt::format("100 to {}", most_values / outputs));
  Trials trials(model, options.seed);
  MonteCarlo result{.trials = wanted,
                    .adaptive = !options.trials,
                    .stable = true,
                    .outputs = {},
                    .correlation = {1.0},
                    .joint = {}};
  AdaptiveEnd end{.trials = wanted, .stable = std::vector<bool>(outputs, true)};
  if (options.trials) {
    trials.reserve(wanted);
    trials.extend_to(wanted);
  } else {
    end = adaptive_trials(trials, limited, model);
  }
  result.trials = end.trials;
  bool all_have_u = true;
  for (std::size_t o = 0; o < outputs; ++o) {
    result.outputs.push_back(
        output_of(trials.output(o, 0, result.trials), options.level, model, o));
    result.outputs.back().stable = end.stable[o];
    result.stable = result.stable && end.stable[o];
    all_have_u = all_have_u && std::isfinite(result.outputs.back().u);
  }
  if (outputs < 2) return result;
  std::vector<std::vector<double>> common = common_trials(trials, outputs, result.trials);
  if (common.front().size() < 100) return result;
  standardise(common);
  result.correlation = correlation_of_trials(common);
  if (all_have_u) result.joint = joint_region(common, result.correlation, options.level);
  return result;
}

std::vector<std::vector<double>> trials_of(const MeasurementModel& model, std::uint64_t seed,
                                           std::size_t trials) {
  Trials made(model, seed);
  made.extend_to(trials);
  return made.taken(trials);
}

}  // namespace windwright::metrology
