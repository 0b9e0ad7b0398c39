// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "bench/bench.h"

#include <memory>
#include <optional>
#include <string>

namespace windwright::devices {

/// A second connection to an instrument, of the guard process: it reads nothing and resets nothing.
class GuardLink {
 public:
  virtual ~GuardLink() = default;
  /// For messages.
  virtual const std::string& name() const = 0;
  /// Fan off, inverter and mains charger off, a load connected: the rheostat, where there is a
  /// selector, since what is connected is not known here. Connects anew where the connection is
  /// away, once.
  /// @return  why it is not, or not known to be
  virtual std::optional<std::string> make_safe() noexcept = 0;
  /// Writes the guard's heartbeat, where the instrument has a register for it; else does nothing.
  /// Connects anew where the connection is away, once.
  /// @return  why that is not possible
  virtual std::optional<std::string> feed() noexcept = 0;
};

/// Connects. Nothing where the device takes no second connection: simulated in the acquisition's
/// process, a serial line, a converter that Linux drives.
/// @param bench  outlives the link
/// @throws DeviceFault  it cannot be reached
std::unique_ptr<GuardLink> open_guard_link(const bench::Bench& bench);

}  // namespace windwright::devices
