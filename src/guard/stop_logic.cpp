// SPDX-License-Identifier: Apache-2.0
#include "guard/stop_logic.h"

#include <array>
#include <cstddef>
#include <string_view>

namespace windwright::guard {
namespace {

using enum State;
using enum Event;
using enum Action;

struct Rule {
  State in;
  Event on;
  State next;
  Action actions;
};

// What nobody expects (a stop overdue that was never begun) counts as dangerous; a message that is
// merely late (a stop finished that was ended otherwise) changes nothing.
constexpr std::array<Rule, state_count * event_count> rules{{
    {safe, start_asked, running, permit},
    {safe, start_asked_unready, safe, refuse},
    {safe, violation_0, tripped, latch | remove_power},
    {safe, violation_1, tripped, latch | remove_power},
    {safe, violation_2, tripped, latch},
    {safe, stop_finished, safe, none},
    {safe, stop_overdue, tripped, latch | remove_power},
    {safe, other_silent, safe, none},
    {safe, other_tripped, safe, none},
    {safe, end_asked, safe, none},
    {safe, reset_asked, safe, refuse},
    {safe, reset_asked_cause_remains, safe, refuse},
    {safe, reset_asked_from_afar, safe, refuse},
    {safe, reset_asked_from_afar_cause_remains, safe, refuse},

    {running, start_asked, running, refuse},
    {running, start_asked_unready, running, refuse},
    {running, violation_0, tripped, latch | remove_power},
    {running, violation_1, tripping_1, latch | begin_controlled_stop},
    {running, violation_2, tripping_2, latch | begin_controlled_stop},
    {running, stop_finished, running, none},
    {running, stop_overdue, tripped, latch | remove_power},
    {running, other_silent, tripped, latch | remove_power},
    {running, other_tripped, tripping_1, latch | begin_controlled_stop},
    {running, end_asked, stopping, begin_controlled_stop},
    {running, reset_asked, running, refuse},
    {running, reset_asked_cause_remains, running, refuse},
    {running, reset_asked_from_afar, running, refuse},
    {running, reset_asked_from_afar_cause_remains, running, refuse},

    {stopping, start_asked, stopping, refuse},
    {stopping, start_asked_unready, stopping, refuse},
    {stopping, violation_0, tripped, latch | remove_power},
    {stopping, violation_1, tripping_1, latch | begin_controlled_stop},
    {stopping, violation_2, tripping_2, latch | begin_controlled_stop},
    {stopping, stop_finished, safe, none},
    {stopping, stop_overdue, tripped, latch | remove_power},
    {stopping, other_silent, tripped, latch | remove_power},
    {stopping, other_tripped, tripping_1, latch | begin_controlled_stop},
    {stopping, end_asked, stopping, none},
    {stopping, reset_asked, stopping, refuse},
    {stopping, reset_asked_cause_remains, stopping, refuse},
    {stopping, reset_asked_from_afar, stopping, refuse},
    {stopping, reset_asked_from_afar_cause_remains, stopping, refuse},

    {tripping_2, start_asked, tripping_2, refuse},
    {tripping_2, start_asked_unready, tripping_2, refuse},
    {tripping_2, violation_0, tripped, remove_power},
    {tripping_2, violation_1, tripping_1, none},
    {tripping_2, violation_2, tripping_2, none},
    {tripping_2, stop_finished, tripped, none},
    {tripping_2, stop_overdue, tripped, remove_power},
    {tripping_2, other_silent, tripped, remove_power},
    {tripping_2, other_tripped, tripping_2, none},
    {tripping_2, end_asked, tripping_2, none},
    {tripping_2, reset_asked, tripping_2, refuse},
    {tripping_2, reset_asked_cause_remains, tripping_2, refuse},
    {tripping_2, reset_asked_from_afar, tripping_2, refuse},
    {tripping_2, reset_asked_from_afar_cause_remains, tripping_2, refuse},

    {tripping_1, start_asked, tripping_1, refuse},
    {tripping_1, start_asked_unready, tripping_1, refuse},
    {tripping_1, violation_0, tripped, remove_power},
    {tripping_1, violation_1, tripping_1, none},
    {tripping_1, violation_2, tripping_1, none},
    {tripping_1, stop_finished, tripped, remove_power},
    {tripping_1, stop_overdue, tripped, remove_power},
    {tripping_1, other_silent, tripped, remove_power},
    {tripping_1, other_tripped, tripping_1, none},
    {tripping_1, end_asked, tripping_1, none},
    {tripping_1, reset_asked, tripping_1, refuse},
    {tripping_1, reset_asked_cause_remains, tripping_1, refuse},
    {tripping_1, reset_asked_from_afar, tripping_1, refuse},
    {tripping_1, reset_asked_from_afar_cause_remains, tripping_1, refuse},

    {tripped, start_asked, tripped, refuse},
    {tripped, start_asked_unready, tripped, refuse},
    {tripped, violation_0, tripped, remove_power},
    {tripped, violation_1, tripped, remove_power},
    {tripped, violation_2, tripped, none},
    {tripped, stop_finished, tripped, none},
    {tripped, stop_overdue, tripped, remove_power},
    {tripped, other_silent, tripped, remove_power},
    {tripped, other_tripped, tripped, none},
    {tripped, end_asked, tripped, none},
    {tripped, reset_asked, safe, unlatch},
    {tripped, reset_asked_cause_remains, tripped, refuse},
    {tripped, reset_asked_from_afar, tripped, refuse},
    {tripped, reset_asked_from_afar_cause_remains, tripped, refuse},
}};

constexpr std::size_t index(State state) {
  return static_cast<std::size_t>(state);
}
constexpr std::size_t index(Event event) {
  return static_cast<std::size_t>(event);
}

consteval StopTable table_of_rules() {
  StopTable table{};
  std::array<std::array<bool, event_count>, state_count> there{};
  for (const Rule& rule : rules) {
    bool& known = there[index(rule.in)][index(rule.on)];
    if (known) throw "two rules for one state and event, so another has none";
    known = true;
    table[index(rule.in)][index(rule.on)] = {rule.next, rule.actions};
  }
  return table;
}
constexpr StopTable table = table_of_rules();

template <typename Claim>
consteval bool for_each_rule(Claim holds) {
  for (const Rule& rule : rules)
    if (!holds(rule)) return false;
  return true;
}
constexpr int severity(State state) {
  return is_latched(state) ? static_cast<int>(index(state)) : 0;
}

static_assert(for_each_rule([](Rule r) {
                return r.in != tripped || r.next == tripped ||
                       (r.on == reset_asked && r.next == safe);
              }),
              "only a full reset leads out of a trip");
static_assert(for_each_rule([](Rule r) {
                return severity(r.next) >= severity(r.in) ||
                       (r.in == tripped && r.on == reset_asked);
              }),
              "a trip under way never becomes milder");
static_assert(for_each_rule([](Rule r) {
                return has(r.actions, unlatch) == (is_latched(r.in) && !is_latched(r.next));
              }),
              "unlatching is told where it happens, and nowhere else");
static_assert(for_each_rule([](Rule r) {
                return has(r.actions, latch) == (!is_latched(r.in) && is_latched(r.next));
              }),
              "the first cause latches, and only the first");
static_assert(for_each_rule([](Rule r) {
                return has(r.actions, permit) == (!permits_fan(r.in) && permits_fan(r.next));
              }),
              "the fan is permitted where running begins, and nowhere else");
static_assert(for_each_rule([](Rule r) {
                return !permits_fan(r.next) || r.in == running ||
                       (r.in == safe && r.on == start_asked);
              }),
              "running begins by a start out of the safe state, and not otherwise");
static_assert(for_each_rule([](Rule r) {
                return r.on != violation_0 || (r.next == tripped && has(r.actions, remove_power));
              }),
              "a violation of category 0 removes power in every state");
static_assert(for_each_rule([](Rule r) {
                return !(r.on == violation_1 || r.on == violation_2) || is_latched(r.next);
              }),
              "every violation leads into a trip");
static_assert(for_each_rule([](Rule r) {
                return r.in != running || r.next == running ||
                       has(r.actions, begin_controlled_stop) || has(r.actions, remove_power);
              }),
              "nothing leaves running without a stop");
static_assert(for_each_rule([](Rule r) {
                return !(r.in == tripping_1 && r.next == tripped) || has(r.actions, remove_power);
              }),
              "power goes off behind a stop of category 1, however it ends");

}  // namespace

const StopTable& stop_table() {
  return table;
}

std::string_view name(State state) {
  constexpr std::array<std::string_view, state_count> names{"safe",       "running",    "stopping",
                                                            "tripping_2", "tripping_1", "tripped"};
  return names[index(state)];
}

std::string_view name(Event event) {
  constexpr std::array<std::string_view, event_count> names{
      "start_asked",           "start_asked_unready",
      "violation_0",           "violation_1",
      "violation_2",           "stop_finished",
      "stop_overdue",          "other_silent",
      "other_tripped",         "end_asked",
      "reset_asked",           "reset_asked_cause_remains",
      "reset_asked_from_afar", "reset_asked_from_afar_cause_remains"};
  return names[index(event)];
}

std::string_view name(Action action) {
  switch (action) {
    case none:
      return "none";
    case permit:
      return "permit";
    case refuse:
      return "refuse";
    case begin_controlled_stop:
      return "begin_controlled_stop";
    case remove_power:
      return "remove_power";
    case latch:
      return "latch";
    case unlatch:
      return "unlatch";
  }
  return {};
}

Action StopLogic::take(Event event) {
  const Transition& transition = table[index(state_)][index(event)];
  state_ = transition.next;
  return transition.actions;
}

}  // namespace windwright::guard
