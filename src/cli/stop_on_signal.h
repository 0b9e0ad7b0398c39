// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <csignal>
#include <stop_token>
#include <thread>

namespace windwright::cli {

/// While it lives, Ctrl-C and a request to terminate ask the work to stop instead of ending the
/// program. Make it before any thread starts: they all inherit which signals wait for it.
class StopOnSignal {
 public:
  StopOnSignal();
  StopOnSignal(const StopOnSignal&) = delete;
  StopOnSignal& operator=(const StopOnSignal&) = delete;
  ~StopOnSignal();

  std::stop_token token() const { return source_.get_token(); }

 private:
  sigset_t before_{};
  std::stop_source source_;
  std::jthread watcher_;
};

}  // namespace windwright::cli
