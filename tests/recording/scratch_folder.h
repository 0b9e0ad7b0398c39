// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <gtest/gtest.h>

#include <filesystem>
#include <string>

namespace windwright::recording {

/// A folder of the running test; empty the first time that the test asks for it.
inline std::filesystem::path scratch_folder() {
  static std::string made_for;
  const auto* test = testing::UnitTest::GetInstance()->current_test_info();
  const std::string name = std::string(test->test_suite_name()) + "." + test->name();
  const auto folder = std::filesystem::path(BUILD_FOLDER) / "scratch" / name;
  if (made_for != name) {
    std::filesystem::remove_all(folder);
    std::filesystem::create_directories(folder);
    made_for = name;
  }
  return folder;
}

}  // namespace windwright::recording
