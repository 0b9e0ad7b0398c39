// SPDX-License-Identifier: Apache-2.0
#include "base/table.h"

#include "base/errors.h"

#include <gtest/gtest.h>

#include <functional>
#include <string>

namespace windwright::base {
namespace {

std::string complaint(const std::function<void()>& act) {
  try {
    act();
  } catch (const BadInput& error) {
    return error.what();
  }
  return "";
}

TEST(Table, ReadsNumbersCommentsAndWindowsLineEnds) {
  const Table table = Table::from_text("# unit: V\r\na, b\r\n1,2\r\n\r\n3.5, 4e-1\r\n", "t.csv");
  EXPECT_EQ(table.comments(), std::vector<std::string>{"unit: V"});
  EXPECT_EQ(table.numbers(table.required_column("b")), (std::vector<double>{2.0, 0.4}));
  EXPECT_EQ(table.place(1), "t.csv:5");
}

TEST(Table, CountsTheLineOfARowWithAFieldTooMany) {
  EXPECT_EQ(complaint([] { Table::from_text("a,b\n1,2\n1,2,3\n", "t.csv"); }),
            "t.csv:3: the row has 3 fields: 2 fields, as in the header");
}

TEST(Table, RefusesAColumnNamedTwice) {
  EXPECT_EQ(
      complaint([] { Table::from_text("a,a\n1,2\n", "t.csv"); }),
      "t.csv:1: column name 'a' is empty or stands twice: a name of its own for every column");
}

TEST(Table, RefusesAHeaderAlone) {
  EXPECT_EQ(complaint([] { Table::from_text("# only\na,b\n", "t.csv"); }),
            "t.csv:2: has a header but no rows: at least one row");
}

TEST(Table, RefusesWhatIsNotAFiniteNumber) {
  EXPECT_EQ(complaint([] { Table::from_text("a\nnan\n", "t.csv").number(0, 0); }),
            "t.csv:2: a is 'nan': a finite decimal number");
}

TEST(Table, SaysWhichColumnsThereAre) {
  EXPECT_EQ(complaint([] { Table::from_text("a,b\n1,2\n", "t.csv").required_column("c"); }),
            "t.csv:1: column 'c' is missing: a column of that name beside a, b");
}

}  // namespace
}  // namespace windwright::base
