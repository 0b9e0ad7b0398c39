// SPDX-License-Identifier: Apache-2.0
#include "guard/line_writer.h"

#include <gtest/gtest.h>

#include <semaphore>
#include <string>
#include <vector>

namespace windwright::guard {
namespace {

TEST(LineWriter, NobodyWaitsForADiskThatHangs) {
  constexpr int lines = 1000;
  std::counting_semaphore<> writing{0};
  std::counting_semaphore<> disk{0};
  std::vector<std::string> written;
  {
    LineWriter writer([&](const LineWriter::Line& line) {
      writing.release();
      disk.acquire();
      written.push_back(line.event + " " + line.text);
    });
    writer.add({.time = {}, .event = "line", .text = "0"});
    writing.acquire();  // and does not come back
    for (int i = 1; i < lines; ++i)
      writer.add({.time = {}, .event = "line", .text = std::to_string(i)});
    EXPECT_TRUE(written.empty());
    disk.release(lines);
  }
  ASSERT_EQ(written.size(), lines);
  for (int i = 0; i < lines; ++i)
    EXPECT_EQ(written[static_cast<std::size_t>(i)], "line " + std::to_string(i));
}

TEST(LineWriter, WhatWaitedForTheDiskGoesOnWithoutANewLine) {
  constexpr int lines = 300;
  std::counting_semaphore<> written{0};
  std::counting_semaphore<> disk{0};
  LineWriter writer([&](const LineWriter::Line&) {
    disk.acquire();
    written.release();
  });
  for (int i = 0; i < lines; ++i)
    writer.add({.time = {}, .event = "line", .text = {}});
  disk.release(lines);
  for (int i = 0; i < lines; ++i) {
    writer.go_on();
    written.acquire();  // for ever, if it did not
  }
}

}  // namespace
}  // namespace windwright::guard
