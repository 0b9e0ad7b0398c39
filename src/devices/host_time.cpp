// SPDX-License-Identifier: Apache-2.0
#include "devices/host_time.h"

#include <algorithm>
#include <chrono>
#include <cmath>
#include <string>
#include <vector>

namespace windwright::devices {

HostTime::HostTime(const SteadyClock& clock)
    : clock_(clock), begun_(clock.now()), begun_utc_(base::host_now()), last_start_(begun_utc_) {}

double HostTime::now_s() const {
  return std::chrono::duration<double>(clock_.now() - begun_).count();
}

base::UtcTime HostTime::now() const {
  return begun_utc_ + std::chrono::duration_cast<std::chrono::nanoseconds>(clock_.now() - begun_);
}

base::UtcTime HostTime::block_start(const DeviceClock& device, std::int64_t first) {
  const double drift_s = device.drift_s();
  if (std::abs(drift_s) > std::abs(largest_drift_s_)) largest_drift_s_ = drift_s;
  const std::chrono::nanoseconds after(std::llround(device.host_s(first) * 1e9));
  last_start_ = std::max(last_start_, begun_utc_ + after);
  return last_start_;
}

void HostTime::tell_drift(double longest_s, std::vector<std::string>& remarks) const {
  if (std::abs(largest_drift_s_) > longest_s) remarks.push_back(drift_remark(largest_drift_s_));
}

}  // namespace windwright::devices
