// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "base/clock.h"
#include "devices/connection.h"
#include "devices/device_clock.h"

#include <cstdint>
#include <string>
#include <vector>

namespace windwright::devices {

/// This computer's time of a device that samples by itself: seconds of the steady clock since the
/// device was opened, and UTC as it was then, carried on by the steady clock, so that nothing
/// steps when somebody sets the clock.
class HostTime {
 public:
  explicit HostTime(const SteadyClock& clock);

  double now_s() const;
  base::UtcTime now() const;
  /// When a block's first sample was taken, by the device's clock as reconciled; never before the
  /// block before. Keeps the largest drift.
  base::UtcTime block_start(const DeviceClock& device, std::int64_t first);
  /// Adds what is told of that drift where it was above `longest_s`.
  void tell_drift(double longest_s, std::vector<std::string>& remarks) const;

 private:
  const SteadyClock& clock_;
  SteadyClock::Time begun_;
  base::UtcTime begun_utc_;
  base::UtcTime last_start_;
  double largest_drift_s_ = 0.0;
};

}  // namespace windwright::devices
