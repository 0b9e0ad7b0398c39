// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstddef>
#include <cstdint>
#include <functional>
#include <memory>
#include <span>
#include <stdexcept>
#include <string>

namespace windwright::devices {

/// The connection is gone or cannot be trusted any more: no answer in time, closed, or an answer
/// that is not one. Whoever catches it makes a new one.
class LinkLost : public std::runtime_error {
 public:
  using std::runtime_error::runtime_error;
};

/// There is no sample at this moment, though the connection holds: it is missed, and a gap.
class SampleMissed : public std::runtime_error {
 public:
  using std::runtime_error::runtime_error;
};

/// One open connection to an instrument that is asked for its values, one sample of all channels
/// after the other. Its destructor closes it. No call takes longer than the timeout that its
/// description states.
class Link {
 public:
  virtual ~Link() = default;
  /// @param counts  (channels of the bench) filled with one sample
  /// @throws LinkLost, SampleMissed
  virtual void read(std::span<std::int32_t> counts) = 0;
  /// @param actuator  index in the bench
  /// @throws LinkLost; DeviceFault: the instrument refused
  virtual void set(std::size_t actuator, double value) = 0;
  /// Has the instrument make the bench safe by its own means, where it has a place for that. What
  /// is switched off is to be commanded all the same.
  /// @throws LinkLost; DeviceFault: the instrument refused
  virtual void make_safe() {}
  /// Writes the heartbeat of a guard process, where the instrument has a place for it; else asks it
  /// the least there is to ask, so that a dead connection shows.
  /// @throws LinkLost; DeviceFault: the instrument refused
  virtual void feed() {}
};

/// Makes a new connection. @throws LinkLost; DeviceFault: another instrument answers
using Connect = std::function<std::unique_ptr<Link>()>;

/// Has a person do something at the bench; returns when they say that it is done.
/// @throws DeviceFault  nobody is there
using Ask = std::function<void(const std::string& what)>;

}  // namespace windwright::devices
