// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "bench/device.h"
#include "guard/stop_logic.h"
#include "guard/tap.h"

#include <chrono>
#include <functional>
#include <optional>
#include <string>

namespace windwright::guard {

/// That an acquisition waits for its start, in which it reads nothing.
inline constexpr std::chrono::seconds longest_wish{2};

/// What one layer makes of the other: an event for its own stop logic, and why.
struct Heard {
  Event event;
  std::string cause;
};

/// The guard process as the acquisition's layer needs it. Empty functions: there is none, and the
/// acquisition is alone.
struct OtherLayer {
  /// Says that a drive is wanted and waits until the guard runs.
  /// @return  why it does not
  std::function<std::optional<std::string>(const Words& own)> ask_to_run = {};
  /// A block has come, and this is what the acquisition says after it has judged it.
  /// @param cause  of its trip; empty where it has not tripped
  std::function<std::optional<Heard>(const bench::SampleBlock& block, const Words& own,
                                     const std::string& cause)>
      look = {};
  /// Whether it is there now. May be empty: it is not.
  std::function<bool()> is_there = {};
  /// Without a block: before a person works at the bench, or something is driven.
  /// @param cause  as in `look`
  std::function<void(const Words& own, const std::string& cause)> tell = {};
};

}  // namespace windwright::guard
