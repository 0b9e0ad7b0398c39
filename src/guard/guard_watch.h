// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "bench/device.h"
#include "guard/tap.h"

#include <cstdint>
#include <functional>
#include <optional>
#include <string>
#include <string_view>

namespace windwright::guard {

/// Judges a block. @return  why the bench is to be stopped
using Judge = std::function<std::optional<std::string>(const bench::SampleBlock&)>;

/// The guard's own way to the bench, past the acquisition.
struct OwnWay {
  /// Commands the safe state. Empty where the device takes no second connection: then the
  /// acquisition, which sees that the guard is not content, and the device's watchdog are left.
  /// @return  why it is not, or not known to be
  std::function<std::optional<std::string>()> make_safe = {};
  /// Feeds the guard's share of the device's watchdog. @return  why that is not possible
  std::function<std::optional<std::string>()> feed = {};
};

struct GuardOptions {
  double silence_s;           // of a running acquisition, then the bench is stopped
  std::string configuration;  // of guard/configuration.h
  std::string tripped = {};   // cause of a trip that was not reset yet; empty: none
};

/// The guard process without its clock and its waiting: judges the acquisition's blocks by its own
/// interlocks, watches the acquisition's heartbeat, and gives its own. A trip makes the bench safe,
/// again and again until a person resets it. One thread.
class GuardWatch {
 public:
  /// @param make_judge  a fresh one at the beginning and after every reset
  /// @param tell        event (acquisition, trip, reset, refused reset, end) and its text, after
  /// what
  ///                    is urgent was done; to wait in there is to be silent
  GuardWatch(Tap tap, GuardOptions options, std::function<Judge()> make_judge, OwnWay own_way,
             std::function<void(std::string_view event, const std::string& text)> tell);

  /// At least five times in silence_s, and whenever the acquisition has written.
  void look(Instant now);
  void wait(std::chrono::nanoseconds longest) const { tap_.wait(longest); }
  /// The guard ends: a bench that is being driven is made safe.
  void end(Instant now);

  /// The first cause since the last reset; empty: not tripped.
  const std::string& tripped() const { return tripped_; }

 private:
  void see_who_is_there();
  void judge_blocks(Instant now);
  std::optional<std::string> acquisition_fails(Instant now);
  void trip(const std::string& cause, Instant now);
  std::optional<std::string> make_safe(Instant now);
  void answer_reset();
  void feed(Instant now);

  Tap tap_;
  GuardOptions options_;
  std::function<Judge()> make_judge_;
  OwnWay own_way_;
  std::function<void(std::string_view, const std::string&)> tell_;
  Judge judge_;
  bench::SampleBlock block_;
  std::string tripped_;
  std::optional<Instant> made_safe_;
  std::optional<Instant> fed_;
  std::uint64_t missed_ = 0;  // blocks of this acquisition
  bool present_ = false;      // the acquisition, at the last look
  std::uint64_t dealt_ = 0;   // pulse of an acquisition that has ended, up to which nothing is left
};

}  // namespace windwright::guard
