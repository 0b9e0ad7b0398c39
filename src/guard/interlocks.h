// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "base/clock.h"
#include "bench/bench.h"
#include "bench/device.h"
#include "metrology/certificate.h"

#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <limits>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::guard {

/// Why and how the bench is to be stopped.
struct Trip {
  std::string interlock;
  int stop_category;   // IEC 60204-1
  std::string cause;   // in words: what was seen, what it means
  std::string check;   // what to look at next; may be empty
  base::UtcTime time;  // device time of the block
  // After ISA-18.2 practice; empty where no interlock of the bench has tripped.
  std::string priority = {};
  std::string consequence = {};
  std::string respond = {};  // how soon
  /// What was seen, for readers of another language: above, below, upper_end, lower_end (of the
  /// converter), lost, stuck, clock, disk; empty where no interlock of the bench has tripped.
  std::string_view seen = {};
  double value = std::numeric_limits<double>::quiet_NaN();  // that was judged; NaN: none
};

/// Cause, what to look at next, and how soon.
std::string in_words(const Trip& trip);

/// An interlock whose condition came after the first cause, and how often it came.
struct Follower {
  std::string interlock;
  int times;
};
/// One line for all of them: nobody is told each time. Empty where nothing followed.
std::string in_words(const std::vector<Follower>& followers);

/// Judges every block of samples by the bench's interlocks. Fails towards stop: a value that is not
/// a number, or stands at the end of the converter behind which its bound lies, counts as beyond
/// it. Trips latch: the first cause is kept until `reset`; what follows from it is told only where
/// it asks for a harder stop. No allocation while nothing trips.
class Interlocks {
 public:
  struct Options {
    /// Channels whose values are wanted beside those that are judged.
    std::vector<std::string> also = {};
    /// Where the recording grows: what interlocks on the disk look at. Empty: they are not judged.
    std::filesystem::path folder = {};
  };
  /// @param certificates  (channels)
  Interlocks(const bench::Bench& bench, std::vector<metrology::Certificate> certificates,
             Options options);

  /// @param block  all channels; its length counts for hold times
  /// @return  the first trip, or a later one of a lower stop category than any before
  std::optional<Trip> judge(const bench::SampleBlock& block);

  /// The trip that came first since the last reset.
  const std::optional<Trip>& first_out() const { return first_out_; }
  /// What has come since the first cause, that one's own returns included, in the bench's order.
  std::vector<Follower> followers() const;
  /// Names of those whose condition holds at the last block, in the bench's order.
  std::vector<std::string> standing() const;
  /// Takes the latch back where no condition stands any more; false where one does.
  bool reset();

  /// Values of the last block of a channel that is judged or wanted. (samples)
  std::span<const double> values(std::string_view channel) const;

 private:
  struct State {
    double held_s = 0.0;
    bool standing = false;
    int times = 0;  // it began to stand, since the last reset
  };
  struct Last {
    std::int64_t sample;
    base::UtcTime start;
  };

  void take_values(const bench::SampleBlock& block);
  double judged_value(const bench::Interlock& interlock) const;
  bool is_at_end(const bench::SampleBlock& block, std::size_t channel, bool upper) const;
  bool is_violated(std::size_t index, const bench::SampleBlock& block);
  bool is_out_of_bounds(const bench::Interlock& interlock, bool tightened,
                        const bench::SampleBlock& block) const;
  bool is_stuck(std::size_t index, const bench::SampleBlock& block);
  double clock_step_s(const bench::SampleBlock& block) const;
  double free_MB(const bench::SampleBlock& block);
  /// Says in a trip what was seen, in words and for readers of another language.
  void describe(const bench::Interlock& interlock, const bench::SampleBlock& block,
                Trip& trip) const;

  const bench::Bench& bench_;
  std::vector<metrology::Certificate> certificates_;
  Options options_;
  std::vector<std::size_t> watched_;         // channels
  std::vector<std::vector<double>> values_;  // (channels) of the last block; empty if not watched
  std::vector<State> states_;                // (interlocks)
  std::vector<std::int32_t> last_count_;     // (interlocks) of those that look for a stuck channel
  std::optional<Last> last_;                 // block
  double clock_step_s_ = 0.0;
  double free_MB_ = 0.0;
  double looked_ago_s_ = 1e9;
  std::optional<Trip> first_out_;
  int category_ = 3;  // of the hardest trip since the last reset; 3: none
};

}  // namespace windwright::guard
