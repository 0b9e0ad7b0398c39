// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <condition_variable>
#include <cstddef>
#include <deque>
#include <functional>
#include <mutex>
#include <stop_token>
#include <thread>

namespace windwright::server {

/// A thread that writes things down in order, so that whoever drives a bench waits for no disk.
class Scribe {
 public:
  Scribe() : thread_([this](const std::stop_token& over) { run(over); }) {}
  /// Writes what there is to write, and ends.
  ~Scribe() { close(); }
  Scribe(const Scribe&) = delete;
  Scribe& operator=(const Scribe&) = delete;

  /// @param work  throws nothing
  void post(std::function<void()> work) {
    {
      const std::scoped_lock lock(mutex_);
      work_.push_back(std::move(work));
    }
    changed_.notify_all();
  }
  /// Returns when everything posted before is done.
  void wait() {
    std::unique_lock lock(mutex_);
    changed_.wait(lock, [&] { return work_.empty() && !busy_; });
  }
  void close() {
    thread_.request_stop();
    changed_.notify_all();
    if (thread_.joinable()) thread_.join();
  }

 private:
  void run(const std::stop_token& over) {
    std::unique_lock lock(mutex_);
    for (;;) {
      changed_.wait(lock, [&] { return over.stop_requested() || !work_.empty(); });
      if (work_.empty()) return;
      const std::function<void()> work = std::move(work_.front());
      work_.pop_front();
      busy_ = true;
      lock.unlock();
      work();
      lock.lock();
      busy_ = false;
      changed_.notify_all();
    }
  }

  std::mutex mutex_;
  std::condition_variable changed_;
  std::deque<std::function<void()>> work_;
  bool busy_ = false;
  std::jthread thread_;  // last: begins when everything else is there
};

}  // namespace windwright::server
