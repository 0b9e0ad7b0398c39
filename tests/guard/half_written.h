// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <fcntl.h>
#include <gtest/gtest.h>
#include <sys/mman.h>
#include <unistd.h>

#include <cstddef>
#include <cstdint>
#include <functional>
#include <string>
#include <vector>

namespace windwright::guard {

/// Leaves in a tap's memory what a process leaves that is killed within a heartbeat: the sequence
/// lock that `beat` moves by 2 becomes odd.
/// @param beat  gives one heartbeat, at a time that is not 2 ns after the last one
inline void kill_within_a_heartbeat(const std::string& name, const std::function<void()>& beat) {
  const int handle = shm_open(name.c_str(), O_RDWR, 0600);
  ASSERT_GE(handle, 0);
  const auto words = static_cast<std::size_t>(lseek(handle, 0, SEEK_END)) / sizeof(std::uint64_t);
  const auto all = [&] {
    std::vector<std::uint64_t> read(words);
    const std::size_t bytes = words * sizeof(std::uint64_t);
    EXPECT_EQ(pread(handle, read.data(), bytes, 0), static_cast<ssize_t>(bytes));
    return read;
  };
  const std::vector<std::uint64_t> before = all();
  beat();
  const std::vector<std::uint64_t> after = all();
  int locks = 0;
  for (std::size_t i = 0; i < words; ++i) {
    if (after[i] != before[i] + 2) continue;
    const std::uint64_t odd = after[i] + 1;
    ASSERT_EQ(pwrite(handle, &odd, sizeof odd, static_cast<off_t>(i * sizeof odd)),
              static_cast<ssize_t>(sizeof odd));
    ++locks;
  }
  EXPECT_EQ(locks, 1);
  close(handle);
}

}  // namespace windwright::guard
