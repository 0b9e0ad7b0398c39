// SPDX-License-Identifier: Apache-2.0
#include "base/writing_thread.h"

#include <gtest/gtest.h>

#include <semaphore>
#include <stdexcept>
#include <vector>

namespace windwright::base {
namespace {

TEST(WritingThread, NobodyWaitsForTheDiskAndAllIsWrittenInOrder) {
  std::binary_semaphore disk{0};
  std::vector<int> written;
  {
    WritingThread writing;
    EXPECT_TRUE(writing.is_idle());
    for (int i = 0; i < 100; ++i) {
      writing.add([&written, &disk, i] {
        if (i == 0) disk.acquire();
        written.push_back(i);
      });
      EXPECT_FALSE(writing.is_idle());
    }
    disk.release();
  }
  ASSERT_EQ(written.size(), 100);
  for (int i = 0; i < 100; ++i)
    EXPECT_EQ(written[static_cast<std::size_t>(i)], i);
}

TEST(WritingThread, TellsTheFirstFailureOnceAndWritesWhatComesBehindIt) {
  WritingThread writing;
  bool written = false;
  writing.add([] { throw std::runtime_error("full"); });
  writing.add([] { throw std::runtime_error("full again"); });
  writing.add([&written] { written = true; });
  try {
    writing.wait();
    FAIL();
  } catch (const std::runtime_error& failure) {
    EXPECT_STREQ(failure.what(), "full");
  }
  EXPECT_TRUE(written);
  EXPECT_TRUE(writing.is_idle());
  writing.wait();
}

}  // namespace
}  // namespace windwright::base
