// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <optional>

namespace windwright::base {
class Settings;
}

namespace windwright::bench {

/// How acquisition and guard process watch each other: table [guard] of bench.toml.
struct GuardSettings {
  bool required = false;   // the bench is not driven without a guard process
  double silence_s = 0.0;  // without a heartbeat of the other side, then the bench is stopped
};

/// Without the table, or without `silence_s`: 50 ms, and no less than two and a half blocks.
/// @param block_s  of the bench
/// @throws BadInput  with file and line: shorter than two blocks
GuardSettings guard_from_table(const std::optional<base::Settings>& table, double block_s);

}  // namespace windwright::bench
