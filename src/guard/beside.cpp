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
  std::atomic<bool> over = false;
  std::mutex mutex = {};  // of the outcome; whoever asks never waits for it
  Outcome outcome = {};
  Outcome known = {};  // to whoever asks
  std::jthread thread = {};

  void run() {
    for (std::uint64_t done = 0;;) {
      come.acquire();
      const std::uint64_t wanted = asked.load(std::memory_order_acquire);
      if (done == wanted) {  // with an earlier one
        if (over.load(std::memory_order_acquire)) return;
        continue;
      }
      std::optional<std::string> failure = action();
      const std::lock_guard lock(mutex);
      outcome = {.number = done = wanted, .failure = std::move(failure)};
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

std::uint64_t Beside::ask() {
  const std::uint64_t number = shared_->asked.fetch_add(1, std::memory_order_release) + 1;
  shared_->come.release();
  return number;
}

Outcome Beside::outcome() {
  if (const std::unique_lock lock(shared_->mutex, std::try_to_lock); lock)
    shared_->known = shared_->outcome;
  return shared_->known;
}

Command Beside::command() {
  return {.ask = [this] { return ask(); }, .outcome = [this] { return outcome(); }};
}

}  // namespace windwright::guard
