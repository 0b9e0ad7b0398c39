// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "acquisition/live_power.h"
#include "acquisition/live_values.h"
#include "base/clock.h"
#include "bench/bench.h"
#include "bench/device.h"
#include "metrology/certificate.h"

#include <boost/json/fwd.hpp>

#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <utility>
#include <vector>

namespace windwright::publishing {

/// What the samples of a stretch of time amount to, as JSON for whoever looks on: means with the
/// uncertainty that the certificates give them, and AC power of the newest window. Not the path to
/// results: those come from the recording.
class IntervalValues {
 public:
  /// @param certificates  (channels); a channel without one shows volts at its converter
  IntervalValues(const bench::Bench& bench,
                 const std::vector<std::optional<metrology::Certificate>>& certificates);

  void take(const bench::SampleBlock& block);
  std::int64_t samples() const { return samples_; }
  /// Below the bench's topic, and what stands there: docs/publishing.md.
  /// @param age_s  of the newest sample here, since it came
  std::vector<std::pair<std::string, boost::json::object>> payloads(double age_s) const;
  /// The next stretch begins.
  void begin_anew();

 private:
  /// Of all samples of the stretch so far.
  struct Sums {
    double mean = 0.0;
    double squares = 0.0;  // of the distances from the mean
    double lowest = 0.0;
    double highest = 0.0;
  };

  boost::json::object channel_payload(std::size_t index) const;
  std::optional<metrology::Estimate> estimate(std::size_t channel) const;

  std::vector<std::optional<metrology::Certificate>> certificates_;
  acquisition::LiveValues live_;
  acquisition::LivePower power_;
  std::vector<Sums> sums_;  // (live channels)
  std::int64_t samples_ = 0;
  double sample_rate_hz_;
  base::UtcTime before_;  // device time one sample after the newest
};

}  // namespace windwright::publishing
