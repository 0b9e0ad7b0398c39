// SPDX-License-Identifier: Apache-2.0
#include "base/errors.h"
#include "report/report.h"

#include <fmt/format.h>
#include <spawn.h>
#include <sys/wait.h>
#include <unistd.h>

#include <array>
#include <cerrno>
#include <cstring>
#include <filesystem>
#include <stdexcept>
#include <string>
#include <string_view>
#include <system_error>
#include <vector>

extern char** environ;

namespace windwright::report {

namespace {

/// File actions of a child whose output and complaints both go into a pipe.
class IntoPipe {
 public:
  explicit IntoPipe(const std::array<int, 2>& pipe) {
    posix_spawn_file_actions_init(&actions_);
    posix_spawn_file_actions_adddup2(&actions_, pipe[1], STDOUT_FILENO);
    posix_spawn_file_actions_adddup2(&actions_, pipe[1], STDERR_FILENO);
    posix_spawn_file_actions_addclose(&actions_, pipe[0]);
    posix_spawn_file_actions_addclose(&actions_, pipe[1]);
  }
  IntoPipe(const IntoPipe&) = delete;
  IntoPipe& operator=(const IntoPipe&) = delete;
  ~IntoPipe() { posix_spawn_file_actions_destroy(&actions_); }
  const posix_spawn_file_actions_t* actions() const { return &actions_; }

 private:
  posix_spawn_file_actions_t actions_{};
};

std::string read_all(int from) {
  std::string text;
  std::array<char, 4096> buffer;
  while (true) {
    const ssize_t got = read(from, buffer.data(), buffer.size());
    if (got > 0) {
      text.append(buffer.data(), static_cast<std::size_t>(got));
    } else if (got == 0 || errno != EINTR) {
      return text;
    }
  }
}

int exit_code_of(pid_t child) {
  int status = 0;
  while (waitpid(child, &status, 0) < 0) {
    if (errno != EINTR) throw std::system_error(errno, std::generic_category(), "waitpid");
  }
  return WIFEXITED(status) ? WEXITSTATUS(status) : 128;
}

std::string last_line(const std::string& text) {
  const auto end = text.find_last_not_of('\n');
  if (end == std::string::npos) return {};
  const auto start = text.rfind('\n', end);
  return text.substr(start == std::string::npos ? 0 : start + 1, end - (start + 1) + 1);
}

}  // namespace

void write_pdf(const std::filesystem::path& html, const std::filesystem::path& pdf) {
  std::filesystem::path partial = pdf;
  partial += ".partial";
  std::array<std::string, 3> words{"weasyprint", std::filesystem::absolute(html).string(),
                                   std::filesystem::absolute(partial).string()};
  std::array<char*, 4> arguments{};
  for (std::size_t i = 0; i < words.size(); ++i)
    arguments[i] = words[i].data();
  std::array<int, 2> pipe{};
  if (pipe2(pipe.data(), 0) != 0) throw std::system_error(errno, std::generic_category(), "pipe");
  const IntoPipe into_pipe(pipe);
  // Fonts carry the time of their embedding unless told one: same page, same bytes.
  std::string epoch = "SOURCE_DATE_EPOCH=0";
  std::vector<char*> environment{epoch.data()};
  for (char** entry = environ; *entry != nullptr; ++entry) {
    if (!std::string_view(*entry).starts_with("SOURCE_DATE_EPOCH=")) environment.push_back(*entry);
  }
  environment.push_back(nullptr);
  pid_t child = 0;
  const int error = posix_spawnp(&child, words[0].c_str(), into_pipe.actions(), nullptr,
                                 arguments.data(), environment.data());
  close(pipe[1]);
  const std::string said = error == 0 ? read_all(pipe[0]) : "";
  close(pipe[0]);
  const int code = error == 0 ? exit_code_of(child) : 127;
  if (code == 127) {
    throw base::BadInput(pdf.string(), "cannot be made, WeasyPrint does not start",
                         "install the package weasyprint");
  }
  if (code != 0) {
    std::error_code ignored;
    std::filesystem::remove(partial, ignored);
    throw std::runtime_error(
        fmt::format("{}: WeasyPrint ended with code {}: {}", pdf.string(), code, last_line(said)));
  }
  std::filesystem::rename(partial, pdf);
}

}  // namespace windwright::report
