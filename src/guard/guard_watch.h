// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "bench/device.h"
#include "guard/interlocks.h"
#include "guard/own_way.h"
#include "guard/safe_command.h"
#include "guard/stop_logic.h"
#include "guard/stop_sequence.h"
#include "guard/tap.h"

#include <chrono>
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

struct GuardOptions {
  double silence_s;      // of a running acquisition, then the bench is stopped
  double block_s = 0.0;  // of the acquisition: its samples are no older than that and silence_s
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
  /// @param tell        event (acquisition, trip, consequence, stopped, followers, fault, reset,
  ///                    refused reset, end) and its text, after what is urgent was done; to wait in
  ///                    there is to be silent
  GuardWatch(Tap tap, GuardOptions options, std::function<Judge()> make_judge, OwnWay own_way,
             std::function<void(std::string_view event, const std::string& text)> tell);

  /// At least five times in silence_s, and whenever the acquisition has written.
  void look(Instant now);
  void wait(std::chrono::nanoseconds longest) const { tap_.wait(longest); }
  /// The guard ends: a bench that is driven, or was left driven, is made safe.
  void end(Instant now);
  /// Behind the end, again and again. @return  whether all that was commanded has been answered,
  /// and told
  bool is_answered();
  /// Behind all answers. @return  whether the last command that was given was obeyed
  bool is_left_safe() const;

  State state() const { return logic_.state(); }
  /// The first cause since the last reset; empty: not tripped.
  const std::string& tripped() const { return cause_; }

 private:
  struct Seen {  // of the acquisition, at this look
    std::uint64_t life = 0;
    bool lives = false;
    std::optional<Pulse> pulse = {};
  };
  void see_who_is_there(Instant now);
  void judge_anew(std::uint64_t life);
  void keep_followers();
  void tell_who_is_there();
  void judge_blocks(Instant now);
  std::optional<std::string> acquisition_is_gone(Instant now);
  void listen(Instant now);
  void follow_wishes(Instant now);
  void follow_stop(Instant now);
  void watch_the_rotor(Instant now);
  void take(Event event, const std::string& cause, Instant now);
  void tell_stopped();
  void hear_of_safe_state();
  void make_safe_again(Instant now);
  std::string still_wrong(Instant now);
  void answer_reset(Instant now);
  void feed(Instant now);
  void forget_feed();
  void make_safe_behind_a_drive(Instant now);
  std::vector<std::string> standing(Instant now) const;
  /// Empty: the samples of this acquisition are fresh enough, but for a pause.
  std::string nothing_to_judge_by(Instant now, std::chrono::seconds paused) const;
  bool is_driven() const;  // or is to be
  bool is_on() const;      // the fan
  /// Whether it still has to see enough of a drive that was on before it.
  bool joins(Instant now) const;
  void beat(Instant now);

  Tap tap_;
  GuardOptions options_;
  std::function<Judge()> make_judge_;
  SafeCommand safe_;
  Command feed_;
  std::function<void(std::string_view, const std::string&)> tell_;
  Judge judge_;
  StopLogic logic_;
  bench::SampleBlock block_;
  Seen seen_;
  std::string cause_;
  std::string last_cause_;             // told
  std::optional<Instant> stop_begun_;  // a controlled stop that it watches
  bool removes_power_ = false;
  std::uint64_t removal_ = 1;                // the command by which it did, first
  std::optional<std::uint64_t> power_goes_;  // that one, while it is not told what became of it
  std::optional<std::uint64_t> heard_feed_;  // nothing: the watchdog is not being fed
  std::optional<Instant> fed_;
  std::uint64_t missed_ = 0;                // blocks of this acquisition
  std::optional<Instant> judged_;           // the last block, by this judge
  std::optional<Instant> turns_;            // since when the rotor has, with nothing to drive it
  std::optional<std::string> way_is_gone_;  // why the device could not be fed the last time
  bool way_is_tried_ = false;               // since this acquisition is here
  std::uint64_t kept_life_ = 0;             // whose followers are kept
  std::uint64_t judge_life_ = 0;            // the acquisition that `judge_` knows
  bool has_driven_ = false;                 // the acquisition, or wanted to
  bool present_ = false;                    // the acquisition, at the last look
  bool has_looked_ = false;
  std::optional<Instant> joins_until_;  // a drive that was on before this guard
  std::uint64_t told_life_ = 0;         // of an acquisition that is told to have begun; 0: none
  std::string followers_;               // of the one before, not told yet
  std::uint64_t dealt_ = 0;  // pulse of an acquisition that has ended, up to which nothing is left
};

}  // namespace windwright::guard
