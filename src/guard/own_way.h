// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstdint>
#include <functional>
#include <optional>
#include <string>

namespace windwright::guard {

/// What has become of a command that may take its time.
struct Outcome {
  std::uint64_t number = 0;  // the last one that is done, and all before it; 0: none yet
  std::optional<std::string> failure = {};  // why that was not possible, or is not known to be
};

/// A command to the device, asked for without waiting: whoever waits judges nothing and is silent
/// meanwhile. Beside is one.
struct Command {
  /// @return  its number, from 1, upwards
  std::function<std::uint64_t()> ask = {};
  std::function<Outcome()> outcome = {};
};

/// The guard's own way to the bench, past the acquisition.
struct OwnWay {
  /// The safe state. Empty where the device takes no second connection: then the acquisition, which
  /// sees that the guard wants power removed, and the device's watchdog are left.
  Command make_safe = {};
  /// The guard's share of the device's watchdog. May be empty.
  Command feed = {};
};

}  // namespace windwright::guard
