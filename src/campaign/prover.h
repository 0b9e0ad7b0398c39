// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "bench/bench.h"
#include "bench/device.h"
#include "campaign/proof.h"

#include <functional>
#include <string>

namespace windwright::campaign {

struct ProveOptions {
  std::string person;  // who is at the bench
  /// No calibrator at hand: bounds are moved to where the bench stands instead.
  bool moved_bounds = false;
  std::function<void(const std::string& interlock)> progress = {};  // before each
  std::function<void(const ProvedInterlock& proved)> proved = {};   // after each
};

/// Makes every interlock of a bench trip, one after the other, with the fan off and the rotor at
/// rest, through device, converter, certificate and the judge of a run:
///
/// - A contact of the hard-wired chain is opened and closed by the person at the bench.
/// - A bound of a channel gets a known input inside it, which must not trip for longer than the
///   hold time, then one beyond it, which must trip with this interlock's cause, after the hold
///   time and no more than a block later. Where converter or person cannot, the bound is moved.
/// - A lost sensor is an input beyond the end of its converter. A stuck one, and a clock that
///   steps, is made of the block in front of the judge; a full disk by moving the bound.
///
/// Each trip goes through the stop logic of a run (guard::AcquisitionLayer), which commands the
/// safe state; where the device can be asked for its settings they are read back. The load is
/// disconnected before where there is a position for that, so that the safe state has something to
/// do. The latch must hold while the cause stands and go back once it is gone. Leaves the bench in
/// its safe state.
/// @throws BadInput     a channel has no certificate
/// @throws DeviceFault  the rotor does not stand still with the fan off; nobody to be asked
Proof prove_interlocks(const bench::Bench& bench, bench::Device& device,
                       const ProveOptions& options);

}  // namespace windwright::campaign
