// SPDX-License-Identifier: Apache-2.0
#include "base/clock.h"

#include "base/errors.h"

#include <fmt/format.h>

#include <chrono>
#include <cstdio>
#include <string>
#include <string_view>

namespace windwright::base {

using std::chrono::days;
using std::chrono::hours;
using std::chrono::milliseconds;
using std::chrono::minutes;

namespace {

// Nanoseconds in 64 bits reach from 1678 to 2262.
constexpr int first_year = 1700;
constexpr int last_year = 2200;

}  // namespace

UtcTime host_now() {
  return std::chrono::time_point_cast<std::chrono::nanoseconds>(std::chrono::system_clock::now());
}

std::string utc_text(UtcTime time) {
  const auto rounded = std::chrono::floor<milliseconds>(time);
  const auto day = std::chrono::floor<days>(rounded);
  const std::chrono::year_month_day date(day);
  const std::chrono::hh_mm_ss clock(rounded - day);
  return fmt::format("{:04}-{:02}-{:02}T{:02}:{:02}:{:02}.{:03}Z", static_cast<int>(date.year()),
                     static_cast<unsigned>(date.month()), static_cast<unsigned>(date.day()),
                     clock.hours().count(), clock.minutes().count(), clock.seconds().count(),
                     clock.subseconds().count());
}

UtcTime utc_from_text(std::string_view text, std::string_view where) {
  const std::string body(text);
  int year = 0;
  unsigned month = 0;
  unsigned day = 0;
  int hour = 0;
  int minute = 0;
  double second = 0.0;
  char zone = 0;
  int read = 0;
  const int fields = std::sscanf(body.c_str(), "%4d-%2u-%2uT%2d:%2d:%lf%c%n", &year, &month, &day,
                                 &hour, &minute, &second, &zone, &read);
  const bool whole = fields == 7 && zone == 'Z' && read == static_cast<int>(body.size());
  const bool date_only = fields == 3 && body.size() == 10;
  const std::chrono::year_month_day date{std::chrono::year(year), std::chrono::month(month),
                                         std::chrono::day(day)};
  if (!(whole || date_only) || !date.ok() || year < first_year || year > last_year || hour < 0 ||
      hour > 23 || minute < 0 || minute > 59 || !(second >= 0.0 && second < 60.0)) {
    throw BadInput(where, fmt::format("'{}' is not a date", text),
                   "UTC such as 2026-03-02 or 2026-03-02T09:00:00Z");
  }
  return std::chrono::sys_days(date) + hours(hour) + minutes(minute) +
         std::chrono::round<std::chrono::nanoseconds>(std::chrono::duration<double>(second));
}

}  // namespace windwright::base
