// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "bench/instrument_tables.h"
#include "devices/line_format.h"

#include <cstdint>
#include <limits>
#include <optional>
#include <string>

namespace windwright::devices {

/// Reconciles the time of a device that samples by itself with this computer's.
///
/// Which sample a line is, the device says: by its counter, else by its own time, else by the order
/// of the lines. So jitter on the way shifts nothing, and what is missing is known exactly. A line
/// that would lie more than a second in the future by this computer's clock is not believed, until
/// a second one follows it: then the device was started again, and the host's clock says how many
/// samples that cost. After a lost connection the host's clock also says how often a counter has
/// begun again, and what was missed where there is no counter.
///
/// When a sample was taken, the host's steady clock says: of all lines of some seconds the one that
/// was under way shortest, since delays only add. What the two clocks move against each other is
/// the drift. Without a counter or a time, samples lost on the way without a broken line show only
/// as drift.
class DeviceClock {
 public:
  DeviceClock(const bench::LinesDevice& described, double sample_rate_hz);

  /// @param host_s  when the line came, never stepping back
  /// @return  the count of the sample since the first, above the one before; nothing: the same
  ///          sample again, or not to be believed
  std::optional<std::int64_t> place(const LineStamp& stamp, double host_s);
  /// A line that could not be read, or samples known to be lost.
  void dropped(std::int64_t samples = 1) { dropped_ += samples; }
  /// The connection was made anew, or lines were thrown away unread.
  void interrupted() { interrupted_ = true; }

  /// When a sample was taken, on the host's clock.
  double host_s(std::int64_t sample) const;
  /// How far the device's clock has fallen behind the host's since the beginning.
  double drift_s() const { return offset_s_ - first_offset_s_; }
  /// Nothing: as described. Samples a second by the host's clock where they were for some
  /// thirty seconds more than 2 % away from what the bench's file says.
  std::optional<double> wrong_rate_hz() const { return wrong_rate_hz_; }
  /// @throws DeviceFault  there is a wrong rate
  void require_rate(const std::string& device) const;

 private:
  std::int64_t host_index(double host_s, double offset_s) const;
  std::int64_t told_steps(const LineStamp& stamp, double host_s) const;
  std::int64_t without_stamp(double host_s) const;
  bool follows_suspect(const LineStamp& stamp) const;
  void measure(std::int64_t sample, double host_s);
  void end_window(double host_s, double shortest_s);

  const bench::LinesDevice& described_;
  double sample_rate_hz_;
  bool begun_ = false;
  std::int64_t last_ = 0;
  LineStamp last_stamp_;
  double last_host_s_ = 0.0;
  std::int64_t time_sample_ = 0;  // sample at which the device's time was last taken as it is
  double time_s_ = 0.0;           // of the device since then
  std::int64_t dropped_ = 0;      // since the last sample
  bool interrupted_ = false;
  std::optional<LineStamp> suspect_;

  double offset_s_ = 0.0;  // host's time of sample 0, as the quickest lines show it
  double first_offset_s_ = 0.0;
  double window_offset_s_ = 0.0;  // at the end of the last window
  std::int64_t windows_ = 0;
  double window_begun_s_ = 0.0;
  std::int64_t window_samples_ = 0;
  double shortest_s_ = std::numeric_limits<double>::infinity();
  double last_slope_ = 0.0;
  int wrong_windows_ = 0;  // in a row
  std::optional<double> wrong_rate_hz_;
};

/// What is told of a drift of that size.
std::string drift_remark(double drift_s);

}  // namespace windwright::devices
