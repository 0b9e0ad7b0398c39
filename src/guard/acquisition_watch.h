// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "bench/bench.h"
#include "bench/device.h"
#include "bench/guard_table.h"
#include "guard/tap.h"

#include <optional>
#include <string>

namespace windwright::guard {

/// What the acquisition process does about the guard process: shows it every block, and stops the
/// bench when the guard is silent or not content. A guard that is not required counts from the
/// moment that it is first seen. One thread, the one that drives the device.
class AcquisitionWatch {
 public:
  /// Opens the tap of this bench.
  /// @throws DeviceFault  another process is acquiring from this bench under a guard's eyes, or
  ///                      where a guard is required
  explicit AcquisitionWatch(const bench::Bench& bench);
  /// Tells the guard that this was an end in order: stop the bench first.
  ~AcquisitionWatch();
  AcquisitionWatch(const AcquisitionWatch&) = delete;
  AcquisitionWatch& operator=(const AcquisitionWatch&) = delete;

  /// Call before anything is driven: also tells the guard that this process has begun.
  /// @throws DeviceFault  a guard is there and works by another configuration or is tripped; or it
  ///                      is required and not there
  void begin(Instant now);

  /// A block has come.
  /// @param own_cause  why the acquisition itself stops the bench; nothing where all is well
  /// @return  why the bench is to be stopped: the acquisition's own cause, or the guard's
  std::optional<std::string> look(const bench::SampleBlock& block,
                                  const std::optional<std::string>& own_cause, Instant now);

  /// No blocks for a while, with nothing driven: a person works at the bench.
  void stand(Instant now);
  /// Ends that, before anything is driven: blocks follow at once.
  void drive(Instant now);

 private:
  std::optional<std::string> guard_fails(Instant now);

  bench::GuardSettings settings_;
  std::string start_command_;
  std::string configuration_;
  std::optional<Tap> tap_;  // nothing: another process of this simulated bench has it
  bool seen_ = false;       // the guard
  bool begun_ = false;
  bool content_ = true;
};

}  // namespace windwright::guard
