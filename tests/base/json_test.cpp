// SPDX-License-Identifier: Apache-2.0
#include "base/json.h"

#include "base/errors.h"

#include <boost/json.hpp>
#include <gtest/gtest.h>

#include <limits>
#include <string>

namespace windwright::base {
namespace {

TEST(Json, WritesReadableTextThatReadsBack) {
  const boost::json::value value = {{"a", 0.1}, {"b", {1.0, 2.5}}, {"c", {{"d", "x\"y"}}}};
  EXPECT_EQ(json_text(value),
            "{\n  \"a\": 0.1,\n  \"b\": [1,2.5],\n  \"c\": {\n    \"d\": \"x\\\"y\"\n  }\n}\n");
  EXPECT_EQ(json_from_text(json_text(value), "x").at("c").at("d").as_string(), "x\"y");
}

TEST(Json, WritesWhatIsNotFiniteAsNull) {
  EXPECT_EQ(json_line(boost::json::value(std::numeric_limits<double>::quiet_NaN())), "null");
}

TEST(Json, SaysWhereTheTextStopsBeingJson) {
  try {
    json_from_text("{\n\"a\": ,\n}", "c.json");
    FAIL();
  } catch (const BadInput& error) {
    EXPECT_TRUE(std::string(error.what()).starts_with("c.json:2: is not JSON (")) << error.what();
  }
  EXPECT_THROW(json_from_text("{} x", "c.json"), BadInput);
  EXPECT_THROW(json_from_text("{\"a\": 1", "c.json"), BadInput);
}

}  // namespace
}  // namespace windwright::base
