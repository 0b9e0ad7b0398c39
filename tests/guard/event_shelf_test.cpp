// SPDX-License-Identifier: Apache-2.0
#include "guard/event_shelf.h"

#include <fmt/format.h>
#include <gtest/gtest.h>

#include <chrono>
#include <string>
#include <vector>

namespace windwright::guard {
namespace {

Instant at(int s) {
  return Instant(std::chrono::seconds(s));
}

std::vector<std::string> said(const std::vector<EventShelf::Line>& lines) {
  std::vector<std::string> texts;
  for (const EventShelf::Line& line : lines)
    texts.push_back(fmt::format("{}: {}", line.event, line.text));
  return texts;
}

TEST(EventShelf, ChatterIsOneLineAndACount) {
  EventShelf shelf;
  EXPECT_EQ(said(shelf.take("acquisition", "has begun", at(0))).size(), 1U);
  for (int i = 1; i < 40; ++i) {
    EXPECT_TRUE(shelf.take("acquisition", "has begun", at(i)).empty());
    EXPECT_EQ(shelf.take("acquisition", "has ended", at(i)).size(), i == 1 ? 1U : 0U);
  }
  EXPECT_TRUE(shelf.look(at(59)).empty());
  EXPECT_EQ(
      said(shelf.look(at(60))),
      (std::vector<std::string>{"repeated: 39 more times within 60 s: acquisition: has begun"}));
  EXPECT_EQ(
      said(shelf.look(at(60), true)),
      (std::vector<std::string>{"repeated: 38 more times within 60 s: acquisition: has ended"}));
  EXPECT_EQ(shelf.take("acquisition", "has begun", at(61)).size(), 1U) << "a new minute";
}

TEST(EventShelf, WhatLatchesOrUnlatchesIsAlwaysSaid) {
  EventShelf shelf;
  for (int i = 0; i < 5; ++i) {
    EXPECT_EQ(shelf.take("trip", "overspeed", at(i)).size(), 1U);
    EXPECT_EQ(shelf.take("reset", "looked at", at(i)).size(), 1U);
  }
  EXPECT_TRUE(shelf.look(at(100), true).empty());
}

TEST(EventShelf, WhatIsSaidOnceLeavesNothingBehind) {
  EventShelf shelf;
  shelf.take("acquisition", "has begun", at(0));
  EXPECT_TRUE(shelf.look(at(100)).empty());
}

}  // namespace
}  // namespace windwright::guard
