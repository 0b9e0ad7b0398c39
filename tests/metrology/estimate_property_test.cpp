// SPDX-License-Identifier: Apache-2.0
#include "metrology/estimate.h"

#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include <cmath>
#include <span>
#include <string>
#include <vector>

namespace windwright::metrology {
namespace {

Estimate an_estimate() {
  Estimate made(*rc::gen::inRange(100, 2000) / 100.0);
  for (const char* name : {"a:standard", "b:calibration-0", "b:calibration-1", "c:mean#3"}) {
    if (*rc::gen::arbitrary<bool>()) {
      made.add(name, {*rc::gen::inRange(-100, 101) / 1000.0,
                      static_cast<double>(*rc::gen::inRange(1, 40))});
    }
  }
  return made;
}

RC_GTEST_PROP(Estimate, LessItselfHasNoUncertainty, ()) {
  const Estimate a = an_estimate();
  RC_ASSERT((a - a).u() == 0.0);
  RC_ASSERT(std::abs((a / a).u()) <= 1e-16);
}

RC_GTEST_PROP(Estimate, CovarianceIsSymmetricAndBounded, ()) {
  const Estimate a = an_estimate();
  const Estimate b = an_estimate();
  RC_ASSERT(covariance(a, b) == covariance(b, a));
  RC_ASSERT(std::abs(covariance(a, b)) <= a.u() * b.u() * (1.0 + 1e-12));
  RC_ASSERT(std::abs(covariance(a, a) - a.u() * a.u()) <= 1e-15);
}

RC_GTEST_PROP(Estimate, VarianceOfASumHasTheCovarianceInIt, ()) {
  const Estimate a = an_estimate();
  const Estimate b = an_estimate();
  const double wanted = a.u() * a.u() + b.u() * b.u() + 2.0 * covariance(a, b);
  RC_ASSERT(std::abs((a + b).u() * (a + b).u() - wanted) <= 1e-14);
}

RC_GTEST_PROP(Estimate, RandomAndSystematicPartsAddUpInSquares, ()) {
  const Estimate a = an_estimate();
  RC_ASSERT(std::abs(std::hypot(a.u_random(), a.u_systematic()) - a.u()) <= 1e-15);
}

RC_GTEST_PROP(Estimate, DegreesOfFreedomLieBetweenTheLeastAndTheSum, ()) {
  const Estimate a = an_estimate();
  double least = 1e300;
  double sum = 0.0;
  for (const auto& [input, contribution] : a.contributions()) {
    if (contribution.u == 0.0) continue;
    least = std::min(least, contribution.dof);
    sum += contribution.dof;
  }
  if (a.u() > 0.0) {
    RC_ASSERT(a.dof() >= least * (1.0 - 1e-12));
    RC_ASSERT(a.dof() <= sum * (1.0 + 1e-12));
  }
}

RC_GTEST_PROP(Propagate, AgreesWithTheAlgebra, ()) {
  const std::vector<Estimate> x{an_estimate(), an_estimate(), an_estimate()};
  const Estimate algebra = x[0] * x[1] / power(x[2], 3.0);
  const Estimate numeric =
      propagate([](std::span<const double> p) { return p[0] * p[1] / (p[2] * p[2] * p[2]); }, x);
  RC_ASSERT(std::abs(numeric.value() - algebra.value()) <= 1e-12 * std::abs(algebra.value()));
  // Central differences are off by a share of 20 / 24 (u / x)^2 of the part of x_2, before parts of
  // one input cancel; u / x is at most 0.2 here: four inputs of 0.1.
  const double part = 3.0 * std::abs(algebra.value()) * x[2].u() / x[2].value();
  RC_ASSERT(std::abs(numeric.u() - algebra.u()) <= 0.04 * 21.0 / 24.0 * part + 1e-9);
}

}  // namespace
}  // namespace windwright::metrology
