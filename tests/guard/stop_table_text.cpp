// SPDX-License-Identifier: Apache-2.0
#include "guard/stop_table_text.h"

#include "guard/stop_logic.h"

#include <fmt/format.h>

#include <array>
#include <cstddef>
#include <string>
#include <string_view>

namespace windwright::guard {
namespace {

constexpr std::array<Action, 6> all_actions{
    Action::permit,       Action::refuse, Action::begin_controlled_stop,
    Action::remove_power, Action::latch,  Action::unlatch};

State state_at(std::size_t index) {
  return static_cast<State>(index);
}
Event event_at(std::size_t index) {
  return static_cast<Event>(index);
}

std::string joined(Action actions, std::string_view separator) {
  std::string text;
  for (const Action action : all_actions) {
    if (!has(actions, action)) continue;
    if (!text.empty()) text += separator;
    text += name(action);
  }
  return text;
}

std::string predicate(std::string_view name_of_it, bool (*holds)(State)) {
  std::string text;
  for (std::size_t s = 0; s < state_count; ++s) {
    if (!holds(state_at(s))) continue;
    text += fmt::format("{}s == {}", text.empty() ? "" : " || ", name(state_at(s)));
  }
  return fmt::format("#define {}(s) ({})\n", name_of_it, text);
}

}  // namespace

std::string promela_text(const StopTable& table) {
  std::string text = "/* Written from src/guard/stop_logic.cpp; changes go there. */\n";
  for (std::size_t s = 0; s < state_count; ++s)
    text += fmt::format("#define {} {}\n", name(state_at(s)), s);
  for (std::size_t e = 0; e < event_count; ++e)
    text += fmt::format("#define {} {}\n", name(event_at(e)), e);
  text += "#define none 0\n";
  for (const Action action : all_actions)
    text += fmt::format("#define {} {}\n", name(action), static_cast<int>(action));
  text += predicate("is_latched", is_latched) + predicate("is_under_way", is_under_way) +
          predicate("permits_fan", permits_fan) + predicate("feeds_watchdog", feeds_watchdog);
  text += "inline look_up(from, on, to, todo) {\n  if\n";
  for (std::size_t s = 0; s < state_count; ++s) {
    for (std::size_t e = 0; e < event_count; ++e) {
      const Transition& transition = table[s][e];
      const std::string actions = joined(transition.actions, " | ");
      text +=
          fmt::format("  :: from == {} && on == {} -> to = {}; todo = {}\n", name(state_at(s)),
                      name(event_at(e)), name(transition.next), actions.empty() ? "none" : actions);
    }
  }
  return text + "  fi\n}\n";
}

std::string markdown_text(const StopTable& table) {
  std::string text = "| event |";
  for (std::size_t s = 0; s < state_count; ++s)
    text += fmt::format(" in {} |", name(state_at(s)));
  text += "\n|";
  for (std::size_t s = 0; s <= state_count; ++s)
    text += " --- |";
  text += '\n';
  for (std::size_t e = 0; e < event_count; ++e) {
    text += fmt::format("| {} |", name(event_at(e)));
    for (std::size_t s = 0; s < state_count; ++s) {
      const Transition& transition = table[s][e];
      const std::string next =
          transition.next == state_at(s) ? "" : fmt::format("**{}**", name(transition.next));
      std::string cell = joined(transition.actions, ", ");
      if (!next.empty()) cell = cell.empty() ? next : fmt::format("{}: {}", next, cell);
      text += fmt::format(" {} |", cell.empty() ? "-" : cell);
    }
    text += '\n';
  }
  return text;
}

}  // namespace windwright::guard
