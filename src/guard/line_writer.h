// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "base/clock.h"

#include <functional>
#include <memory>
#include <string>

namespace windwright::guard {

/// Writes lines of a logbook on a thread of its own, in order. Whoever adds one never waits, not
/// even for a lock that the writer holds: a thread ahead of all others would then be as late as the
/// last of them.
class LineWriter {
 public:
  struct Line {
    base::UtcTime time;
    std::string event;
    std::string text;
  };
  /// @param write  on the thread, or on the destructor's; throws nothing
  explicit LineWriter(std::function<void(const Line&)> write);
  /// When everything is written.
  ~LineWriter();
  LineWriter(const LineWriter&) = delete;
  LineWriter& operator=(const LineWriter&) = delete;

  /// One thread. Where 256 lines wait already, it is kept until go_on.
  void add(Line line);
  /// By whoever adds, now and then.
  void go_on();

 private:
  struct Way;
  std::unique_ptr<Way> way_;
};

}  // namespace windwright::guard
