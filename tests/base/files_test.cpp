// SPDX-License-Identifier: Apache-2.0
#include "base/files.h"

#include "base/errors.h"

#include <gtest/gtest.h>

#include <filesystem>
#include <fstream>
#include <functional>
#include <string>

namespace windwright::base {
namespace {

class Files : public testing::Test {
 protected:
  void SetUp() override {
    const auto* test = testing::UnitTest::GetInstance()->current_test_info();
    folder_ =
        std::filesystem::path(BUILD_FOLDER) / "scratch" / (std::string("files-") + test->name());
    std::filesystem::remove_all(folder_);
    std::filesystem::create_directories(folder_ / "bench");
  }

  std::string write(const std::string& name, const std::string& text) const {
    std::ofstream(folder_ / name, std::ios::binary) << text;
    return (folder_ / name).string();
  }

  static std::string complaint(const std::function<void()>& act) {
    try {
      act();
    } catch (const BadInput& error) {
      return error.what();
    }
    return "";
  }

  std::filesystem::path folder_;
};

TEST_F(Files, RefusesBinaryAtItsLine) {
  const std::string file = write("a", std::string("ok\nno\0t", 7));
  EXPECT_EQ(complaint([&] { text_of_file(file); }),
            file + ":2: holds a NUL byte, so it is not text: a text file in UTF-8");
}

TEST_F(Files, RefusesAnEmptyFile) {
  const std::string file = write("a", " \n\n");
  EXPECT_TRUE(complaint([&] { text_of_file(file); }).starts_with(file + ":1: is empty: "));
}

TEST_F(Files, StopsReadingInsideALineThatIsTooLong) {
  const std::string file = write("a", "x\n" + std::string(70'000, 'y'));
  EXPECT_EQ(complaint([&] { text_of_file(file); }),
            file + ":2: has a line of over 64 KiB: lines of ordinary length");
}

TEST_F(Files, RefusesAFolderAndAMissingFile) {
  EXPECT_FALSE(complaint([&] { text_of_file(folder_); }).empty());
  EXPECT_FALSE(complaint([&] { text_of_file(folder_ / "none"); }).empty());
}

TEST_F(Files, ReplacesAFileAsAWhole) {
  const std::string file = write("a", "old");
  write_whole(file, "new");
  EXPECT_EQ(text_of_file(file), "new");
  EXPECT_FALSE(std::filesystem::exists(file + ".part"));
}

TEST_F(Files, KeepsTheOldFileWhenTheNewOneCannotBeWritten) {
  const std::string file = write("a", "old");
  std::filesystem::create_directory(file + ".part");
  EXPECT_THROW(write_whole(file, "new"), std::filesystem::filesystem_error);
  EXPECT_EQ(text_of_file(file), "old");
}

TEST_F(Files, NamesWhatLiesWhereTheProgramRuns) {
  write("here", "x");
  const auto before = std::filesystem::current_path();
  std::filesystem::current_path(folder_);
  const std::filesystem::path named = named_file("", "", "here", "b.toml:3");
  const std::string refused = complaint([] { named_file("", "", "../here", "b.toml:3"); });
  std::filesystem::current_path(before);
  EXPECT_EQ(named, std::filesystem::weakly_canonical(folder_ / "here"));
  EXPECT_TRUE(refused.starts_with("b.toml:3: path '../here' leads outside")) << refused;
}

TEST_F(Files, NamesOnlyWhatLiesInsideTheFolder) {
  write("outside", "x");
  write("bench/inside", "x");
  const auto root = folder_ / "bench";
  EXPECT_EQ(named_file(root, root, "inside", "b.toml:3").filename(), "inside");
  EXPECT_TRUE(complaint([&] {
                named_file(root, root, "../outside", "b.toml:3");
              }).starts_with("b.toml:3: path '../outside' leads outside"));
  EXPECT_TRUE(complaint([&] {
                named_file(root, root, "/etc/hostname", "b.toml:3");
              }).starts_with("b.toml:3: path '/etc/hostname' is not relative"));
  EXPECT_TRUE(complaint([&] {
                named_file(root, root, "none", "b.toml:3");
              }).starts_with("b.toml:3: file 'none' does not exist"));
}

}  // namespace
}  // namespace windwright::base
