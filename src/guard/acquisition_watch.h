// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "bench/bench.h"
#include "bench/device.h"
#include "bench/guard_table.h"
#include "guard/other_layer.h"
#include "guard/tap.h"

#include <cstdint>
#include <optional>
#include <string>

namespace windwright::guard {

/// The guard process as the acquisition sees it: shows it every block and what this layer says, and
/// tells what is heard of it. A guard that is not required counts from the moment that it is first
/// seen. One thread, the one that drives the device.
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

  /// Why the guard does not run, for whoever has told it that a drive is wanted; nothing where it
  /// runs, or where there is none and none is needed. Ask again: it takes the guard a moment. That
  /// it runs since before it was told is not for this one.
  std::optional<std::string> runs_not(Instant now);

  bool is_there() const { return tap_ && tap_->other_lives(); }

  /// A block has come.
  std::optional<Heard> look(const bench::SampleBlock& block, const Words& own,
                            const std::string& cause, Instant now);
  void tell(const Words& own, const std::string& cause, Instant now);

 private:
  std::optional<Heard> hear(const Words& own, Instant now);

  bench::GuardSettings settings_;
  std::string start_command_;
  std::string configuration_;
  std::optional<Tap> tap_;  // nothing: another process of this simulated bench has it
  bool seen_ = false;       // the guard
  std::uint64_t life_ = 0;  // of the guard that this bench is driven under
  bool begun_ = false;
  Words last_ = {.activity = Activity::standing};
  Instant wished_;  // for a drive, first
};

/// The same with the computer's clock, for AcquisitionLayer; `watch` outlives it.
OtherLayer guard_process(AcquisitionWatch& watch);

}  // namespace windwright::guard
