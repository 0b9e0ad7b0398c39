// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "base/clock.h"

#include <boost/json/fwd.hpp>

#include <filesystem>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::campaign {

/// What happened in a run, one JSON object a line with `time` (device time) and `event`. Lines are
/// only ever added; every line is on the disk before the call returns.
class Logbook {
 public:
  /// Makes the file, or goes on with it; a last line that was cut off half-way is removed.
  explicit Logbook(const std::filesystem::path& file);
  Logbook(const Logbook&) = delete;
  Logbook& operator=(const Logbook&) = delete;
  ~Logbook();

  /// @param members  further members of the line
  void add(base::UtcTime time, std::string_view event, const boost::json::object& members);

 private:
  std::filesystem::path file_;
  int handle_;
};

/// One line of a logbook, with its place for messages.
struct LogbookLine {
  std::string place;  // `file:line`
  base::UtcTime time;
  std::string event;
  std::string text;  // the whole line
};

/// The whole lines of a logbook, in order.
/// @throws BadInput  a line that is not JSON or has no time or event
std::vector<LogbookLine> logbook_lines(const std::filesystem::path& file);

}  // namespace windwright::campaign
