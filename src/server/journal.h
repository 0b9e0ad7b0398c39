// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "base/clock.h"
#include "campaign/logbook.h"

#include <boost/json/fwd.hpp>

#include <cstdint>
#include <filesystem>
#include <memory>
#include <mutex>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::server {

/// A logbook that is read while it is written: what happened at a bench, or the audit of a server.
/// Lines are only ever added, and each is on the disk before `add` returns. Any thread may call.
class Journal {
 public:
  /// Goes on with the file, or makes it with its folder.
  /// @throws BadInput  a line that is not one of a logbook
  explicit Journal(const std::filesystem::path& file);

  /// @param members  further members of the line
  /// @return  its number, from 1
  std::int64_t add(base::UtcTime time, std::string_view event, const boost::json::object& members);

  struct Page {
    std::vector<std::string> lines;  // JSON objects with `number`, newest first
    bool more;                       // older ones that match
  };
  /// @param search  words that the line has to hold, in any case; empty: all lines
  /// @param before  only lines with a smaller number; 0: from the newest on
  /// @param limit   at most so many
  Page page(std::string_view search, std::int64_t before, std::size_t limit) const;

 private:
  mutable std::mutex mutex_;
  std::unique_ptr<campaign::Logbook> logbook_;
  std::vector<std::string> lines_;  // as in the file
};

}  // namespace windwright::server
