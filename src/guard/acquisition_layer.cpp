// SPDX-License-Identifier: Apache-2.0
#include "guard/acquisition_layer.h"

#include "base/text.h"
#include "bench/bench.h"
#include "bench/device.h"
#include "bench/safe_state.h"

#include <fmt/format.h>
#include <fmt/ranges.h>

#include <map>
#include <optional>
#include <stdexcept>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::guard {
namespace {

constexpr const char* fan = "fan_pct";
constexpr double again_s = 0.1;

}  // namespace

AcquisitionLayer::AcquisitionLayer(const bench::Bench& bench, bench::Device& device,
                                   const Options& options)
    : bench_(bench),
      device_(device),
      options_(options),
      logic_(options.tripped.empty() ? State::safe : State::tripped),
      cause_(options.tripped) {}

Words AcquisitionLayer::words() const {
  const auto fan_at = commanded_.find(fan);
  const bool on = fan_at != commanded_.end() && fan_at->second > 0.0;
  const bool driven = is_stopping() || (permits_fan(logic_.state()) && on);
  return {.activity = wants_ || driven ? Activity::running : Activity::standing,
          .state = logic_.state(),
          .driven = driven,
          .holds_off = is_tripped() && power_removed_};
}

// What the table asks for, in the order of what hurts.
void AcquisitionLayer::act(Event event) {
  const Action actions = logic_.take(event);
  if (has(actions, Action::remove_power)) {
    device_.stop();
    if (!std::exchange(power_removed_, true)) removed_for_s_ = 0.0;
    commanded_.clear();
    sequence_.reset();
  }
  if (has(actions, Action::begin_controlled_stop)) begin_controlled_stop(is_tripped());
  if (has(actions, Action::unlatch)) {
    cause_.clear();
    power_removed_ = false;
  }
  // A stop that was asked for and becomes a trip goes on until the rotor stands.
  if (!is_stopping()) sequence_.reset();
  if (logic_.state() != State::running) wants_ = false;
}

// A load first, so that nothing lets the rotor run away, then the fan down as fast as it travels.
// What is connected by hand stays as it is: nobody goes near a rotor that turns, and who waits for
// a person neither reads nor judges.
void AcquisitionLayer::begin_controlled_stop(bool after_trip) {
  sequence_.emplace(bench_, StopSequence::Options{.until_standstill = after_trip,
                                                  .longest_s = options_.longest_stop_s});
  for (const bench::Actuator& actuator : bench_.actuators) {
    const bool open = commanded(actuator.name).value_or(0.0) == 0.0;
    if (actuator.name == bench::load_selector && !actuator.manual && open)
      set(actuator.name, bench::loaded_position(actuator));
  }
  if (after_trip) commanded_.erase(fan);  // said again, whatever was said before
  set(fan, 0.0);
  unsaid_s_ = 0.0;
}

// What was commanded once may have come undone behind a sensor that hides it: a load falls off, a
// selector is turned by hand. Of a rotor that stands no more has to be said after a while.
void AcquisitionLayer::command_again(double block_s, double rotor_speed_rad_s) {
  const bool holds_off = is_tripped() && power_removed_;
  if (!is_stopping() && !holds_off) return;
  removed_for_s_ += block_s;
  unsaid_s_ += block_s;
  if (unsaid_s_ + 0.5 * block_s < again_s) return;
  unsaid_s_ = 0.0;
  if (is_stopping()) {
    for (const bench::Actuator& actuator : bench_.actuators) {
      if (actuator.manual || actuator.name != bench::load_selector) continue;
      device_.set(actuator.name,
                  commanded(actuator.name).value_or(bench::loaded_position(actuator)));
    }
    device_.set(fan, 0.0);
  } else if (removed_for_s_ < options_.longest_stop_s || !(rotor_speed_rad_s < standstill_rad_s)) {
    device_.stop();
  }
}

std::optional<std::string> AcquisitionLayer::start(const std::vector<std::string>& standing) {
  const auto refused = [&](const std::string& why) {
    act(Event::start_asked_unready);
    if (options_.other.tell) options_.other.tell(words(), cause_);
    return std::optional(why);
  };
  if (permits_fan(logic_.state())) return std::nullopt;
  if (is_tripped()) return refused(fmt::format("tripped, and not reset yet: {}", cause_));
  if (is_stopping()) return refused("it is being stopped: wait until it stands");
  if (!standing.empty()) {
    return refused(fmt::format("not started while it stands: {}", fmt::join(standing, ", ")));
  }
  if (options_.other.ask_to_run) {
    wants_ = true;
    if (const std::optional<std::string> why = options_.other.ask_to_run(words())) {
      return refused(*why);
    }
  }
  wants_ = true;
  logic_.take(Event::start_asked);
  return std::nullopt;
}

void AcquisitionLayer::set(const std::string& actuator, double value) {
  if (actuator == fan && value > 0.0 && !permits_fan(logic_.state())) {
    throw std::logic_error("the fan is commanded without a start");
  }
  const auto known = commanded_.find(actuator);
  if (known != commanded_.end() && known->second == value) return;
  device_.set(actuator, value);
  commanded_[actuator] = value;
  // An instrument may take its time for each, and no block comes meanwhile.
  if (permits_fan(logic_.state()) && options_.other.tell) options_.other.tell(words(), cause_);
}

std::optional<double> AcquisitionLayer::commanded(const std::string& actuator) const {
  const auto known = commanded_.find(actuator);
  return known == commanded_.end() ? std::nullopt : std::optional(known->second);
}

void AcquisitionLayer::ask_end() {
  act(Event::end_asked);
  if (options_.other.tell) options_.other.tell(words(), cause_);
}

void AcquisitionLayer::take(Event event, const Trip& cause) {
  const State before = logic_.state();
  act(event);
  if (!is_latched(before) && is_tripped()) cause_ = in_words(cause);
  if (logic_.state() != before && options_.other.tell) options_.other.tell(words(), cause_);
}

void AcquisitionLayer::lose_device(const std::string& what) {
  take(Event::violation_0,
       {.interlock = "device", .stop_category = 0, .cause = what, .check = {}, .time = {}});
}

AcquisitionLayer::Step AcquisitionLayer::look(const bench::SampleBlock& block,
                                              const std::optional<Trip>& trip,
                                              double rotor_speed_rad_s) {
  std::optional<Trip> told;
  // Its own eyes first: power is gone before the block is on its way anywhere.
  if (trip) {
    take(violation_event(trip->stop_category), *trip);
    told = trip;
  }
  if (options_.other.look) {
    if (const auto heard = options_.other.look(block, words(), cause_)) {
      const bool was_tripped = is_tripped();
      const Trip of_the_guard{.interlock = "guard process",
                              .stop_category = heard->event == Event::other_tripped ? 1 : 0,
                              .cause = heard->cause,
                              .check = {},
                              .time = block.start};
      take(heard->event, of_the_guard);
      if (!was_tripped && is_tripped()) told = of_the_guard;
    }
  }
  if (sequence_) {
    sequence_->advance(static_cast<double>(block.samples) / bench_.sample_rate_hz,
                       rotor_speed_rad_s);
    const bool overdue = sequence_->overdue();
    if (sequence_->finished() || overdue) {
      const Trip late{.interlock = "controlled stop",
                      .stop_category = 0,
                      .cause = fmt::format("the controlled stop was not over after {:g} s",
                                           options_.longest_stop_s),
                      .check = "fan, brake and speed sensor",
                      .time = block.start};
      const bool was_tripped = is_tripped();
      take(overdue ? Event::stop_overdue : Event::stop_finished, late);
      if (!was_tripped && is_tripped()) told = late;
    }
  }
  command_again(static_cast<double>(block.samples) / bench_.sample_rate_hz, rotor_speed_rad_s);
  return {.trip = told, .over = !is_stopping()};
}

std::optional<std::string> AcquisitionLayer::reset(const std::vector<std::string>& standing,
                                                   bool person_at_bench) {
  const bool was_tripped = is_tripped();
  act(reset_event(standing.empty(), person_at_bench));
  if (!is_tripped() && was_tripped) return std::nullopt;
  if (!was_tripped) return "nothing has tripped";
  if (is_stopping()) return "the stop is not over yet";
  if (!standing.empty()) {
    return fmt::format("the cause is not gone: {}", fmt::join(standing, ", "));
  }
  return "a trip is reset by a person at the bench";
}

}  // namespace windwright::guard
