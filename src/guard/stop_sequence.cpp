// SPDX-License-Identifier: Apache-2.0
#include "guard/stop_sequence.h"

#include "bench/bench.h"

namespace windwright::guard {
namespace {

constexpr double shortest_still_s = 1.0;

}  // namespace

StopSequence::StopSequence(const bench::Bench& bench, const Options& options)
    : options_(options), travel_s_(bench.actuator("fan_pct").full_travel_s) {}

void StopSequence::advance(double block_s, double rotor_speed_rad_s) {
  if (finished_) return;
  passed_s_ += block_s;
  still_s_ = rotor_speed_rad_s < standstill_rad_s ? still_s_ + block_s : 0.0;
  finished_ =
      passed_s_ >= travel_s_ && (!options_.until_standstill || still_s_ >= shortest_still_s);
}

}  // namespace windwright::guard
