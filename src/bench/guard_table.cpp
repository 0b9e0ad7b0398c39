// SPDX-License-Identifier: Apache-2.0
#include "bench/guard_table.h"

#include "base/errors.h"
#include "base/settings.h"

#include <fmt/format.h>

#include <algorithm>
#include <optional>

namespace windwright::bench {

GuardSettings guard_from_table(const std::optional<base::Settings>& table, double block_s) {
  constexpr double usual_s = 0.05;
  constexpr double longest_s = 10.0;
  constexpr double usual_blocks = 2.5;
  constexpr double fewest_blocks = 2.0;
  GuardSettings settings{.silence_s = std::max(usual_s, usual_blocks * block_s)};
  if (!table) return settings;
  settings.required = table->flag_or("required", false);
  if (!table->has("silence_s")) return settings;
  settings.silence_s = table->number("silence_s", {.at_most = longest_s, .above = 0.0});
  if (settings.silence_s < fewest_blocks * block_s) {
    throw base::BadInput(
        table->place("silence_s"),
        fmt::format("a heartbeat comes with every block, every {:g} s", block_s),
        fmt::format("at least {:g}, or a shorter block_s in [bench]", fewest_blocks * block_s));
  }
  return settings;
}

}  // namespace windwright::bench
