// SPDX-License-Identifier: Apache-2.0
#include "devices/device_clock.h"

#include "base/errors.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <limits>
#include <optional>
#include <string>

namespace windwright::devices {
namespace {

constexpr double longest_future_s = 1.0;
constexpr double window_s = 5.0;
constexpr std::int64_t fewest_in_window = 20;
constexpr double largest_slope = 0.02;
/// In a row: what piles up before a busy computer, or is caught up, looks like another rate for a
/// while.
constexpr int most_wrong_windows = 5;

}  // namespace

DeviceClock::DeviceClock(const bench::LinesDevice& described, double sample_rate_hz)
    : described_(described), sample_rate_hz_(sample_rate_hz) {}

double DeviceClock::host_s(std::int64_t sample) const {
  return offset_s_ + static_cast<double>(sample) / sample_rate_hz_;
}

std::int64_t DeviceClock::host_index(double host_s, double offset_s) const {
  return std::max<std::int64_t>(last_ + 1, std::llround((host_s - offset_s) * sample_rate_hz_));
}

// From the first offset: the present one would carry the lateness of one line on to the next.
std::int64_t DeviceClock::without_stamp(double host_s) const {
  return interrupted_ ? host_index(host_s, first_offset_s_) : last_ + 1 + dropped_;
}

// How many samples after the last one the device says this is.
std::int64_t DeviceClock::told_steps(const LineStamp& stamp, double host_s) const {
  const double passed_s = host_s - last_host_s_;
  if (described_.counter) {
    const std::uint64_t period = std::uint64_t{1} << described_.counter_bits;
    auto steps = static_cast<std::int64_t>((stamp.counter - last_stamp_.counter) & (period - 1));
    if (interrupted_) {
      const double around =
          (passed_s * sample_rate_hz_ - static_cast<double>(steps)) / static_cast<double>(period);
      steps += std::max<std::int64_t>(0, std::llround(around)) * static_cast<std::int64_t>(period);
    }
    return steps;
  }
  const double period_s = std::ldexp(described_.time_unit_s, described_.time_bits);
  double step_s = (stamp.time - last_stamp_.time) * described_.time_unit_s;
  if (step_s < 0.0) step_s += period_s;
  if (interrupted_) step_s += std::max(0.0, std::round((passed_s - step_s) / period_s)) * period_s;
  return time_sample_ + std::llround((time_s_ + step_s) * sample_rate_hz_) - last_;
}

// The suspect and this one are next to each other.
bool DeviceClock::follows_suspect(const LineStamp& stamp) const {
  if (!suspect_) return false;
  if (described_.counter) {
    const std::uint64_t period = std::uint64_t{1} << described_.counter_bits;
    return ((stamp.counter - suspect_->counter) & (period - 1)) == 1;
  }
  const double step_s = (stamp.time - suspect_->time) * described_.time_unit_s;
  return std::llround(step_s * sample_rate_hz_) == 1;
}

std::optional<std::int64_t> DeviceClock::place(const LineStamp& stamp, double host_s) {
  std::int64_t sample = 0;
  const bool stamped = described_.counter || described_.time;
  if (!begun_) {
    begun_ = true;
    offset_s_ = first_offset_s_ = window_begun_s_ = host_s;
  } else if (!stamped) {
    sample = without_stamp(host_s);
  } else {
    const std::int64_t steps = told_steps(stamp, host_s);
    const double ahead_s = static_cast<double>(last_ + steps) / sample_rate_hz_ -
                           (host_s - offset_s_) - 0.01 * (host_s - last_host_s_);
    if (steps <= 0) return std::nullopt;
    sample = last_ + steps;
    if (ahead_s > longest_future_s) {
      if (!follows_suspect(stamp)) {
        suspect_ = stamp;
        return std::nullopt;
      }
      sample = host_index(host_s, offset_s_);
      time_sample_ = sample;
      time_s_ = 0.0;
    } else if (described_.time) {
      const double period_s = std::ldexp(described_.time_unit_s, described_.time_bits);
      const double step_s = (stamp.time - last_stamp_.time) * described_.time_unit_s;
      // What told_steps found, to the last digit of the device's own time.
      const double told_s = static_cast<double>(sample - time_sample_) / sample_rate_hz_ - time_s_;
      time_s_ += step_s + std::round((told_s - step_s) / period_s) * period_s;
    }
  }
  suspect_.reset();
  last_ = sample;
  last_stamp_ = stamp;
  last_host_s_ = host_s;
  dropped_ = 0;
  interrupted_ = false;
  measure(sample, host_s);
  return sample;
}

void DeviceClock::measure(std::int64_t sample, double host_s) {
  const double way_s = host_s - static_cast<double>(sample) / sample_rate_hz_;
  shortest_s_ = std::min(shortest_s_, way_s);
  // Nothing comes before it was taken.
  offset_s_ = std::min(offset_s_, way_s);
  if (windows_ == 0) first_offset_s_ = window_offset_s_ = offset_s_;
  ++window_samples_;
  if (host_s - window_begun_s_ >= window_s && window_samples_ >= fewest_in_window)
    end_window(host_s, shortest_s_);
}

void DeviceClock::end_window(double host_s, double shortest_s) {
  const double slope = (shortest_s - window_offset_s_) / (host_s - window_begun_s_);
  const bool wrong = windows_ > 0 && std::abs(slope) > largest_slope;
  const bool again = wrong && slope * last_slope_ > 0.0;
  wrong_windows_ = again ? wrong_windows_ + 1 : wrong ? 1 : 0;
  if (wrong_windows_ > most_wrong_windows) wrong_rate_hz_ = sample_rate_hz_ * (1.0 - slope);
  last_slope_ = slope;
  offset_s_ = window_offset_s_ = shortest_s;
  ++windows_;
  window_begun_s_ = host_s;
  window_samples_ = 0;
  shortest_s_ = std::numeric_limits<double>::infinity();
}

void DeviceClock::require_rate(const std::string& device) const {
  if (!wrong_rate_hz_) return;
  throw base::DeviceFault(
      device,
      fmt::format("it takes {:.4g} samples a second by this computer's clock, and the bench's file "
                  "says {:g}",
                  *wrong_rate_hz_, sample_rate_hz_),
      "sample_rate_hz, the counter's or time's column and unit, and lost samples");
}

std::string drift_remark(double drift_s) {
  return fmt::format(
      "the device's clock and this computer's have moved apart by {:.3g} s, the device {}",
      std::abs(drift_s), drift_s > 0.0 ? "behind" : "ahead");
}

}  // namespace windwright::devices
