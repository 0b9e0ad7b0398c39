// SPDX-License-Identifier: Apache-2.0
#include "metrology/correlated.h"

#include <gtest/gtest.h>

#include <cmath>
#include <vector>

namespace windwright::metrology {
namespace {

TEST(EstimatesOf, GiveTheCovarianceBack) {
  const std::vector<double> covariance{4.0, 1.2, -0.5, 1.2, 9.0, 2.0, -0.5, 2.0, 1.0};
  const std::vector<double> means{1.0, 2.0, 3.0};
  const auto got =
      estimates_of({.values = means, .covariance = covariance, .dof = 12.0}, "mean", "#7");
  for (std::size_t i = 0; i < 3; ++i) {
    EXPECT_EQ(got[i].value(), means[i]);
    EXPECT_NEAR(got[i].dof(), 12.0, 1e-12);
    EXPECT_EQ(got[i].u_systematic(), 0.0);
    for (std::size_t j = 0; j < 3; ++j) {
      EXPECT_NEAR(windwright::metrology::covariance(got[i], got[j]), covariance[i * 3 + j], 1e-14);
    }
  }
}

TEST(EstimatesOf, ValuesThatMoveTogetherHaveADifferenceWithoutUncertainty) {
  const std::vector<double> covariance{1.0, 2.0, 2.0, 4.0};
  const std::vector<double> means{1.0, 2.0};
  const auto got = estimates_of({.values = means, .covariance = covariance, .dof = 5.0}, "m", "#1");
  EXPECT_NEAR((2.0 * got[0] - got[1]).u(), 0.0, 1e-15);
}

TEST(Decorrelated, ADirectionWithoutVarianceGetsAColumnOfZeros) {
  const std::vector<double> got = decorrelated(std::vector{0.0, 0.0, 0.0, 9.0}, 2);
  EXPECT_EQ(got, (std::vector{0.0, 0.0, 0.0, 3.0}));
}

}  // namespace
}  // namespace windwright::metrology
