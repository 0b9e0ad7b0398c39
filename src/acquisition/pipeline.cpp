// SPDX-License-Identifier: Apache-2.0
#include "acquisition/pipeline.h"

#include "base/errors.h"
#include "bench/device.h"
#include "recording/recording.h"

#include <boost/lockfree/spsc_queue.hpp>
#include <fmt/format.h>
#include <pthread.h>

#include <algorithm>
#include <atomic>
#include <chrono>
#include <cstddef>
#include <cstdint>
#include <exception>
#include <optional>
#include <semaphore>
#include <stop_token>
#include <string>
#include <thread>
#include <utility>
#include <vector>

namespace windwright::acquisition {
namespace {

using bench::SampleBlock;

/// Blocks that go round: free ones to the device's thread, full ones to the recording thread. Each
/// way is a queue of one producer and one consumer; a semaphore counts what lies in it, so that
/// whoever waits sleeps.
class Way {
 public:
  explicit Way(std::size_t capacity) : blocks_(capacity) {}
  void put(SampleBlock* block) {
    blocks_.push(block);
    count_.release();
  }
  SampleBlock* take() {
    count_.acquire();
    return front();
  }
  SampleBlock* take_within(std::chrono::duration<double> longest) {
    return count_.try_acquire_for(longest) ? front() : nullptr;
  }
  std::size_t waiting() const { return blocks_.read_available(); }

 private:
  SampleBlock* front() {
    SampleBlock* block = nullptr;
    blocks_.pop(block);
    return block;
  }
  boost::lockfree::spsc_queue<SampleBlock*> blocks_;
  std::counting_semaphore<> count_{0};
};

class RecordingThread {
 public:
  RecordingThread(const Stations& stations, const PipelineOptions& options)
      : stations_(stations),
        flush_samples_(static_cast<std::int64_t>(
            std::max(1.0, options.flush_s * stations.device.sample_rate_hz()))),
        free_(options.blocks + 1),
        full_(options.blocks + 1),
        blocks_(options.blocks) {
    for (SampleBlock& block : blocks_)
      free_.put(&block);
    thread_ = std::jthread([this] { run(); });
    pthread_setname_np(thread_.native_handle(), "recording");
  }
  ~RecordingThread() { end(); }
  RecordingThread(const RecordingThread&) = delete;
  RecordingThread& operator=(const RecordingThread&) = delete;

  SampleBlock* free_block(double longest_wait_s) {
    return free_.take_within(std::chrono::duration<double>(longest_wait_s));
  }
  void hand_over(SampleBlock* block) {
    full_.put(block);
    most_waiting_ = std::max(most_waiting_, full_.waiting());
  }
  bool failed() const { return failed_.load(std::memory_order_acquire); }
  std::size_t most_waiting() const { return most_waiting_; }
  /// The disk's fault in words, once it is finished.
  const std::optional<std::string>& disk_fault() const { return disk_fault_; }
  /// Waits until everything handed over is in the file. @throws what recording threw, but for that
  void finish() {
    end();
    if (failure_) std::rethrow_exception(failure_);
  }

 private:
  void end() {
    if (!thread_.joinable()) return;
    full_.put(nullptr);
    thread_.join();
  }
  void run() {
    std::int64_t flushed = stations_.recorder.samples();
    try {
      while (SampleBlock* block = full_.take()) {
        stations_.recorder.append(*block);
        if (stations_.recorder.samples() - flushed >= flush_samples_) {
          stations_.recorder.flush();
          flushed = stations_.recorder.samples();
        }
        if (stations_.look) stations_.look(*block);
        free_.put(block);
      }
      stations_.recorder.flush();
    } catch (const base::DiskFault& fault) {
      disk_fault_ = fault.what();
      give_up();
      try {
        stations_.recorder.flush();  // where there was only no room for more
      } catch (const base::DiskFault&) {
        // Told already.
      }
    } catch (...) {
      failure_ = std::current_exception();
      give_up();
    }
  }
  void give_up() {
    failed_.store(true, std::memory_order_release);
    // Whoever waits for a free block is to wake up.
    free_.put(nullptr);
    while (full_.take() != nullptr) {
    }
  }

  const Stations& stations_;
  std::int64_t flush_samples_;
  Way free_;
  Way full_;
  std::vector<SampleBlock> blocks_;
  std::size_t most_waiting_ = 0;
  std::exception_ptr failure_;
  std::optional<std::string> disk_fault_;
  std::atomic<bool> failed_ = false;
  std::jthread thread_;
};

}  // namespace

Outcome record(const Stations& stations, const PipelineOptions& options,
               const std::stop_token& stop) {
  const std::int64_t before = stations.recorder.samples();
  RecordingThread recording(stations, options);
  std::int64_t samples = 0;
  Outcome outcome{.ending = Ending::complete, .samples = 0, .cause = {}, .most_waiting = 0};
  const auto ended = [&](Ending ending, std::string cause) {
    stations.device.stop();
    outcome.ending = ending;
    outcome.cause = std::move(cause);
  };
  try {
    while (samples < options.samples && outcome.ending == Ending::complete) {
      if (stop.stop_requested()) {
        ended(Ending::interrupted, "interrupted");
        break;
      }
      SampleBlock* block = recording.free_block(options.longest_wait_s);
      if (recording.failed()) break;
      if (block == nullptr) {
        ended(Ending::disk_too_slow,
              fmt::format("the disk is too slow: {} blocks waited to be written for {:.0f} s, and "
                          "the recording ends rather than lose samples",
                          options.blocks, options.longest_wait_s));
        break;
      }
      stations.device.read(*block);
      samples += static_cast<std::int64_t>(block->samples);
      if (stations.watch) {
        if (std::optional<std::string> cause = stations.watch(*block))
          ended(Ending::tripped, std::move(*cause));
      }
      recording.hand_over(block);
    }
  } catch (...) {
    stations.device.stop();
    recording.finish();
    throw;
  }
  if (recording.failed()) stations.device.stop();
  recording.finish();
  if (const auto& fault = recording.disk_fault()) {
    ended(Ending::disk_failed, fmt::format("{}; the {} samples before it are kept", *fault,
                                           stations.recorder.flushed()));
  }
  outcome.samples = stations.recorder.flushed() - before;
  outcome.most_waiting = recording.most_waiting();
  return outcome;
}

}  // namespace windwright::acquisition
