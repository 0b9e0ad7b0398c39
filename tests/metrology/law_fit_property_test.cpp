// SPDX-License-Identifier: Apache-2.0
#include "base/random.h"
#include "metrology/fit.h"
#include "metrology/law.h"
#include "metrology/law_fit.h"

#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include <cmath>
#include <cstddef>
#include <cstdint>
#include <vector>

namespace windwright::metrology {
namespace {

// A line with scatter in both columns; uncertainties differ from row to row.
Readings noisy_line(std::uint64_t seed) {
  const base::RandomStream random(seed, "line");
  Readings table;
  constexpr std::size_t count = 9;
  for (std::size_t i = 0; i < count; ++i) {
    const double x = static_cast<double>(i);
    table.u_reference.push_back(0.05 + 0.1 * random.uniform(100 + i));
    table.u_reading.push_back(0.05 + 0.2 * random.uniform(200 + i));
    table.reference.push_back(x + table.u_reference.back() * random.normal(i));
    table.reading.push_back(1.0 + 0.7 * x + table.u_reading.back() * random.normal(50 + i));
  }
  return table;
}

std::uint64_t a_seed() {
  return *rc::gen::inRange<std::uint64_t>(0, 1000000);
}

void require_near(double got, double wanted, double tolerance) {
  RC_ASSERT(std::abs(got - wanted) <= tolerance * std::max(1.0, std::abs(wanted)));
}

// Diagonal covariance of references and readings, with row correlations where there are any.
std::vector<double> covariance_of(const Readings& table) {
  const std::size_t n = table.reading.size();
  std::vector<double> result(4 * n * n, 0.0);
  for (std::size_t i = 0; i < n; ++i) {
    const double u_x = table.u_reference[i];
    const double u_y = table.u_reading[i];
    result[i * 2 * n + i] = u_x * u_x;
    result[(n + i) * 2 * n + n + i] = u_y * u_y;
    if (table.correlation.empty()) continue;
    result[i * 2 * n + n + i] = table.correlation[i] * u_x * u_y;
    result[(n + i) * 2 * n + i] = table.correlation[i] * u_x * u_y;
  }
  return result;
}

Readings with_covariance(Readings table, std::vector<double> covariance) {
  table.u_reference.clear();
  table.u_reading.clear();
  table.correlation.clear();
  table.covariance = std::move(covariance);
  return table;
}

// A reading y + k x has errors correlated with those of x; its line is that of y with k more slope.
RC_GTEST_PROP(FitLaw, CorrelatedErrorsOfASumGiveTheLineOfItsPart, ()) {
  const Readings plain = noisy_line(a_seed());
  const double k = *rc::gen::inRange(-20, 21) / 10.0;
  Readings sum = plain;
  for (std::size_t i = 0; i < plain.reading.size(); ++i) {
    sum.reading[i] += k * plain.reference[i];
    sum.u_reading[i] = std::hypot(plain.u_reading[i], k * plain.u_reference[i]);
    sum.correlation.push_back(k * plain.u_reference[i] / sum.u_reading[i]);
  }
  const Fit of_plain = fit_polynomial(plain, 1, "plain");
  const auto law = law_of_model("line", "test");
  for (const Fit& fit : {fit_polynomial(sum, 1, "sum"), fit_law(*law, sum, "sum"),
                         fit_law(*law, with_covariance(sum, covariance_of(sum)), "sum")}) {
    require_near(fit.coefficients[0], of_plain.coefficients[0], 1e-9);
    require_near(fit.coefficients[1], of_plain.coefficients[1] + k, 1e-9);
    require_near(fit.chi_squared, of_plain.chi_squared, 1e-8);
    for (std::size_t entry = 0; entry < 4; ++entry)
      require_near(fit.covariance[entry], of_plain.covariance[entry], 1e-9);
  }
}

// An error common to all readings moves the offset alone: its variance adds to that of the offset
// and to nothing else. One common to all references does the same through the slope.
RC_GTEST_PROP(FitLaw, CommonErrorsAddToTheOffsetAlone, ()) {
  const Readings table = noisy_line(a_seed());
  const std::size_t n = table.reading.size();
  const double common = *rc::gen::inRange(1, 30) / 10.0;
  const bool of_readings = *rc::gen::arbitrary<bool>();
  std::vector<double> covariance = covariance_of(table);
  const std::size_t first = of_readings ? n : 0;
  for (std::size_t i = 0; i < n; ++i) {
    for (std::size_t j = 0; j < n; ++j)
      covariance[(first + i) * 2 * n + first + j] += common * common;
  }
  const auto law = law_of_model("line", "test");
  const Fit apart = fit_polynomial(table, 1, "apart");
  const Fit joint = fit_law(*law, with_covariance(table, covariance), "joint");
  const double moved = common * (of_readings ? 1.0 : apart.coefficients[1]);
  // The linearisation is at the adjusted references, which a common error shifts.
  const double tolerance = 1e-8;
  require_near(joint.coefficients[1], apart.coefficients[1], tolerance);
  require_near(joint.coefficients[0], apart.coefficients[0], tolerance);
  require_near(joint.chi_squared, apart.chi_squared, tolerance);
  require_near(joint.covariance[3], apart.covariance[3], tolerance);
  require_near(joint.covariance[0], apart.covariance[0] + moved * moved, tolerance);
}

// The laws fit what they made, whatever the scale of the reading.
RC_GTEST_PROP(FitLaw, GivesBackWhatALawMade, ()) {
  struct Made {
    const char* model;
    std::vector<double> coefficients;
    double low;
    double high;
  };
  const Made made = *rc::gen::element(
      Made{"king", {1.4, 0.9, 0.45}, 0.5, 20.0}, Made{"king", {2.0, 0.3, 0.6}, 1.0, 40.0},
      Made{"pitot", {0.5, 0.002}, 0.0, 30.0},
      Made{"pt100:4", {100.1, 3.91e-3, -5.8e-7, -4e-12}, -100.0, 200.0},
      Made{"thermocouple:T", {0.02, 1.01}, -100.0, 300.0}, Made{"shunt", {0.001}, 1.0, 20.0},
      Made{"cup", {0.3, 0.05}, 50.0, 300.0},
      Made{"ntc", {1.13e-3, 2.34e-4, 8.8e-8}, 1000.0, 50000.0});
  const auto law = law_of_model(made.model, "test");
  const std::vector<Extended> c(made.coefficients.begin(), made.coefficients.end());
  std::vector<Extended> gradient(c.size());
  Readings table;
  const int count = *rc::gen::inRange(6, 20);
  for (int i = 0; i < count; ++i) {
    const double x = made.low + (made.high - made.low) * i / (count - 1.0);
    Extended slope = 0;
    const auto y = static_cast<double>(law->evaluate(c, x, slope, gradient));
    (law->is_backward() ? table.reading : table.reference).push_back(x);
    (law->is_backward() ? table.reference : table.reading).push_back(y);
  }
  const Fit fit = fit_law(*law, table, "made");
  for (std::size_t k = 0; k < c.size(); ++k)
    RC_ASSERT(std::abs(fit.coefficients[k] / made.coefficients[k] - 1.0) < 1e-6);
}

// Derivatives are exact: the fit stands on them.
RC_GTEST_PROP(Law, SlopeAndGradientAreTheDifferencesOfItsValue, ()) {
  struct At {
    const char* model;
    std::vector<Extended> c;
    Extended x;
  };
  const At at = *rc::gen::element(
      At{"polynomial:3", {1, 2, -3, 0.5L}, 1.7L}, At{"king", {1.4L, 0.9L, 0.45L}, 7.0L},
      At{"king:0.5", {1.4L, 0.9L}, 7.0L}, At{"pitot", {0.1L, 0.6L}, 5.0L},
      At{"pt100:4", {100, 3.9e-3L, -5.8e-7L, -4e-12L}, -80.0L},
      At{"pt100", {100, 3.9e-3L, -5.8e-7L}, 80.0L}, At{"thermocouple:K", {0.1L, 1.02L}, 130.0L},
      At{"cup", {0.3L, 0.05L}, 90.0L}, At{"ntc", {1.13e-3L, 2.34e-4L, 8.8e-8L}, 9000.0L},
      At{"divider", {0.1L}, 3.0L});
  const auto law = law_of_model(at.model, "test");
  std::vector<Extended> gradient(at.c.size());
  std::vector<Extended> ignored(at.c.size());
  Extended slope = 0;
  Extended none = 0;
  law->evaluate(at.c, at.x, slope, gradient);
  // Central differences; those of the thermocouple are in double precision.
  const Extended relative = 1e-5L;
  const Extended step = relative * at.x;
  const Extended rise = law->evaluate(at.c, at.x + step, none, ignored) -
                        law->evaluate(at.c, at.x - step, none, ignored);
  RC_ASSERT(std::abs(rise / (2 * step) / slope - 1) < 1e-6L);
  for (std::size_t k = 0; k < at.c.size(); ++k) {
    std::vector<Extended> up = at.c;
    std::vector<Extended> down = at.c;
    const Extended of_k = relative * std::abs(at.c[k]);
    up[k] += of_k;
    down[k] -= of_k;
    const Extended change =
        law->evaluate(up, at.x, none, ignored) - law->evaluate(down, at.x, none, ignored);
    RC_ASSERT(std::abs(change / (2 * of_k) / gradient[k] - 1) < 1e-6L);
  }
}

}  // namespace
}  // namespace windwright::metrology
