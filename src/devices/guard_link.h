// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "bench/bench.h"
#include "devices/link.h"

#include <memory>
#include <optional>
#include <string>

namespace windwright::devices {

/// A second connection to an instrument, of the guard process: it reads no samples and resets
/// nothing. One thread feeds, another one makes safe.
class GuardLink {
 public:
  virtual ~GuardLink() = default;
  /// For messages.
  virtual const std::string& name() const = 0;
  /// What the instrument can do by itself (Link::make_safe); then
  /// fan off, inverter and mains charger off, a load connected: the rheostat, where there is a
  /// selector, since what is connected is not known here. In this order, the fan first of all,
  /// whatever bench.toml's is. What is lost on the way does not keep the rest from being switched
  /// over a new connection; what was lost is tried once more, where that begins within 2 s. So it
  /// lasts no longer than a connection and an answer may take for each actuator, twice at most,
  /// and where no new connection is to be had no longer than two of those. A feed that still waits
  /// for its answer is not waited for: this then has a connection of its own for the moment, where
  /// the instrument takes one more.
  /// @return  why it is not, or not known to be
  virtual std::optional<std::string> make_safe() noexcept = 0;
  /// Writes the guard's heartbeat, where the instrument has a register for it; else asks the least
  /// there is to ask, so that a dead connection is noticed before it is needed. Connects anew where
  /// the connection is away, once.
  /// @return  why that is not possible
  virtual std::optional<std::string> feed() noexcept = 0;
};

/// Connects. Nothing where the device takes no second connection: simulated in the acquisition's
/// process, a serial line, a converter that Linux drives.
/// @param bench  outlives the link
/// @throws DeviceFault  it cannot be reached
std::unique_ptr<GuardLink> open_guard_link(const bench::Bench& bench);

/// The same over connections of any kind.
/// @param name  for messages
std::unique_ptr<GuardLink> guard_link_over(const bench::Bench& bench, std::string name,
                                           Connect connect);

}  // namespace windwright::devices
