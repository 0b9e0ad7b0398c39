// SPDX-License-Identifier: Apache-2.0
#include "guard/stop_sequence.h"

#include "bench/bench.h"
#include "bench/device.h"
#include "bench/safe_state.h"

namespace windwright::guard {
namespace {

constexpr double standstill_rad_s = 1.0;  // 10 turns a minute
constexpr double shortest_still_s = 1.0;

}  // namespace

StopSequence::StopSequence(const bench::Bench& bench, bench::Device& device, const Options& options)
    : device_(device), options_(options) {
  for (const bench::Actuator& actuator : bench.actuators) {
    if (actuator.name == bench::load_selector && options.load_selector.value_or(0.0) == 0.0)
      device.set(actuator.name, bench::loaded_position(actuator));
  }
  device.set("fan_pct", 0.0);
}

void StopSequence::advance(double block_s, double rotor_speed_rad_s) {
  if (finished_) return;
  passed_s_ += block_s;
  still_s_ = rotor_speed_rad_s < standstill_rad_s ? still_s_ + block_s : 0.0;
  if (still_s_ < shortest_still_s && passed_s_ < options_.longest_s) return;
  finished_ = true;
  if (options_.stop_category == 1) device_.stop();
}

}  // namespace windwright::guard
