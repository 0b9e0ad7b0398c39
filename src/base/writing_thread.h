// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <functional>
#include <memory>

namespace windwright::base {

/// Writes one thing after the other on a thread of its own, such as logbook and bookmark: a disk
/// may take its time to keep a line, a bench that is driven may not be kept waiting. Any thread may
/// add.
class WritingThread {
 public:
  WritingThread();
  /// When all is written.
  ~WritingThread();
  WritingThread(const WritingThread&) = delete;
  WritingThread& operator=(const WritingThread&) = delete;

  /// Does not wait. What comes behind a job that has thrown is written all the same.
  void add(std::function<void()> job);
  /// Whether there is nothing left to write.
  /// @throws  once, what the first job has thrown that did
  bool is_idle();
  /// Until there is nothing left to write. @throws as is_idle
  void wait();

 private:
  struct Queue;
  std::unique_ptr<Queue> queue_;
};

}  // namespace windwright::base
