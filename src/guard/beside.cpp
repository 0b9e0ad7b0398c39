// SPDX-License-Identifier: Apache-2.0
#include "guard/beside.h"

#include <atomic>
#include <cstdint>
#include <functional>
#include <memory>
#include <mutex>
#include <optional>
#include <semaphore>
#include <string>
#include <thread>
#include <utility>

namespace windwright::guard {

struct Beside::Shared {
  std::function<std::optional<std::string>()> action;
  std::counting_semaphore<> come{0};
  std::atomic<std::uint64_t> asked = 0;
  std::atomic<std::uint64_t> done = 0;
  std::atomic<bool> over = false;
  std::mutex mutex = {};  // of the result; whoever asks never waits for it
  std::optional<std::string> result = {};
  std::optional<std::string> last = {};  // as whoever asks knows it
  std::jthread thread = {};

  void run() {
    while (true) {
      come.acquire();
      const std::uint64_t wanted = asked.load(std::memory_order_acquire);
      if (done.load(std::memory_order_relaxed) == wanted) {  // with an earlier one
        if (over.load(std::memory_order_acquire)) return;
        continue;
      }
      std::optional<std::string> outcome = action();
      {
        const std::lock_guard lock(mutex);
        result = std::move(outcome);
      }
      done.store(wanted, std::memory_order_release);
    }
  }
};

Beside::Beside(std::function<std::optional<std::string>()> action)
    : shared_(std::make_unique<Shared>(std::move(action))) {
  shared_->thread = std::jthread([shared = shared_.get()] { shared->run(); });
}

Beside::~Beside() {
  shared_->over.store(true, std::memory_order_release);
  shared_->come.release();
  shared_->thread.join();
}

bool Beside::is_busy() const {
  return shared_->done.load(std::memory_order_acquire) !=
         shared_->asked.load(std::memory_order_relaxed);
}

std::optional<std::string> Beside::ask() {
  if (const std::unique_lock lock(shared_->mutex, std::try_to_lock); lock)
    shared_->last = shared_->result;
  shared_->asked.fetch_add(1, std::memory_order_release);
  shared_->come.release();
  return shared_->last;
}

}  // namespace windwright::guard
