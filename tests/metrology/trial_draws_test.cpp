// SPDX-License-Identifier: Apache-2.0
#include "metrology/trial_draws.h"

#include "base/random.h"
#include "metrology/block_program.h"
#include "metrology/measurement_model.h"
#include "metrology/uncertain_input.h"

#include <boost/math/distributions/arcsine.hpp>
#include <boost/math/distributions/gamma.hpp>
#include <boost/math/distributions/normal.hpp>
#include <boost/math/distributions/students_t.hpp>
#include <boost/math/distributions/triangular.hpp>
#include <boost/math/distributions/uniform.hpp>
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <functional>
#include <vector>

namespace windwright::metrology {
namespace {

constexpr std::size_t count = 160 * block_trials;

MeasurementModel model_of(const std::vector<UncertainInput>& inputs) {
  MeasurementModel model;
  model.inputs = inputs;
  model.program.inputs = inputs.size();
  return model;
}

// (inputs) of count trials.
std::vector<std::vector<double>> drawn(const MeasurementModel& model, std::uint64_t seed = 3) {
  const TrialDraws draws(model, seed);
  std::vector<double> rows(model.inputs.size() * block_trials);
  std::vector<std::vector<double>> values(model.inputs.size());
  for (std::size_t first = 0; first < count; first += block_trials) {
    draws.fill(first, rows.data());
    for (std::size_t i = 0; i < values.size(); ++i)
      values[i].insert(values[i].end(), rows.begin() + static_cast<long>(i * block_trials),
                       rows.begin() + static_cast<long>((i + 1) * block_trials));
  }
  return values;
}

// Largest distance of the sample's distribution from a given one, in units of 1/sqrt(n): above
// 1.95 with a chance of 0.1 % (Kolmogorov).
double kolmogorov(std::vector<double> values, const std::function<double(double)>& cdf) {
  std::sort(values.begin(), values.end());
  const auto n = static_cast<double>(values.size());
  double largest = 0.0;
  for (std::size_t k = 0; k < values.size(); ++k) {
    const double expected = cdf(values[k]);
    largest = std::max({largest, std::abs(expected - static_cast<double>(k) / n),
                        std::abs(expected - static_cast<double>(k + 1) / n)});
  }
  return largest * std::sqrt(n);
}

UncertainInput limited(Distribution distribution) {
  return with_limits({.name = "x",
                      .value = 10.0,
                      .distribution = distribution,
                      .half_width = 2.0,
                      .top_half_width = 0.5,
                      .half_width_inexactness = 0.7});
}

TEST(TrialDraws, AreTheNumbersOfTheStreamOfTheSameName) {
  const std::vector<double> normal =
      drawn(model_of({{.name = "v", .value = 5.0, .standard_uncertainty = 2.0}})).at(0);
  const base::RandomStream stream(3, "v");
  for (std::size_t n = 0; n < 5000; ++n)
    EXPECT_NEAR(normal[n], 5.0 + 2.0 * stream.normal(n), 1e-14);
  const std::vector<double> uniform = drawn(model_of({limited(Distribution::rectangular)})).at(0);
  const base::RandomStream of_x(3, "x");
  for (std::size_t n = 0; n < 5000; ++n)
    EXPECT_EQ(uniform[n], 10.0 + (2.0 * (of_x.uniform(2 * n) + of_x.uniform(2 * n) - 1.0) +
                                  0.0 * of_x.uniform(2 * n + 1)));
}

// Boost.Math's distributions as the reference.
TEST(TrialDraws, HaveTheDistributionsTheyAreNamedAfter) {
  namespace bm = boost::math;
  const auto one = [](const UncertainInput& input) { return drawn(model_of({input})).at(0); };
  const auto of = [](auto distribution) {
    return [distribution](double x) { return bm::cdf(distribution, x); };
  };
  EXPECT_LT(kolmogorov(one({.name = "n", .value = 1.0, .standard_uncertainty = 0.3}),
                       of(bm::normal(1.0, 0.3))),
            1.95);
  EXPECT_LT(kolmogorov(one(limited(Distribution::rectangular)), of(bm::uniform(8.0, 12.0))), 1.95);
  EXPECT_LT(kolmogorov(one(limited(Distribution::triangular)), of(bm::triangular(8.0, 10.0, 12.0))),
            1.95);
  EXPECT_LT(kolmogorov(one(limited(Distribution::arcsine)), of(bm::arcsine(8.0, 12.0))), 1.95);
  for (const double dof : {1.0, 2.0, 4.5, 30.0, 1e6}) {
    const bm::students_t t(dof);
    EXPECT_LT(kolmogorov(one({.name = "t",
                              .value = 1.0,
                              .standard_uncertainty = 0.3,
                              .degrees_of_freedom = dof}),
                         [&t](double x) { return bm::cdf(t, (x - 1.0) / 0.3); }),
              1.95)
        << dof;
  }
}

// A trapezoid's and a curvilinear trapezoid's distribution functions, integrated by hand: JCGM
// 101:2008, 6.4.4 and 6.4.3.
TEST(TrialDraws, OfTrapezoidsFollowTheirDensities) {
  const auto by_density = [](const std::function<double(double)>& density) {
    constexpr int steps = 40'000;
    std::vector<double> sums{0.0};
    for (int k = 0; k < steps; ++k)
      sums.push_back(sums.back() + density(7.0 + 6.0 * (k + 0.5) / steps));
    return [sums](double x) {
      const double place = std::clamp((x - 7.0) / 6.0, 0.0, 1.0) * steps;
      const auto k = std::min(static_cast<std::size_t>(place), sums.size() - 2);
      const double part = place - static_cast<double>(k);
      return (sums[k] + part * (sums[k + 1] - sums[k])) / sums.back();
    };
  };
  const auto trapezoid = [](double x) {
    return std::clamp((2.0 - std::abs(x - 10.0)) / 1.5, 0.0, 1.0);
  };
  EXPECT_LT(kolmogorov(drawn(model_of({limited(Distribution::trapezoidal)})).at(0),
                       by_density(trapezoid)),
            1.95);
  const auto curvilinear = [](double x) {
    const double r = std::abs(x - 10.0);
    return r > 2.7 ? 0.0 : std::log(2.7 / std::max(r, 1.3));
  };
  EXPECT_LT(kolmogorov(drawn(model_of({limited(Distribution::curvilinear_trapezoid)})).at(0),
                       by_density(curvilinear)),
            1.95);
}

TEST(TrialDraws, HaveTheStatedVarianceAndKurtosis) {
  for (const Distribution distribution :
       {Distribution::rectangular, Distribution::triangular, Distribution::trapezoidal,
        Distribution::arcsine, Distribution::curvilinear_trapezoid}) {
    const UncertainInput input = limited(distribution);
    const std::vector<double> values = drawn(model_of({input})).at(0);
    double second = 0.0;
    double fourth = 0.0;
    for (const double value : values) {
      second += std::pow(value - 10.0, 2) / static_cast<double>(count);
      fourth += std::pow(value - 10.0, 4) / static_cast<double>(count);
    }
    EXPECT_NEAR(std::sqrt(second) / input.standard_uncertainty, 1.0, 0.015);
    EXPECT_NEAR(fourth / (second * second) / kurtosis(input), 1.0, 0.03);
  }
}

TEST(TrialDraws, OfAGroupAreCorrelatedAsStated) {
  std::vector<UncertainInput> inputs;
  for (const char* name : {"a", "b", "c"})
    inputs.push_back({.name = name, .value = 1.0, .standard_uncertainty = 0.5});
  MeasurementModel model = model_of(inputs);
  model.groups =
      groups_of(inputs, std::vector<StatedCorrelation>{{0, 2, 0.8, "t"}, {1, 2, -0.4, "t"}});
  const auto correlation = [](const std::vector<double>& a, const std::vector<double>& b) {
    double sum = 0.0;
    for (std::size_t n = 0; n < count; ++n)
      sum += (a[n] - 1.0) * (b[n] - 1.0) / (0.25 * static_cast<double>(count));
    return sum;
  };
  const auto values = drawn(model);
  EXPECT_NEAR(correlation(values[0], values[2]), 0.8, 0.03);
  EXPECT_NEAR(correlation(values[1], values[2]), -0.4, 0.03);
  EXPECT_NEAR(correlation(values[0], values[1]), 0.0, 0.03);
  // With shared degrees of freedom every linear function has Student's distribution.
  for (UncertainInput& input : model.inputs)
    input.degrees_of_freedom = 5.0;
  model.groups =
      groups_of(model.inputs, std::vector<StatedCorrelation>{{0, 2, 0.8, "t"}, {1, 2, -0.4, "t"}});
  const auto joint = drawn(model);
  std::vector<double> sum;
  for (std::size_t n = 0; n < count; ++n)
    sum.push_back((joint[0][n] - joint[2][n]) / (0.5 * std::sqrt(2.0 - 1.6)));
  const boost::math::students_t t(5.0);
  EXPECT_LT(kolmogorov(sum, [&t](double x) { return boost::math::cdf(t, x); }), 1.95);
}

// Each member of a group with degrees of freedom of its own follows its own t-distribution.
TEST(TrialDraws, OfAGroupKeepTheirOwnDegreesOfFreedom) {
  std::vector<UncertainInput> inputs{
      {.name = "a", .value = 1.0, .standard_uncertainty = 0.5, .degrees_of_freedom = 6.0},
      {.name = "b", .value = 1.0, .standard_uncertainty = 0.5}};
  MeasurementModel model = model_of(inputs);
  model.groups = groups_of(inputs, std::vector<StatedCorrelation>{{0, 1, 0.7, "t"}});
  const auto values = drawn(model);
  const boost::math::students_t t(6.0);
  const boost::math::normal normal(1.0, 0.5);
  EXPECT_LT(kolmogorov(values[0], [&t](double x) { return boost::math::cdf(t, (x - 1.0) / 0.5); }),
            1.95);
  EXPECT_LT(kolmogorov(values[1], [&normal](double x) { return boost::math::cdf(normal, x); }),
            1.95);
  // Signs of correlated normal numbers agree with a chance of 1/2 + asin(0.7) / pi; scales of
  // their own do not change signs.
  double agree = 0.0;
  for (std::size_t n = 0; n < count; ++n)
    agree += (values[0][n] > 1.0) == (values[1][n] > 1.0) ? 1.0 : 0.0;
  EXPECT_NEAR(agree / static_cast<double>(count), 0.5 + std::asin(0.7) / 3.14159265358979, 0.01);
}

TEST(TrialDraws, GammaVariablesHaveTheirDistribution) {
  const base::RandomStream stream(9, "gamma");
  for (const double shape : {0.5, 1.0, 2.5, 40.0}) {
    std::vector<double> values;
    for (std::size_t n = 0; n < 40'000; ++n)
      values.push_back(gamma_variable(stream, n, shape));
    const boost::math::gamma_distribution<> gamma(shape);
    EXPECT_LT(kolmogorov(values, [&gamma](double x) { return boost::math::cdf(gamma, x); }), 1.95)
        << shape;
  }
}

TEST(TrialDraws, OfAnInputDoNotDependOnTheOthers) {
  const UncertainInput v{.name = "v", .value = 5.0, .standard_uncertainty = 2.0};
  const UncertainInput w{.name = "w", .value = 1.0, .standard_uncertainty = 1.0};
  EXPECT_EQ(drawn(model_of({v})).at(0), drawn(model_of({w, v})).at(1));
  EXPECT_NE(drawn(model_of({v}), 3).at(0), drawn(model_of({v}), 4).at(0));
}

}  // namespace
}  // namespace windwright::metrology
