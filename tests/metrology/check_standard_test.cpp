// SPDX-License-Identifier: Apache-2.0
#include "metrology/check_standard.h"

#include <gtest/gtest.h>

namespace windwright::metrology {
namespace {

TEST(En, IsOneWhereTheDifferenceEqualsTheCombinedExpandedUncertainty) {
  EXPECT_DOUBLE_EQ(en(0.5, 0.3, 0.4), 1.0);
  EXPECT_DOUBLE_EQ(en(-0.5, 0.3, 0.4), -1.0);
  EXPECT_EQ(en(0.0, 0.0, 0.0), 0.0);
}

}  // namespace
}  // namespace windwright::metrology
