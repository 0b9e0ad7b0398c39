// SPDX-License-Identifier: Apache-2.0
// Every case of tests/bad_input is laid into a copy of the demo bench; the program must refuse it
// with exit code 2 and the expected line, and leave the folder as it was. tests/bad_input/README.md
// says how to add a case.
#include "end_to_end/program.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <filesystem>
#include <fstream>
#include <map>
#include <set>
#include <sstream>
#include <string>
#include <vector>

namespace windwright::end_to_end {
namespace {

namespace fs = std::filesystem;

const fs::path cases = fs::path(SOURCE_FOLDER) / "tests/bad_input";

std::string first_line(const fs::path& file) {
  std::ifstream in(file);
  std::string line;
  std::getline(in, line);
  return line;
}

std::vector<std::string> words(const std::string& line) {
  std::istringstream in(line);
  std::vector<std::string> list;
  for (std::string word; in >> word;)
    list.push_back(word);
  return list;
}

/// What stands behind `key` in a `key: value` line of a case file.
std::string value_of(const std::string& text, const std::string& key) {
  const auto at = text.find(key + ": ");
  if (at == std::string::npos) return {};
  const auto from = at + key.size() + 2;
  return text.substr(from, text.find('\n', from) - from);
}

std::size_t line_of(const std::string& text, const std::string& wanted) {
  const auto at = text.find(wanted);
  EXPECT_NE(at, std::string::npos) << "the broken file has no '" << wanted << "'";
  return 1 + static_cast<std::size_t>(
                 std::count(text.begin(), text.begin() + static_cast<std::ptrdiff_t>(at), '\n'));
}

/// Fills in `{line:TEXT}`, the number of the first line of the broken file that holds TEXT.
std::string filled(std::string expected, const std::string& broken) {
  const std::string mark = "{line:";
  for (auto at = expected.find(mark); at != std::string::npos; at = expected.find(mark)) {
    const auto end = expected.find('}', at);
    const std::string wanted = expected.substr(at + mark.size(), end - at - mark.size());
    expected.replace(at, end - at + 1, std::to_string(line_of(broken, wanted)));
  }
  return expected;
}

std::map<std::string, std::string> files_in(const fs::path& folder) {
  std::map<std::string, std::string> files;
  for (const auto& entry : fs::recursive_directory_iterator(folder)) {
    files[entry.path().lexically_relative(folder).string()] =
        entry.is_regular_file() ? text_of(entry.path()) : "folder";
  }
  return files;
}

/// Files named by other files are reported with their whole path.
std::string without_folder(std::string text, const fs::path& folder) {
  const std::string prefix = folder.string() + "/";
  for (auto at = text.find(prefix); at != std::string::npos; at = text.find(prefix)) {
    text.erase(at, prefix.size());
  }
  return text;
}

/// The example that a kind of file is broken in.
std::string example_of(const fs::path& kind) {
  return fs::exists(kind / "example") ? first_line(kind / "example") : "saltmarsh-college";
}

/// Lays the case into the bench folder: a whole `.file`, or an `.edit` of what the demo has.
std::string lay(const fs::path& stem, const fs::path& target) {
  std::string broken;
  if (fs::exists(stem.string() + ".file")) {
    broken = text_of(stem.string() + ".file");
  } else {
    const std::string edit = text_of(stem.string() + ".edit");
    broken = text_of(target);
    const std::string old = value_of(edit, "replace");
    const auto at = broken.find(old);
    EXPECT_NE(at, std::string::npos) << target << " has no '" << old << "' to replace";
    if (at != std::string::npos) broken.replace(at, old.size(), value_of(edit, "by"));
  }
  write_text(target, broken);
  return broken;
}

class BadInput : public testing::TestWithParam<const char*> {};

TEST_P(BadInput, IsRefusedInOneLineAndLeavesNothing) {
  const fs::path kind = cases / GetParam();
  const std::string target = first_line(kind / "target");
  std::set<fs::path> expected_files;
  for (const auto& entry : fs::directory_iterator(kind)) {
    if (entry.path().extension() == ".expected") expected_files.insert(entry.path());
  }
  ASSERT_FALSE(expected_files.empty());
  for (const fs::path& file : expected_files) {
    const fs::path stem = kind / file.stem();
    SCOPED_TRACE(stem);
    const fs::path folder = bench_folder("bad-input-" + kind.filename().string(), example_of(kind));
    const std::string broken = lay(stem, folder / target);
    const auto before = files_in(folder);
    const Ended ended = windwright(words(first_line(kind / "command")), folder);
    EXPECT_EQ(ended.exit_code, 2);
    EXPECT_EQ(ended.out, "");
    EXPECT_EQ(without_folder(ended.err, folder), filled(text_of(file), broken));
    EXPECT_TRUE(files_in(folder) == before) << "something was written";
  }
}

INSTANTIATE_TEST_SUITE_P(Of, BadInput,
                         testing::Values("rotor", "polar", "design", "bench", "campaign",
                                         "readings", "points", "certificate", "scenario", "groups",
                                         "budget", "shed", "shed_scenario", "minutes", "samples",
                                         "proof"),
                         [](const auto& kind) { return std::string(kind.param); });

TEST(HugeInput, ALineOfOneGigabyteIsRefusedWithoutReadingIt) {
  for (const char* kind : {"rotor", "polar", "design", "bench", "campaign", "readings", "points",
                           "certificate", "scenario", "groups", "budget", "minutes", "samples"}) {
    SCOPED_TRACE(kind);
    const fs::path folder = bench_folder("bad-input-huge");
    const std::string target = first_line(cases / kind / "target");
    {
      // One line: the letters fill the first 2 MiB, the hole behind them reads as NUL up to 1 GB.
      std::ofstream(folder / target, std::ios::binary) << std::string(2U << 20U, 'y');
      fs::resize_file(folder / target, 1'000'000'000);
    }
    const Ended ended = windwright(words(first_line(cases / kind / "command")), folder);
    EXPECT_EQ(ended.exit_code, 2);
    EXPECT_EQ(without_folder(ended.err, folder),
              target + ":1: has a line of over 64 KiB: lines of ordinary length\n");
  }
}

TEST(BadInputCases, AreAtLeastThirty) {
  std::size_t count = 0;
  for (const auto& entry : fs::recursive_directory_iterator(cases)) {
    if (entry.path().extension() == ".expected") ++count;
  }
  EXPECT_GE(count, 30U);
}

}  // namespace
}  // namespace windwright::end_to_end
