// SPDX-License-Identifier: Apache-2.0
#include "base/files.h"

#include "base/errors.h"

#include <fcntl.h>
#include <fmt/format.h>
#include <unistd.h>

#include <cerrno>
#include <cstring>
#include <filesystem>
#include <fstream>
#include <string>
#include <string_view>
#include <system_error>
#include <vector>

namespace windwright::base {

namespace {

constexpr std::size_t largest_file = 256U << 20U;
constexpr std::size_t longest_line = 64U << 10U;

[[noreturn]] void fail(const std::filesystem::path& file) {
  throw std::filesystem::filesystem_error("cannot write", file,
                                          std::error_code(errno, std::generic_category()));
}

// Closes, and on failure removes, the temporary file.
class TemporaryFile {
 public:
  explicit TemporaryFile(std::filesystem::path path)
      : path_(std::move(path)),
        handle_(open(path_.c_str(), O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0644)) {
    if (handle_ < 0) fail(path_);
  }
  TemporaryFile(const TemporaryFile&) = delete;
  TemporaryFile& operator=(const TemporaryFile&) = delete;
  ~TemporaryFile() {
    if (handle_ >= 0) close(handle_);
    if (!path_.empty()) unlink(path_.c_str());
  }

  void write_all(std::string_view text) {
    while (!text.empty()) {
      const ssize_t written = ::write(handle_, text.data(), text.size());
      if (written < 0 && errno == EINTR) continue;
      if (written < 0) fail(path_);
      text.remove_prefix(static_cast<std::size_t>(written));
    }
    if (fsync(handle_) != 0) fail(path_);
  }

  void become(const std::filesystem::path& file) {
    std::filesystem::rename(path_, file);
    path_.clear();
  }

 private:
  std::filesystem::path path_;
  int handle_;
};

}  // namespace

std::string text_of_file(const std::filesystem::path& file) {
  const std::string where = file.string() + ":1";
  if (std::filesystem::is_directory(file)) {
    throw BadInput(where, "is a folder", "name a file");
  }
  std::ifstream in(file, std::ios::binary);
  if (!in) {
    throw BadInput(where, fmt::format("cannot be opened ({})", std::strerror(errno)),
                   "name an existing file that you may read");
  }
  std::string text;
  std::size_t line = 1;
  std::size_t line_start = 0;
  std::vector<char> piece(64U << 10U);
  while (in.read(piece.data(), static_cast<std::streamsize>(piece.size())), in.gcount() > 0) {
    const std::size_t before = text.size();
    text.append(piece.data(), static_cast<std::size_t>(in.gcount()));
    for (std::size_t i = before; i < text.size(); ++i) {
      if (text[i] == '\n') {
        ++line;
        line_start = i + 1;
      } else if (text[i] == '\0') {
        throw BadInput(fmt::format("{}:{}", file.string(), line),
                       "holds a NUL byte, so it is not text", "a text file in UTF-8");
      } else if (i - line_start >= longest_line) {
        throw BadInput(fmt::format("{}:{}", file.string(), line), "has a line of over 64 KiB",
                       "lines of ordinary length");
      }
    }
    if (text.size() > largest_file) {
      throw BadInput(where, "holds more than 256 MiB", "a smaller file; split it");
    }
  }
  if (text.find_first_not_of(" \t\r\n") == std::string::npos) {
    throw BadInput(where, "is empty", "a file with content; see docs/files.md");
  }
  return text;
}

void write_whole(const std::filesystem::path& file, std::string_view text) {
  TemporaryFile temporary(file.string() + ".part");
  temporary.write_all(text);
  temporary.become(file);
}

std::filesystem::path named_file(const std::filesystem::path& root,
                                 const std::filesystem::path& folder, std::string_view name,
                                 std::string_view where) {
  const std::filesystem::path relative(name);
  if (name.empty() || relative.is_absolute()) {
    throw BadInput(where, fmt::format("path '{}' is not relative", name),
                   "a path relative to the file that names it");
  }
  // A file named without a folder lies in the one where the program runs.
  const auto canonical = [](const std::filesystem::path& path) {
    return std::filesystem::weakly_canonical(path.empty() ? "." : path);
  };
  const auto full = canonical(folder / relative);
  const auto inside = full.lexically_relative(canonical(root));
  if (inside.empty() || *inside.begin() == "..") {
    throw BadInput(where, fmt::format("path '{}' leads outside the folder {}", name, root.string()),
                   "a file inside that folder");
  }
  if (!std::filesystem::is_regular_file(full)) {
    throw BadInput(where, fmt::format("file '{}' does not exist", name),
                   fmt::format("an existing file; looked for {}", full.string()));
  }
  return full;
}

}  // namespace windwright::base
