// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "guard/own_way.h"
#include "guard/tap.h"

#include <cstdint>
#include <optional>
#include <string>
#include <utility>

namespace windwright::guard {

/// The guard's command of the safe state, which is heard of later than it is given. One thread.
class SafeCommand {
 public:
  explicit SafeCommand(Command command) : command_(std::move(command)) {}
  /// Whether there is a way to give it. Without, nothing is ever given and nothing heard.
  bool exists() const { return command_.ask != nullptr; }
  /// @return  its number
  std::uint64_t give(Instant now);
  /// Whether none was given in the last half second.
  bool is_due(Instant now) const;

  struct News {
    std::optional<std::string> failure = {};
    bool failed_before;
  };
  /// What has become of one since the last call.
  std::optional<News> news();
  bool has_heard_of(std::uint64_t number) const { return heard_.number >= number; }
  bool has_failed() const { return heard_.failure.has_value(); }
  /// Why that one is not known to have made the bench safe, and nothing after it undone; empty: it
  /// is.
  std::string doubt(std::uint64_t number) const;
  std::uint64_t last_given() const { return given_; }

 private:
  Command command_;
  std::uint64_t given_ = 0;
  std::optional<Instant> given_at_;
  Outcome heard_;
};

}  // namespace windwright::guard
