// SPDX-License-Identifier: Apache-2.0
#include "end_to_end/program.h"

#include <fcntl.h>
#include <fmt/format.h>
#include <gtest/gtest.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <filesystem>
#include <fstream>
#include <sstream>
#include <string>
#include <vector>

namespace windwright::end_to_end {

namespace {

[[noreturn]] void become_program(const std::vector<std::string>& arguments,
                                 const std::filesystem::path& folder,
                                 const std::filesystem::path& out,
                                 const std::filesystem::path& err) {
  const int nothing = open("/dev/null", O_RDONLY);
  const int to_out = open(out.c_str(), O_WRONLY | O_CREAT | O_TRUNC, 0644);
  const int to_err = open(err.c_str(), O_WRONLY | O_CREAT | O_TRUNC, 0644);
  if (chdir(folder.c_str()) != 0 || dup2(nothing, 0) < 0 || dup2(to_out, 1) < 0 ||
      dup2(to_err, 2) < 0) {
    _exit(126);
  }
  std::vector<std::string> words{PROGRAM};
  words.insert(words.end(), arguments.begin(), arguments.end());
  std::vector<char*> pointers;
  for (std::string& word : words)
    pointers.push_back(word.data());
  pointers.push_back(nullptr);
  execv(PROGRAM, pointers.data());
  _exit(127);
}

}  // namespace

Ended windwright(const std::vector<std::string>& arguments, const std::filesystem::path& folder) {
  // Output goes to files beside the folder: a test may look at the whole folder afterwards.
  const std::filesystem::path out = folder.string() + ".out";
  const std::filesystem::path err = folder.string() + ".err";
  const pid_t child = fork();
  if (child == 0) become_program(arguments, folder, out, err);
  int status = 0;
  waitpid(child, &status, 0);
  return {WIFEXITED(status) ? WEXITSTATUS(status) : -WTERMSIG(status), text_of(out), text_of(err)};
}

std::filesystem::path scratch_folder(const std::string& name) {
  // Tests run side by side: each has folders of its own.
  const auto* test = testing::UnitTest::GetInstance()->current_test_info();
  std::string own = fmt::format("{}.{}", test->test_suite_name(), test->name());
  std::replace(own.begin(), own.end(), '/', '-');
  const auto folder = std::filesystem::path(BUILD_FOLDER) / "scratch" / own / name;
  std::filesystem::remove_all(folder);
  std::filesystem::create_directories(folder);
  return folder;
}

std::filesystem::path bench_folder(const std::string& name, const std::string& example) {
  const auto folder = scratch_folder(name);
  std::filesystem::copy(std::filesystem::path(SOURCE_FOLDER) / "examples" / example, folder,
                        std::filesystem::copy_options::recursive);
  return folder;
}

std::string text_of(const std::filesystem::path& file) {
  std::ostringstream text;
  text << std::ifstream(file, std::ios::binary).rdbuf();
  return text.str();
}

void write_text(const std::filesystem::path& file, const std::string& text) {
  std::filesystem::create_directories(file.parent_path());
  std::ofstream(file, std::ios::binary) << text;
}

}  // namespace windwright::end_to_end
