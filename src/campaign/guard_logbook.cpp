// SPDX-License-Identifier: Apache-2.0
#include "campaign/guard_logbook.h"

#include "base/clock.h"
#include "base/json.h"
#include "campaign/logbook.h"
#include "guard/configuration.h"
#include "guard/tap.h"

#include <boost/json.hpp>
#include <fmt/format.h>

#include <chrono>
#include <filesystem>
#include <functional>
#include <optional>
#include <string>
#include <thread>
#include <variant>

namespace windwright::campaign {

namespace {

bool ends_with_its_program(const bench::Bench& bench) {
  return std::holds_alternative<bench::SimulatedDevice>(bench.device) ||
         std::holds_alternative<bench::ReplayDevice>(bench.device);
}

// Nothing: no guard process runs.
std::optional<std::string> ask_guard(const std::string& name, const std::string& wish,
                                     const std::function<void()>& meanwhile) {
  const auto number = guard::Tap::ask_reset(name, wish);
  if (!number) return std::nullopt;
  constexpr std::chrono::seconds patience{5};
  constexpr std::chrono::milliseconds pause{10};
  std::optional<std::string> answer;
  const auto end = std::chrono::steady_clock::now() + patience;
  for (; !answer && std::chrono::steady_clock::now() < end; std::this_thread::sleep_for(pause)) {
    if (meanwhile) meanwhile();
    answer = guard::Tap::answer_to_reset(name, *number);
  }
  return answer.value_or("the guard process does not answer: end it and start it again");
}

}  // namespace

std::filesystem::path guard_logbook(const bench::Bench& bench) {
  return bench.file.parent_path() / "guard.jsonl";
}

std::string unreset_trip(const bench::Bench& bench) {
  const std::filesystem::path logbook = guard_logbook(bench);
  std::string cause;
  if (!std::filesystem::exists(logbook) || std::filesystem::is_empty(logbook)) return cause;
  for (const LogbookLine& line : logbook_lines(logbook)) {
    const auto entry = base::json_from_text(line.text, line.place);
    if (line.event == "trip") cause = base::json_string(entry, "text", line.place);
    if (line.event == "reset") cause.clear();
  }
  return cause;
}

void keep_trip(const bench::Bench& bench, const std::string& cause) {
  if (ends_with_its_program(bench) ||
      guard::Tap::lives(guard::tap_name(bench), guard::Side::guard)) {
    return;
  }
  Logbook(guard_logbook(bench)).add(base::host_now(), "trip", {{"text", cause}});
}

std::string reset_trip(const bench::Bench& bench, const std::string& reason,
                       const std::string& person, const std::function<void()>& meanwhile) {
  const auto answer =
      ask_guard(guard::tap_name(bench), fmt::format("{} (by {})", reason, person), meanwhile);
  if (answer) return *answer;
  if (!unreset_trip(bench).empty()) {
    Logbook(guard_logbook(bench))
        .add(base::host_now(), "reset", {{"text", reason}, {"by", person}});
  }
  return {};
}

}  // namespace windwright::campaign
