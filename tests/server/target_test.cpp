// SPDX-License-Identifier: Apache-2.0
#include "server/target.h"

#include "server/exchange.h"

#include <gtest/gtest.h>

#include <string>

namespace windwright::server {
namespace {

// Escapes as RFC 3986, 2.1 has them.
TEST(Target, TakesPathAndQueryApart) {
  const Target target = target_from_text("/api/v1/runs/a%20b?search=two+blades&x=%26&flag");
  EXPECT_EQ(target.segments, (std::vector<std::string>{"api", "v1", "runs", "a b"}));
  ASSERT_NE(target.find("search"), nullptr);
  EXPECT_EQ(*target.find("search"), "two blades");
  EXPECT_EQ(*target.find("x"), "&");
  EXPECT_EQ(*target.find("flag"), "");
  EXPECT_EQ(target.find("nothing"), nullptr);
}

TEST(Target, RefusesWhatSeemsAnotherPlace) {
  for (const std::string text :
       {"", "x", "//", "/a//b", "/..", "/a/../b", "/%2e%2e/b", "/a%2fb", "/a%5cb", "/a%00", "/%",
        "/%4", "/%zz", "/\xff", "/%c0%af", "/?a=%ff", "/a\nb", "/%0d%0aSet-Cookie"}) {
    try {
      target_from_text(text);
      ADD_FAILURE() << text << " was taken";
    } catch (const station::Refusal& refusal) {
      EXPECT_EQ(refusal.status(), 400) << text;
    }
  }
  EXPECT_THROW(target_from_text("/" + std::string(3000, 'a')), station::Refusal);
}

TEST(Target, ReadsRangesOfNumbers) {
  const Target target = target_from_text("/?a=1:0.5:3&b=2&c=3:1:1&d=0:1e-9:9&e=1:0:2");
  EXPECT_EQ(range_parameter(target, "a", ""), (std::vector<double>{1.0, 1.5, 2.0, 2.5, 3.0}));
  EXPECT_EQ(range_parameter(target, "b", ""), (std::vector<double>{2.0}));
  for (const char* bad : {"c", "d", "e"})
    EXPECT_THROW(range_parameter(target, bad, ""), station::Refusal) << bad;
}

}  // namespace
}  // namespace windwright::server
