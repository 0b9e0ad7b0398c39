// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <chrono>
#include <string>
#include <string_view>

namespace windwright::base {

/// UTC without leap seconds (POSIX), in nanoseconds.
using UtcTime = std::chrono::sys_time<std::chrono::nanoseconds>;

UtcTime host_now();
/// `2026-03-02T09:00:00.000Z`
std::string utc_text(UtcTime time);
/// Reads `2026-03-02` or `2026-03-02T09:00:00[.fff]Z`, of the years 1700 to 2200.
/// @param where  `file:line`, for the message
/// @throws BadInput  anything else
UtcTime utc_from_text(std::string_view text, std::string_view where);

}  // namespace windwright::base
