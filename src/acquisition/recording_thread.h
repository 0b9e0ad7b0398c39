// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "bench/device.h"
#include "recording/recording.h"

#include <cstddef>
#include <functional>
#include <memory>

namespace windwright::acquisition {

struct QueueOptions {
  std::size_t blocks = 64;  // between device and recorder, allocated once
  double flush_s = 0.5;     // of samples: what a cut of the power may cost
  /// So long the device is kept waiting for a free block; then the disk is too slow, and the run
  /// ends rather than lose a sample. A device whose time runs with the world's (its blocks are
  /// `received`) no longer than 20 ms: nobody judges it meanwhile, and all those blocks have waited
  /// already.
  double longest_wait_s = 5.0;
};

/// Blocks for at least five seconds of samples, however short they are: so long a disk may be at
/// something else.
QueueOptions queue_for(double block_s);

/// Blocks on their way into the file: whoever drives the device takes a free one, fills it and
/// hands it over; a thread of its own records it. Between them is a bounded lock-free queue;
/// nothing is ever dropped. Only this thread calls the recorder until `finish`.
class RecordingThread {
 public:
  /// @param look  sees each block after it was recorded, on that thread; may be empty
  RecordingThread(recording::Recorder& recorder, double sample_rate_hz, const QueueOptions& options,
                  std::function<void(const bench::SampleBlock&)> look = {});
  ~RecordingThread();
  RecordingThread(const RecordingThread&) = delete;
  RecordingThread& operator=(const RecordingThread&) = delete;

  /// @throws DiskFault  the disk's, or it has let none go for the longest wait: it is too slow;
  ///                    and whatever else recording has thrown. Its thread may still be at the
  ///                    disk then: stop the bench before `end`
  bench::SampleBlock& free_block();
  void hand_over(bench::SampleBlock& block);
  /// Waits until everything handed over survives any end. @throws as `free_block`
  void flush();
  /// The same for whoever has to go on meanwhile: asks for it, and tells when it is done.
  void ask_to_flush();
  bool is_flushed();
  /// Whether recording has thrown: nothing more is taken.
  bool failed() const;
  /// The most blocks that ever waited.
  std::size_t most_waiting() const;
  /// Waits for everything handed over; nothing more is taken.
  void end();
  /// The same. @throws  what recording has thrown
  void finish();

 private:
  void tell_failure() const;
  struct Queues;
  std::unique_ptr<Queues> queues_;
};

}  // namespace windwright::acquisition
