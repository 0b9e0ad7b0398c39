// SPDX-License-Identifier: Apache-2.0
#include "report/budget_chart.h"

#include "metrology/budget_file.h"
#include "metrology/propagation.h"

#include <gtest/gtest.h>

#include <string>

namespace windwright::report {
namespace {

std::string picture(const std::string& title) {
  metrology::BudgetFile budget =
      metrology::budget_from_file(SOURCE_FOLDER "/examples/budgets/gum-h2.toml");
  budget.title = title;
  return budget_picture(budget, metrology::propagation(budget.model, {.trials = 20'000}), 0.95);
}

TEST(BudgetPicture, NamesEveryOutputInputAndMethod) {
  const std::string svg = picture("Resistance");
  EXPECT_EQ(svg.rfind("<svg xmlns=", 0), 0U);
  for (const char* words :
       {">phi<", ">V<", ">I<", "R, ohm: 95 % intervals", "X, ohm", "Z, ohm", ">first order<",
        ">second order<", ">Monte Carlo, shortest<", "181.1 %; -26 %"})
    EXPECT_NE(svg.find(words), std::string::npos) << words;
}

TEST(BudgetPicture, IsTheSameToTheByteAndKeepsTitlesInTheirPlace) {
  EXPECT_EQ(picture("a < b & c"), picture("a < b & c"));
  EXPECT_NE(picture("a < b & c").find(">a &lt; b &amp; c<"), std::string::npos);
}

}  // namespace
}  // namespace windwright::report
