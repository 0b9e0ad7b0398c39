// SPDX-License-Identifier: Apache-2.0
#include "metrology/propagation.h"

#include "base/errors.h"
#include "metrology/derivatives.h"
#include "metrology/measurement_model.h"
#include "metrology/monte_carlo.h"
#include "metrology/series_propagation.h"
#include "metrology/student.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <span>
#include <string>
#include <vector>

namespace windwright::metrology {

namespace {

constexpr double singular = 1e-6;  // least eigenvalue of a correlation matrix that has an inverse
// A numerical tolerance of a fifth leaves the comparison to the law, not to chance: JCGM 101, 8.2.
constexpr double share_for_validation = 0.2;
constexpr double chance = 3.0;  // standard errors that may separate equal ends

void refuse_without_value(const MeasurementModel& model, const SeriesPropagation& series) {
  for (std::size_t o = 0; o < model.outputs.size(); ++o) {
    const double value = series.first_order[o].value;
    if (std::isfinite(value)) continue;
    throw base::BadInput(model.places[o],
                         fmt::format("{} {} at the inputs' values", model.outputs[o],
                                     std::isnan(value) ? "has no value" : "is infinite"),
                         "inputs for which every root, logarithm and quotient has a value");
  }
}

// The smallest that is positive and finite, or 0.
double smallest_of(std::span<const double> uncertainties) {
  double smallest = 0.0;
  for (const double u : uncertainties) {
    if (std::isfinite(u) && u > 0.0 && (smallest == 0.0 || u < smallest)) smallest = u;
  }
  return smallest;
}

// The most significant digits of u, up to four, to which the ends agree beyond chance.
int agreed_digits(const Validation& check, const MonteCarloOutput& trials, double u) {
  const double difference = std::max({check.low_difference, check.high_difference,
                                      2.0 * trials.intervals.low_standard_error,
                                      2.0 * trials.intervals.high_standard_error});
  int digits = 0;
  while (digits < 4 && difference <= numerical_tolerance(u, digits + 1))
    ++digits;
  return digits;
}

Validation validation_of(const SeriesResult& series, const MonteCarloOutput& trials, double u,
                         int digits) {
  Validation check{
      .tolerance = numerical_tolerance(u, digits),
      .low_difference = std::abs(series.interval.low - trials.intervals.symmetric.low),
      .high_difference = std::abs(series.interval.high - trials.intervals.symmetric.high),
      .validated = false,
      .open = false,
      .agreed_digits = 0};
  const auto differs_by = [&](double low_chance, double high_chance) {
    return std::max(check.low_difference - low_chance, check.high_difference - high_chance);
  };
  const bool sharp = trials.stable && trials.numerical_tolerance <= check.tolerance;
  check.validated = sharp && differs_by(0.0, 0.0) <= check.tolerance;
  check.open =
      !sharp && differs_by(chance * trials.intervals.low_standard_error,
                           chance * trials.intervals.high_standard_error) <= check.tolerance;
  check.agreed_digits = agreed_digits(check, trials, u);
  return check;
}

std::vector<double> correlation_from_covariance(const std::vector<double>& covariance,
                                                std::size_t size) {
  std::vector<double> correlation(size * size);
  for (std::size_t i = 0; i < size; ++i) {
    for (std::size_t j = 0; j < size; ++j) {
      correlation[i * size + j] =
          i == j ? 1.0
                 : covariance[i * size + j] /
                       std::sqrt(covariance[i * size + i] * covariance[j * size + j]);
    }
  }
  return correlation;
}

// The normal distribution's: JCGM 102:2011, 6.5; the box by Sidak's inequality, which is on the
// safe side of correlated outputs.
JointRegion normal_region(const std::vector<double>& correlation, std::size_t size, double level) {
  const bool finite = std::ranges::all_of(correlation, [](double r) { return std::isfinite(r); });
  const bool regular = finite && smallest_eigenvalue(correlation, size) >= singular;
  const auto n = static_cast<double>(size);
  return {.ellipsoid_factor = regular ? std::sqrt(chi_squared_quantile(level, n))
                                      : std::numeric_limits<double>::quiet_NaN(),
          .box_factor =
              student_factor(std::pow(level, 1.0 / n), std::numeric_limits<double>::infinity())};
}

std::string names(const MeasurementModel& model, std::span<const std::size_t> inputs) {
  std::vector<std::string> list;
  for (const std::size_t input : inputs)
    list.push_back(model.inputs[input].name);
  return fmt::format("{}", fmt::join(list, ", "));
}

// Degrees of freedom that the draws leave out.
void remark_on_inputs(const MeasurementModel& model, std::vector<std::string>& remarks) {
  std::vector<std::size_t> limited;
  for (std::size_t i = 0; i < model.inputs.size(); ++i) {
    const UncertainInput& input = model.inputs[i];
    if (input.distribution != Distribution::normal && std::isfinite(input.degrees_of_freedom))
      limited.push_back(i);
  }
  if (!limited.empty())
    remarks.push_back(fmt::format(
        "Degrees of freedom of {} count in the effective degrees of freedom alone: the trials take "
        "their limits as known (curvilinear_trapezoid does not).",
        names(model, limited)));
}

}  // namespace

std::string no_moments(const MonteCarloOutput& trials) {
  const TailMoments& exist = trials.exist;
  if (exist.variance) return {};
  std::vector<std::string> reasons;
  if (!exist.input.empty()) {
    const std::string growth =
        std::isfinite(exist.growth)
            ? fmt::format("as the power {:.3g} of {}", exist.growth, exist.input)
            : fmt::format("faster than any power of {}", exist.input);
    reasons.push_back(
        fmt::format("far out it grows {}, whose t-distribution has {:.3g} degrees of freedom",
                    growth, exist.degrees_of_freedom));
  }
  if (const Pole& pole = exist.pole; !pole.leaves_variance()) {
    const std::string growth =
        std::isfinite(pole.order)
            ? fmt::format("as the power {:.3g} of one over the distance from there", pole.order)
            : "faster than any power of one over the distance from there";
    // The bare rule, order below 1, is not the one that holds here.
    const std::string chance =
        pole.dimension == 1.0
            ? ""
            : fmt::format(" (the chance to be that near goes as its power {:.3g})", pole.dimension);
    reasons.push_back(fmt::format("near {} it grows {}{}", pole.near, growth, chance));
  }
  return fmt::format("{}: the trials have intervals, but {}", fmt::join(reasons, ", and "),
                     exist.mean ? "their standard uncertainty does not exist"
                                : "neither a mean nor a standard uncertainty exists");
}

std::string open_moments(const MonteCarloOutput& trials) {
  const TailMoments& exist = trials.exist;
  if (exist.undecided.empty()) return {};
  return fmt::format(
      "near {} it goes to infinity, and it was not decided whether {} there: rely on the intervals",
      exist.undecided,
      exist.variance ? "a mean and a standard uncertainty exist" : "a mean exists");
}

namespace {

void remark_on_output(const PropagatedOutput& output, bool kink,
                      std::vector<std::string>& remarks) {
  const std::string& name = output.name;
  if (std::isnan(output.first_order.u) || std::isinf(output.first_order.u))
    remarks.push_back(fmt::format(
        "{} has no derivative at the inputs' values: the law of propagation does not apply, the "
        "trials do.",
        name));
  if (kink)
    remarks.push_back(
        fmt::format("{} has a kink (abs, min or max) exactly at the inputs' values: first and "
                    "second order take one side of it.",
                    name));
  if (const std::string reason = no_moments(output.monte_carlo); !reason.empty())
    remarks.push_back(fmt::format("{}: {}.", name, reason));
  if (const std::string open = open_moments(output.monte_carlo); !open.empty())
    remarks.push_back(fmt::format("{}: {}.", name, open));
  if (output.monte_carlo.not_finite > 0)
    remarks.push_back(fmt::format(
        "{} has no value in {} of {} trials: mean, standard uncertainty and intervals are those of "
        "the others. The inputs' distributions reach to where a root, logarithm or quotient has "
        "none.",
        name, output.monte_carlo.not_finite,
        output.monte_carlo.not_finite + output.monte_carlo.trials));
  if (output.monte_carlo.numerical_tolerance > output.second_order_check.tolerance)
    remarks.push_back(fmt::format(
        "{}: so few trials leave {:.2g} open in their figures, more than the tolerance of {:.2g}.",
        name, output.monte_carlo.numerical_tolerance, output.second_order_check.tolerance));
}

PropagatedOutput output_of(const MeasurementModel& model, const SeriesPropagation& series,
                           const MonteCarlo& trials, std::size_t o, int digits) {
  PropagatedOutput output{.name = model.outputs[o],
                          .first_order = series.first_order[o],
                          .second_order = series.second_order[o],
                          .second_order_matters = false,
                          .monte_carlo = trials.outputs[o],
                          .first_order_check = {},
                          .second_order_check = {},
                          .budget = series.budgets[o]};
  const std::vector<double> compared{output.first_order.u, output.second_order.u,
                                     output.monte_carlo.u};
  const double u = smallest_of(compared);
  const double moved = std::max(std::abs(output.second_order.value - output.first_order.value),
                                std::abs(output.second_order.u - output.first_order.u));
  output.second_order_matters = moved > numerical_tolerance(u, digits);
  output.first_order_check = validation_of(output.first_order, output.monte_carlo, u, digits);
  // Where first order sees next to nothing, second order may still be right.
  const double without_first = smallest_of(std::span(compared).subspan(1));
  output.second_order_check =
      validation_of(output.second_order, output.monte_carlo, without_first, digits);
  return output;
}

// What the adaptive trials have to reach; the second-order uncertainty is the better guess of the
// trials' own.
std::vector<double> tolerances_of(const SeriesPropagation& series, int digits) {
  std::vector<double> tolerances;
  for (std::size_t o = 0; o < series.first_order.size(); ++o) {
    const double second = series.second_order[o].u;
    const double u = std::isfinite(second) && second > 0.0 ? second : series.first_order[o].u;
    const double tolerance = share_for_validation * numerical_tolerance(u, digits);
    tolerances.push_back(std::isfinite(tolerance) ? tolerance : 0.0);
  }
  return tolerances;
}

}  // namespace

double numerical_tolerance(double standard_uncertainty, int significant_digits) {
  if (!(standard_uncertainty > 0.0)) return 0.0;
  // u = c 10^l with so many digits in c, after rounding: 0.0996 is 10 10^-2 with two.
  double exponent = std::floor(std::log10(standard_uncertainty)) - (significant_digits - 1);
  const double c = std::round(standard_uncertainty / std::pow(10.0, exponent));
  if (c >= std::pow(10.0, significant_digits)) exponent += 1.0;
  return 0.5 * std::pow(10.0, exponent);
}

Propagation propagation(const MeasurementModel& model, const PropagationOptions& options) {
  const SeriesPropagation series = series_propagation(model, options.level);
  refuse_without_value(model, series);
  const std::size_t outputs = model.outputs.size();
  Propagation result{.outputs = {},
                     .correlation = correlation_from_covariance(series.covariance, outputs),
                     .monte_carlo = monte_carlo(
                         model, {.trials = options.trials,
                                 .tolerances = tolerances_of(series, options.significant_digits),
                                 .seed = options.seed,
                                 .level = options.level}),
                     .first_order_joint = {},
                     .remarks = {}};
  if (outputs > 1)
    result.first_order_joint = normal_region(result.correlation, outputs, options.level);
  remark_on_inputs(model, result.remarks);
  const std::vector<bool> kinks = at_kink(model.program, input_values(model));
  for (std::size_t o = 0; o < outputs; ++o) {
    result.outputs.push_back(
        output_of(model, series, result.monte_carlo, o, options.significant_digits));
    remark_on_output(result.outputs.back(), kinks[o], result.remarks);
  }
  if (!result.monte_carlo.stable)
    result.remarks.push_back(fmt::format(
        "The trials ended at {}, before mean, u and intervals were stable to a fifth of "
        "the tolerance; --trials or fewer --digits.",
        result.monte_carlo.trials));
  return result;
}

}  // namespace windwright::metrology
