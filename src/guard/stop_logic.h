// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <string_view>

namespace windwright::guard {

/// Where a layer of the guard stands. Acquisition and guard process each keep a machine of their
/// own; neither believes the other's. Stop categories are those of IEC 60204-1, 9.2.
enum class State : std::uint8_t {
  safe,        // fan off, load on; a start may be asked for
  running,     // the only state in which the fan may be commanded
  stopping,    // controlled stop that somebody asked for: no trip
  tripping_2,  // tripped, controlled stop of category 2 under way: power stays on behind it
  tripping_1,  // tripped, controlled stop of category 1 under way: power goes off behind it
  tripped,     // the stop is over, the trip latched until it is reset
};
inline constexpr std::size_t state_count = 6;

enum class Event : std::uint8_t {
  start_asked,          // and all that a start needs is there: no interlock violated, the other
                        // layer running or ready to, the lease held, consent at the bench
  start_asked_unready,  // and something of it is not
  violation_0,          // of an interlock with stop category 0: remove power at once
  violation_1,          // 1: controlled stop, then remove power
  violation_2,          // 2: controlled stop, power left on
  stop_finished,        // the controlled stop has brought the fan to rest
  stop_overdue,         // it has not, in the time it was given
  other_silent,         // no sign of life from the other layer, or one that is too old
  other_tripped,        // the other layer lives and says that it is tripped
  end_asked,            // the run is over or an operator asked for a stop
  reset_asked,          // by a person at the bench, every cause gone
  reset_asked_cause_remains,
  reset_asked_from_afar,  // cause gone, but nobody at the bench says so
  reset_asked_from_afar_cause_remains,
};
inline constexpr std::size_t event_count = 14;

/// What the caller does on a transition; a set, joined by `|`. Each may be done twice without harm.
enum class Action : std::uint8_t {
  none = 0,
  permit = 1,  // the fan may be commanded from now on
  refuse = 2,  // what was asked for is not done; the caller says why
  begin_controlled_stop = 4,
  remove_power = 8,  // now: the device's safe state, without a ramp
  latch = 16,        // this event is the first-out cause: keep it, write it to the logbook
  unlatch = 32,      // write the reset to the logbook, reset the device's own trip
};
constexpr Action operator|(Action a, Action b) {
  return static_cast<Action>(static_cast<unsigned>(a) | static_cast<unsigned>(b));
}
constexpr bool has(Action actions, Action one) {
  return (static_cast<unsigned>(actions) & static_cast<unsigned>(one)) != 0;
}

struct Transition {
  State next;
  Action actions;
};

/// states x events. Every pair is there: the table does not compile with one left out.
using StopTable = std::array<std::array<Transition, event_count>, state_count>;

/// The stop logic of both layers. What it guarantees is asserted when it is compiled, and the whole
/// of acquisition, guard process, watchdog and hard-wired chain around it is checked by a model
/// that reads this very table (docs/guard.md).
const StopTable& stop_table();

/// Whether a trip is latched: tripped, or on the way there.
constexpr bool is_latched(State state) {
  return state == State::tripping_2 || state == State::tripping_1 || state == State::tripped;
}
/// Whether a controlled stop is under way, asked for or after a trip.
constexpr bool is_under_way(State state) {
  return state == State::stopping || state == State::tripping_2 || state == State::tripping_1;
}
constexpr bool permits_fan(State state) {
  return state == State::running;
}
/// Whether this layer gives its share to the device's watchdog. A controlled stop still needs
/// power; its length is bounded by `stop_overdue`.
constexpr bool feeds_watchdog(State state) {
  return state != State::tripped;
}
/// @param stop_category  of the interlock, 0 to 2; what is none of them counts as 0
constexpr Event violation_event(int stop_category) {
  if (stop_category == 1) return Event::violation_1;
  return stop_category == 2 ? Event::violation_2 : Event::violation_0;
}
constexpr Event reset_event(bool cause_gone, bool person_at_bench) {
  if (person_at_bench) return cause_gone ? Event::reset_asked : Event::reset_asked_cause_remains;
  return cause_gone ? Event::reset_asked_from_afar : Event::reset_asked_from_afar_cause_remains;
}

/// As the enumerators are spelt, for logbook, pages and model.
std::string_view name(State state);
std::string_view name(Event event);
/// @param action  one, not a set
std::string_view name(Action action);

/// One layer's machine: no clock, no input, no output, no allocation. What the model needs of the
/// caller to be safe, and so of every caller (docs/guard.md says why):
/// - a fan that is on in `safe` or `tripped` is a violation of category 0, whoever drives it; so
/// are
///   a lost link to the device, an open hard-wired chain and a device that has tripped by itself;
/// - the guard goes into running first, acquisition once the guard says that it runs;
/// - a layer started anew begins in `tripped` if its last trip was not reset.
class StopLogic {
 public:
  /// @param state  safe, or tripped where an earlier life of this layer left a trip behind
  explicit StopLogic(State state = State::safe) : state_(state) {}
  State state() const { return state_; }
  /// @return  what is to be done now
  Action take(Event event);

 private:
  State state_;
};

}  // namespace windwright::guard
