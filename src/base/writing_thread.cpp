// SPDX-License-Identifier: Apache-2.0
#include "base/writing_thread.h"

#include <condition_variable>
#include <deque>
#include <exception>
#include <functional>
#include <memory>
#include <mutex>
#include <thread>
#include <utility>

namespace windwright::base {

struct WritingThread::Queue {
  std::mutex mutex;  // never held while something is written
  std::condition_variable changed;
  std::deque<std::function<void()>> jobs;  // the first is being done
  std::exception_ptr failure;
  bool over = false;
  std::jthread thread;

  void run() {
    std::unique_lock lock(mutex);
    while (true) {
      changed.wait(lock, [this] { return over || !jobs.empty(); });
      if (jobs.empty()) return;
      lock.unlock();
      std::exception_ptr thrown;
      try {
        jobs.front()();
      } catch (...) {
        thrown = std::current_exception();
      }
      lock.lock();
      if (thrown && !failure) failure = thrown;
      jobs.pop_front();
      changed.notify_all();
    }
  }
  void tell_failure() {
    if (const std::exception_ptr told = std::exchange(failure, nullptr))
      std::rethrow_exception(told);
  }
};

WritingThread::WritingThread() : queue_(std::make_unique<Queue>()) {
  queue_->thread = std::jthread([queue = queue_.get()] { queue->run(); });
}

WritingThread::~WritingThread() {
  {
    const std::lock_guard lock(queue_->mutex);
    queue_->over = true;
  }
  queue_->changed.notify_all();
  queue_->thread.join();
}

void WritingThread::add(std::function<void()> job) {
  {
    const std::lock_guard lock(queue_->mutex);
    queue_->jobs.push_back(std::move(job));
  }
  queue_->changed.notify_all();
}

bool WritingThread::is_idle() {
  const std::lock_guard lock(queue_->mutex);
  queue_->tell_failure();
  return queue_->jobs.empty();
}

void WritingThread::wait() {
  std::unique_lock lock(queue_->mutex);
  queue_->changed.wait(lock, [this] { return queue_->jobs.empty(); });
  queue_->tell_failure();
}

}  // namespace windwright::base
