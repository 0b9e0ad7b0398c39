// SPDX-License-Identifier: Apache-2.0
#include "base/text.h"

#include <gtest/gtest.h>

namespace windwright::base {
namespace {

TEST(NumberText, ReadsBackAsTheSameDouble) {
  for (const double value : {0.1, 1.0 / 3.0, 6.02214076e23, -5e-324, 0.0}) {
    EXPECT_EQ(number_from_text(number_text(value)), value);
  }
}

TEST(NumberText, RefusesWhatIsNotOneFiniteNumber) {
  for (const char* text : {"", "nan", "inf", "1e999", "1,5", "1 2", "0x10", "12abc"}) {
    EXPECT_FALSE(number_from_text(text)) << text;
  }
}

TEST(EditDistance, CountsTheLettersToChange) {
  // The textbook pair of Wagner and Fischer's algorithm (from memory).
  EXPECT_EQ(edit_distance("kitten", "sitting"), 3U);
  EXPECT_EQ(edit_distance("", "abc"), 3U);
  EXPECT_EQ(edit_distance("chord_m", "chord_m"), 0U);
}

}  // namespace
}  // namespace windwright::base
