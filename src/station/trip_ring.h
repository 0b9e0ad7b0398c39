// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "acquisition/ring.h"
#include "bench/bench.h"
#include "bench/device.h"

#include <cstdint>
#include <future>
#include <memory>
#include <optional>
#include <string>

namespace windwright::station {

/// The last minute of a bench at full rate, kept when it trips while nothing is recorded. A kept
/// ring is given away whole, to be saved by another thread, and a fresh one begins: whoever drives
/// the bench waits for no disk.
class TripRing {
 public:
  static constexpr double seconds = 60.0;
  static constexpr double after_s = 10.0;  // of these, behind the trip: how the bench came down

  /// @param bench   must outlive it and the rings given away
  /// @param device  its name, for the recordings
  TripRing(const bench::Bench& bench, std::string device);

  /// In the newest block, or just now. Further trips before the ring was given away change nothing.
  void tripped();
  /// @return  the ring, once it holds all that is wanted of a trip
  std::unique_ptr<const acquisition::Ring> append(const bench::SampleBlock& block);
  /// No more samples will come. @return  what there is of a trip, none without one
  std::unique_ptr<const acquisition::Ring> end();

 private:
  static std::unique_ptr<acquisition::Ring> fresh(const bench::Bench& bench,
                                                  const std::string& device);
  std::unique_ptr<const acquisition::Ring> give();

  const bench::Bench& bench_;
  std::string device_;
  std::unique_ptr<acquisition::Ring> ring_;
  std::optional<std::int64_t> left_;  // samples to come behind a trip
  /// Begun with the trip, on a thread of its own: hundreds of megabytes take a second to be made,
  /// and nobody judges the bench while its driver waits.
  std::future<std::unique_ptr<acquisition::Ring>> next_;
};

}  // namespace windwright::station
