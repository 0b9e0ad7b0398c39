// SPDX-License-Identifier: Apache-2.0
#include "campaign/logbook.h"

#include "base/files.h"
#include "base/json.h"

#include <boost/json.hpp>
#include <fcntl.h>
#include <fmt/format.h>
#include <unistd.h>

#include <cerrno>
#include <cstddef>
#include <filesystem>
#include <string>
#include <string_view>
#include <system_error>
#include <vector>

namespace windwright::campaign {

namespace {

constexpr off_t room_kept = 16'384;  // for a few lines

[[noreturn]] void fail(const std::filesystem::path& file) {
  throw std::filesystem::filesystem_error("cannot write", file,
                                          std::error_code(errno, std::generic_category()));
}

}  // namespace

Logbook::Logbook(const std::filesystem::path& file)
    : file_(file), handle_(open(file.c_str(), O_WRONLY | O_CREAT | O_APPEND | O_CLOEXEC, 0644)) {
  if (handle_ < 0) fail(file_);
  const std::uintmax_t size = std::filesystem::file_size(file);
  // Room for last words: why a run ended has to be noted on a full disk too. Some file systems
  // cannot keep room, which is no reason to begin no run.
  static_cast<void>(fallocate(handle_, FALLOC_FL_KEEP_SIZE, static_cast<off_t>(size), room_kept));
  if (size == 0) return;
  const std::string text = base::text_of_file(file);
  const std::size_t whole = text.rfind('\n') + 1;  // 0 where there is no whole line
  if (whole != text.size() && ftruncate(handle_, static_cast<off_t>(whole)) != 0) fail(file_);
}

Logbook::~Logbook() {
  if (handle_ >= 0) close(handle_);
}

void Logbook::add(base::UtcTime time, std::string_view event, const boost::json::object& members) {
  boost::json::object line{{"time", base::utc_text(time)}, {"event", event}};
  for (const auto& member : members)
    line.insert(member);
  const std::string text = base::json_line(line) + '\n';
  std::string_view rest = text;
  while (!rest.empty()) {
    const ssize_t written = write(handle_, rest.data(), rest.size());
    if (written < 0 && errno == EINTR) continue;
    if (written < 0) fail(file_);
    rest.remove_prefix(static_cast<std::size_t>(written));
  }
  if (fsync(handle_) != 0) fail(file_);
}

std::vector<LogbookLine> logbook_lines(const std::filesystem::path& file) {
  const std::string text = base::text_of_file(file);
  std::vector<LogbookLine> lines;
  for (std::size_t from = 0, end = text.find('\n'); end != std::string::npos;
       from = end + 1, end = text.find('\n', from)) {
    const std::string place = fmt::format("{}:{}", file.string(), lines.size() + 1);
    LogbookLine line{
        .place = place, .time = {}, .event = {}, .text = text.substr(from, end - from)};
    const boost::json::value json = base::json_from_text(line.text, place);
    line.time = base::utc_from_text(base::json_string(json, "time", place), place);
    line.event = base::json_string(json, "event", place);
    lines.push_back(std::move(line));
  }
  return lines;
}

}  // namespace windwright::campaign
