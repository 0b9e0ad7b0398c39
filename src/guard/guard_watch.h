// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "bench/device.h"
#include "guard/interlocks.h"
#include "guard/stop_logic.h"
#include "guard/stop_sequence.h"
#include "guard/tap.h"

#include <cstdint>
#include <functional>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::guard {

/// Judges blocks with a memory of its own.
struct Judge {
  std::function<std::optional<Trip>(const bench::SampleBlock&)> judge;
  /// What holds at the last block, by name. May be empty: nothing is ever known to stand.
  std::function<std::vector<std::string>()> standing = {};
  /// What has come after the first cause, in one line. May be empty.
  std::function<std::string()> followers = {};
  /// At the last block. May be empty: the rotor is never known to turn.
  std::function<double()> rotor_speed_rad_s = {};
};

/// The guard's own way to the bench, past the acquisition.
struct OwnWay {
  /// Commands the safe state. Empty where the device takes no second connection: then the
  /// acquisition, which sees that the guard wants power removed, and the device's watchdog are
  /// left.
  /// @return  why it is not, or not known to be
  std::function<std::optional<std::string>()> make_safe = {};
  /// Feeds the guard's share of the device's watchdog. @return  why that is not possible
  std::function<std::optional<std::string>()> feed = {};
};

struct GuardOptions {
  double silence_s;           // of a running acquisition, then the bench is stopped
  std::string configuration;  // of guard/configuration.h
  std::string tripped = {};   // cause of a trip that was not reset yet; empty: none
  double longest_stop_s = guard::longest_stop_s;  // of the acquisition's controlled stop
};

/// The guard process without its clock and its waiting, on the stop logic's table: judges the
/// acquisition's blocks by its own interlocks, watches the acquisition's heartbeat, and gives its
/// own. In a trip of stop category 1 or 2 it lets the acquisition stop the bench under control as
/// long as that is heard, obeys and comes to an end in time, and then looks whether the rotor
/// stands; else, and in category 0 at once, it makes the bench safe by its own way, again and again
/// until a person resets it. It cannot stop a bench under control by itself: it reads nothing, and
/// does not know what is commanded. One thread.
class GuardWatch {
 public:
  /// @param make_judge  a fresh one at the beginning and for every acquisition
  /// @param tell        event (acquisition, trip, consequence, stopped, followers, reset, refused
  ///                    reset, end) and its text, after what is urgent was done; to wait in there
  ///                    is to be silent
  GuardWatch(Tap tap, GuardOptions options, std::function<Judge()> make_judge, OwnWay own_way,
             std::function<void(std::string_view event, const std::string& text)> tell);

  /// At least five times in silence_s, and whenever the acquisition has written.
  void look(Instant now);
  void wait(std::chrono::nanoseconds longest) const { tap_.wait(longest); }
  /// The guard ends: a bench that is being driven is made safe.
  void end(Instant now);

  State state() const { return logic_.state(); }
  /// The first cause since the last reset; empty: not tripped.
  const std::string& tripped() const { return cause_; }

 private:
  struct Seen {  // of the acquisition, at this look
    bool lives = false;
    std::optional<Pulse> pulse = {};
  };
  void see_who_is_there();
  void judge_blocks(Instant now);
  std::optional<std::string> acquisition_is_gone(Instant now);
  void listen(Instant now);
  void follow_wishes(Instant now);
  void follow_stop(Instant now);
  void take(Event event, const std::string& cause, Instant now);
  std::optional<std::string> make_safe(Instant now);
  std::string still_wrong();
  void answer_reset(Instant now);
  void feed(Instant now);
  bool is_driven() const;
  void beat(Instant now);

  Tap tap_;
  GuardOptions options_;
  std::function<Judge()> make_judge_;
  OwnWay own_way_;
  std::function<void(std::string_view, const std::string&)> tell_;
  Judge judge_;
  StopLogic logic_;
  bench::SampleBlock block_;
  Seen seen_;
  std::string cause_;
  std::string last_cause_;             // told
  std::optional<Instant> stop_begun_;  // a controlled stop that it watches
  bool removes_power_ = false;
  std::optional<Instant> made_safe_;
  std::optional<Instant> fed_;
  std::uint64_t missed_ = 0;  // blocks of this acquisition
  std::uint64_t judged_ = 0;  // blocks, by this judge
  bool present_ = false;      // the acquisition, at the last look
  std::uint64_t dealt_ = 0;   // pulse of an acquisition that has ended, up to which nothing is left
};

}  // namespace windwright::guard
