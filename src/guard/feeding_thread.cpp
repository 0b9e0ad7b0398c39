// SPDX-License-Identifier: Apache-2.0
#include "guard/feeding_thread.h"

#include <atomic>
#include <functional>
#include <memory>
#include <optional>
#include <semaphore>
#include <string>
#include <thread>
#include <utility>

namespace windwright::guard {

struct FeedingThread::Shared {
  std::function<std::optional<std::string>()> action;
  std::counting_semaphore<2> wanted{0};  // a wish and the end
  std::atomic<bool> over = false;
  std::atomic<bool> under_way = false;  // then `result` is the thread's
  std::optional<std::string> result = {};
  std::optional<std::string> last = {};
  std::jthread thread = {};

  void run() {
    while (true) {
      wanted.acquire();
      if (over.load(std::memory_order_acquire)) return;
      result = action();
      under_way.store(false, std::memory_order_release);
    }
  }
};

FeedingThread::FeedingThread(std::function<std::optional<std::string>()> action)
    : shared_(std::make_unique<Shared>(std::move(action))) {
  shared_->thread = std::jthread([shared = shared_.get()] { shared->run(); });
}

FeedingThread::~FeedingThread() {
  shared_->over.store(true, std::memory_order_release);
  shared_->wanted.release();
  shared_->thread.join();
}

std::optional<std::string> FeedingThread::feed() {
  if (!shared_->under_way.load(std::memory_order_acquire)) {
    shared_->last = shared_->result;
    shared_->under_way.store(true, std::memory_order_relaxed);
    shared_->wanted.release();
  }
  return shared_->last;
}

}  // namespace windwright::guard
