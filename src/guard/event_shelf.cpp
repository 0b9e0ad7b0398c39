// SPDX-License-Identifier: Apache-2.0
#include "guard/event_shelf.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <chrono>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::guard {
namespace {

constexpr std::chrono::seconds window{60};
constexpr std::array<std::string_view, 6> never_shelved{"trip",    "reset", "begin",
                                                        "stopped", "end",   "repeated"};

}  // namespace

std::vector<EventShelf::Line> EventShelf::look(Instant now, bool all) {
  std::vector<Line> lines;
  for (auto entry = shelf_.begin(); entry != shelf_.end();) {
    const auto& [said, shelved] = *entry;
    if (!all && now - shelved.since < window) {
      ++entry;
      continue;
    }
    if (shelved.times > 0) {
      lines.push_back({.event = "repeated",
                       .text = fmt::format("{} more times within {:.0f} s: {}: {}", shelved.times,
                                           std::chrono::duration<double>(window).count(),
                                           said.first, said.second)});
    }
    entry = shelf_.erase(entry);
  }
  return lines;
}

std::vector<EventShelf::Line> EventShelf::take(std::string_view event, const std::string& text,
                                               Instant now) {
  std::vector<Line> lines = look(now);
  const bool always =
      std::find(never_shelved.begin(), never_shelved.end(), event) != never_shelved.end();
  if (!always) {
    const auto [entry, fresh] = shelf_.try_emplace({std::string(event), text}, Shelved{now, 0});
    if (!fresh) {
      ++entry->second.times;
      return lines;
    }
  }
  lines.push_back({.event = std::string(event), .text = text});
  return lines;
}

}  // namespace windwright::guard
