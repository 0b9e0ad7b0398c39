// SPDX-License-Identifier: Apache-2.0
#include "cli/stop_on_signal.h"

#include <csignal>
#include <ctime>
#include <stop_token>
#include <thread>

namespace windwright::cli {

namespace {

sigset_t requests_to_end() {
  sigset_t signals{};
  sigemptyset(&signals);
  sigaddset(&signals, SIGINT);
  sigaddset(&signals, SIGTERM);
  return signals;
}

}  // namespace

StopOnSignal::StopOnSignal() {
  const sigset_t signals = requests_to_end();
  pthread_sigmask(SIG_BLOCK, &signals, &before_);
  watcher_ = std::jthread([this, signals](const std::stop_token& over) {
    constexpr timespec patience{.tv_sec = 0, .tv_nsec = 50'000'000};
    while (!over.stop_requested()) {
      if (sigtimedwait(&signals, nullptr, &patience) > 0) source_.request_stop();
    }
  });
}

StopOnSignal::~StopOnSignal() {
  watcher_.request_stop();
  watcher_.join();
  pthread_sigmask(SIG_SETMASK, &before_, nullptr);
}

}  // namespace windwright::cli
