// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <functional>
#include <memory>
#include <optional>
#include <string>

namespace windwright::guard {

/// Feeds a device's watchdog from a thread of its own: an answer that is lost may take seconds, in
/// which whoever judges goes on judging. Without locks.
class FeedingThread {
 public:
  /// @param action  feeds; on the thread. @return  why that is not possible
  explicit FeedingThread(std::function<std::optional<std::string>()> action);
  /// Waits for what is under way.
  ~FeedingThread();
  FeedingThread(const FeedingThread&) = delete;
  FeedingThread& operator=(const FeedingThread&) = delete;

  /// Has it fed, unless that is under way already, and does not wait for it. One thread.
  /// @return  why the last time that has come to an end was not possible; nothing: it was, or none
  ///          has come to an end yet
  std::optional<std::string> feed();

 private:
  struct Shared;
  std::unique_ptr<Shared> shared_;
};

}  // namespace windwright::guard
