// SPDX-License-Identifier: Apache-2.0
#include "acquisition/recording_thread.h"

#include "base/errors.h"
#include "bench/device.h"
#include "recording/recording.h"

#include <boost/lockfree/spsc_queue.hpp>
#include <fmt/format.h>
#include <pthread.h>

#include <algorithm>
#include <atomic>
#include <chrono>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <exception>
#include <functional>
#include <memory>
#include <semaphore>
#include <thread>
#include <utility>
#include <vector>

namespace windwright::acquisition {
namespace {

using bench::SampleBlock;

constexpr std::size_t fewest_blocks = 64;
constexpr double shortest_queue_s = 5.0;
constexpr double longest_unread_s = 0.02;
constexpr int most_flushes = 4;  // asked for and not yet done

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

}  // namespace

struct RecordingThread::Queues {
  recording::Recorder& recorder;
  QueueOptions options;
  std::function<void(const SampleBlock&)> look;
  std::int64_t flush_samples;
  Way free;
  Way full;
  std::vector<SampleBlock> blocks;
  SampleBlock flush_wanted = {};  // no samples: whoever takes it flushes
  std::counting_semaphore<> flushed{0};
  int flushes_asked = 0;  // and not yet seen to be done
  std::size_t most_waiting = 0;
  bool in_the_world = false;  // the last block's time ran with the world's
  std::exception_ptr failure = {};
  std::atomic<bool> failed = false;
  std::jthread thread = {};

  Queues(recording::Recorder& to, double sample_rate_hz, const QueueOptions& how,
         std::function<void(const SampleBlock&)> sees)
      : recorder(to),
        options(how),
        look(std::move(sees)),
        flush_samples(static_cast<std::int64_t>(std::max(1.0, how.flush_s * sample_rate_hz))),
        free(how.blocks + 1),
        full(how.blocks + 1 + most_flushes),
        blocks(how.blocks) {}
  void run();
  void record_all();
  void give_up();
  void end();
};

void RecordingThread::Queues::record_all() {
  std::int64_t flushed_samples = recorder.samples();
  while (SampleBlock* block = full.take()) {
    const bool wanted = block == &flush_wanted;
    if (!wanted) {
      if (recorder.samples() == 0) recorder.begin_at(block->start);
      recorder.append(*block);
    }
    if (wanted || recorder.samples() - flushed_samples >= flush_samples) {
      wanted ? recorder.flush() : recorder.flush_chunks();
      flushed_samples = recorder.samples();
    }
    if (wanted) {
      flushed.release();
      continue;
    }
    if (look) look(*block);
    free.put(block);
  }
  recorder.flush();
}

void RecordingThread::Queues::run() {
  try {
    record_all();
  } catch (const base::DiskFault&) {
    failure = std::current_exception();
    give_up();
    try {
      recorder.flush();  // where there was only no room for more
    } catch (const base::DiskFault&) {
      // Told already.
    }
  } catch (...) {
    failure = std::current_exception();
    give_up();
  }
}

void RecordingThread::Queues::give_up() {
  failed.store(true, std::memory_order_release);
  // Whoever waits is to wake up.
  free.put(nullptr);
  flushed.release(most_flushes);
  while (full.take() != nullptr) {
  }
}

void RecordingThread::Queues::end() {
  if (!thread.joinable()) return;
  full.put(nullptr);
  thread.join();
}

QueueOptions queue_for(double block_s) {
  const auto blocks = static_cast<std::size_t>(std::ceil(shortest_queue_s / block_s));
  return {.blocks = std::max(fewest_blocks, blocks)};
}

RecordingThread::RecordingThread(recording::Recorder& recorder, double sample_rate_hz,
                                 const QueueOptions& options,
                                 std::function<void(const SampleBlock&)> look)
    : queues_(std::make_unique<Queues>(recorder, sample_rate_hz, options, std::move(look))) {
  for (SampleBlock& block : queues_->blocks)
    queues_->free.put(&block);
  queues_->thread = std::jthread([queues = queues_.get()] { queues->run(); });
  pthread_setname_np(queues_->thread.native_handle(), "recording");
}

RecordingThread::~RecordingThread() {
  queues_->end();
}

SampleBlock& RecordingThread::free_block() {
  const double longest_s = queues_->in_the_world
                               ? std::min(longest_unread_s, queues_->options.longest_wait_s)
                               : queues_->options.longest_wait_s;
  SampleBlock* block = queues_->free.take_within(std::chrono::duration<double>(longest_s));
  tell_failure();
  if (block != nullptr) return *block;
  throw base::DiskFault(
      queues_->recorder.file().string(),
      fmt::format("the disk is too slow: {} blocks waited to be written, the next one for {:g} s, "
                  "and the recording ends rather than lose samples",
                  queues_->options.blocks, longest_s),
      "use a faster disk, or record fewer samples");
}

void RecordingThread::hand_over(SampleBlock& block) {
  queues_->in_the_world = block.received.has_value();
  queues_->full.put(&block);
  queues_->most_waiting = std::max(queues_->most_waiting, queues_->full.waiting());
}

void RecordingThread::ask_to_flush() {
  tell_failure();
  if (queues_->flushes_asked == most_flushes) flush();
  queues_->full.put(&queues_->flush_wanted);
  ++queues_->flushes_asked;
}

bool RecordingThread::is_flushed() {
  while (queues_->flushes_asked > 0 && queues_->flushed.try_acquire())
    --queues_->flushes_asked;
  tell_failure();
  return queues_->flushes_asked == 0;
}

void RecordingThread::flush() {
  tell_failure();
  queues_->full.put(&queues_->flush_wanted);
  for (++queues_->flushes_asked; queues_->flushes_asked > 0 && !failed(); --queues_->flushes_asked)
    queues_->flushed.acquire();
  tell_failure();
}

// Without waiting for a thread that may hang in the disk: whoever drives a bench stops it first.
void RecordingThread::tell_failure() const {
  if (failed()) std::rethrow_exception(queues_->failure);
}

bool RecordingThread::failed() const {
  return queues_->failed.load(std::memory_order_acquire);
}

std::size_t RecordingThread::most_waiting() const {
  return queues_->most_waiting;
}

void RecordingThread::end() {
  queues_->end();
}

void RecordingThread::finish() {
  queues_->end();
  if (queues_->failure) std::rethrow_exception(queues_->failure);
}

}  // namespace windwright::acquisition
