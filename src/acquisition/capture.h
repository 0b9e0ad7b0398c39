// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "acquisition/live_values.h"
#include "acquisition/ring.h"
#include "acquisition/trigger.h"
#include "bench/bench.h"
#include "bench/device.h"
#include "recording/recording.h"

#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>

namespace windwright::acquisition {

struct CaptureOptions {
  Trigger trigger;
  double before_s = 1.0;  // kept from before the trigger
  double after_s = 1.0;
};

/// Waits for a trigger and keeps what lies around it at full rate: a start-up, a trip.
class Capture {
 public:
  /// @throws BadInput  no such channel, with the names there are
  Capture(const bench::Bench& bench, const std::string& device, LiveValues& live,
          const CaptureOptions& options);

  /// @param block  the next; `live` is given it here
  /// @return       true once everything wanted is there
  bool take(const bench::SampleBlock& block);
  bool triggered() const { return at_.has_value(); }
  /// The sample that triggered, counted from the first block's first.
  std::optional<std::int64_t> at() const { return at_; }
  /// @return  what was written: less before the trigger where it came early
  recording::Window save(const std::filesystem::path& file) const;

 private:
  LiveValues& live_;
  TriggerWatch watch_;
  std::size_t channel_;
  std::int64_t before_;
  std::int64_t after_;
  Ring ring_;
  std::optional<std::int64_t> at_;
};

}  // namespace windwright::acquisition
