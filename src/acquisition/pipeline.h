// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "acquisition/recording_thread.h"
#include "bench/device.h"
#include "recording/recording.h"

#include <cstddef>
#include <cstdint>
#include <functional>
#include <optional>
#include <stop_token>
#include <string>

namespace windwright::acquisition {

/// Who takes part in the way of a block from the device into the file.
struct Stations {
  bench::Device& device;
  recording::Recorder& recorder;
  /// Judges each block before it is queued, on the thread that drives the device, and stops the
  /// bench where that is called for: a cause in words ends the recording, after the block was
  /// recorded.
  std::function<std::optional<std::string>(const bench::SampleBlock&)> watch = {};
  /// Brings the bench down however the recording has ended, before its last blocks are waited for;
  /// may read on meanwhile. Empty: the device's safe state, unless the recording is complete.
  std::function<void()> stop = {};
  /// Hears why the recording ends before its time, once the bench is stopped and before its last
  /// blocks are waited for: a slow disk may take long over them. Not for a disk that has failed.
  std::function<void(const std::string& cause)> tell = {};
  /// Sees each block after it was recorded, on the recording thread: it may look, and should be
  /// quick. What it shows elsewhere may be dropped there.
  std::function<void(const bench::SampleBlock&)> look = {};
};

struct PipelineOptions {
  std::int64_t samples;  // to record
  QueueOptions queue = {};
};

enum class Ending { complete, interrupted, tripped, disk_too_slow, disk_failed };

struct Outcome {
  Ending ending;
  std::int64_t samples;  // recorded and flushed
  std::string cause;     // in words, where it is not complete
  /// The most blocks that ever waited, of QueueOptions::blocks.
  std::size_t most_waiting;
};

/// Device to file on two threads with a bounded lock-free queue of blocks between them: this thread
/// drives the device and watches, the other records. A recording never drops a sample: whatever
/// cannot go on ends it with a reason, and what came until then is in the file. However it ends but
/// by completion, the bench is stopped first; where the device fails, by its safe state.
/// @throws DeviceFault  the device's own; what came before is recorded
Outcome record(const Stations& stations, const PipelineOptions& options,
               const std::stop_token& stop);

}  // namespace windwright::acquisition
