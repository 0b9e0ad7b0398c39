// SPDX-License-Identifier: Apache-2.0
#include "base/clock.h"
#include "base/errors.h"
#include "base/json.h"
#include "bench/bench.h"
#include "bench/certificates.h"
#include "campaign/guard_logbook.h"
#include "campaign/logbook.h"
#include "cli/guarded.h"
#include "cli/stop_on_signal.h"
#include "cli/verbs.h"
#include "devices/guard_link.h"
#include "devices/open_device.h"
#include "guard/beside.h"
#include "guard/configuration.h"
#include "guard/event_shelf.h"
#include "guard/fresh_look.h"
#include "guard/guard_watch.h"
#include "guard/line_writer.h"
#include "guard/tap.h"
#include "metrology/certificate.h"
#include "twin/simulated_bench.h"

#include <CLI/CLI.hpp>
#include <boost/json.hpp>
#include <fmt/format.h>
#include <fmt/ranges.h>
#include <sched.h>
#include <sys/mman.h>

#include <algorithm>
#include <chrono>
#include <cstdio>
#include <filesystem>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <thread>
#include <utility>
#include <vector>

namespace windwright::cli {

namespace {

namespace json = boost::json;
using Clock = std::chrono::steady_clock;

struct Request {
  std::string bench;
  std::string reset;
  std::string person;
  bool json = false;
};

/// The guard's logbook, beside bench.toml. A thread of its own writes it: a line is on the disk
/// when it is written, and that may take longer than the guard may be silent.
class GuardLogbook {
 public:
  explicit GuardLogbook(const std::filesystem::path& file) : logbook_(file) {}
  GuardLogbook(const GuardLogbook&) = delete;
  GuardLogbook& operator=(const GuardLogbook&) = delete;
  ~GuardLogbook() { put(shelf_.look(Clock::now(), true)); }

  /// On the guard's thread, as `look`.
  void add(std::string_view event, const std::string& text) {
    put(shelf_.take(event, text, Clock::now()));
  }
  /// Now and then: what was shelved is written when its time is over.
  void look() {
    put(shelf_.look(Clock::now()));
    writer_.go_on();
  }

 private:
  void put(std::vector<guard::EventShelf::Line> lines) {
    for (guard::EventShelf::Line& line : lines)
      writer_.add({base::host_now(), std::move(line.event), std::move(line.text)});
  }

  // A full disk is no reason to leave the bench unguarded; a trip then latches in this process.
  void keep(const guard::LineWriter::Line& entry) {
    fmt::print(stderr, "{} {}: {}\n", base::utc_text(entry.time), entry.event, entry.text);
    try {
      logbook_.add(entry.time, entry.event, {{"text", entry.text}});
    } catch (const std::filesystem::filesystem_error& full) {
      fmt::print(stderr, "the guard's logbook: {}\n", full.what());
    }
  }

  campaign::Logbook logbook_;
  guard::EventShelf shelf_;
  guard::LineWriter writer_{[this](const guard::LineWriter::Line& entry) { keep(entry); }};
};

std::vector<metrology::Certificate> all_certificates(const bench::Bench& bench) {
  std::vector<metrology::Certificate> certificates;
  const auto found = bench::certificates_there_are(bench);
  for (std::size_t i = 0; i < found.size(); ++i) {
    if (!found[i]) {
      throw base::BadInput(
          bench.file.string(),
          fmt::format("{} has no certificate, so that nobody can judge it", bench.channels[i].name),
          fmt::format("windwright calibrate {}", bench.file.string()));
    }
    certificates.push_back(*found[i]);
  }
  return certificates;
}

/// The link, by two threads: a feed that waits for its answer must not be in the way of a stop, and
/// neither in that of who judges.
struct Hands {
  explicit Hands(devices::GuardLink& link)
      : safe([&link] { return link.make_safe(); }), feeding([&link] { return link.feed(); }) {}
  guard::OwnWay way() { return {.make_safe = safe.command(), .feed = feeding.command()}; }
  guard::Beside safe;
  guard::Beside feeding;
};

/// Ahead of other programs, and never paged out, where the system lets us.
bool take_precedence() {
  const sched_param priority{.sched_priority = 10};
  const bool ahead = sched_setscheduler(0, SCHED_FIFO, &priority) == 0;
  const bool resident = mlockall(MCL_CURRENT | MCL_FUTURE) == 0;
  return ahead && resident;
}

void tell_beginning(const Request& request, const bench::Bench& bench,
                    const devices::GuardLink* link, const std::string& tripped) {
  const std::string way = link != nullptr ? link->name() : "none";
  if (request.json) {
    fmt::print("{}", base::json_text(json::object{{"bench", bench.file.string()},
                                                  {"own_way", way},
                                                  {"silence_s", bench.guard.silence_s},
                                                  {"tripped", tripped}}));
  } else {
    fmt::print("guarding {} ({}), own way to the bench: {}, until Ctrl-C\n", bench.name,
               bench.file.string(), way);
    if (!tripped.empty()) fmt::print("tripped, and not reset yet: {}\n", tripped);
  }
  std::fflush(stdout);
}

int guard_until_stopped(const Request& request, const bench::Bench& bench,
                        const std::filesystem::path& logbook_file) {
  const std::vector<metrology::Certificate> certificates = all_certificates(bench);
  const std::string configuration = guard::configuration_of(bench);
  std::optional<guard::Tap> tap = guard::Tap::open(guard::tap_name(bench), guard::tap_shape(bench),
                                                   guard::Side::guard, configuration);
  if (!tap) {
    throw base::BadInput(bench.file.string(), "is guarded by another process already",
                         "one guard a bench: end the other one first");
  }
  if (tap->other_lives() && tap->other_pulse() && tap->other_configuration() != configuration) {
    throw base::BadInput(bench.file.string(),
                         "is not what the acquisition that is running works by (bench.toml, rotor "
                         "or certificates differ)",
                         "the same files: end the acquisition, then begin both again");
  }
  const StopOnSignal stop;
  const std::string tripped = campaign::unreset_trip(bench);
  GuardLogbook logbook(logbook_file);
  const std::unique_ptr<devices::GuardLink> link = devices::open_guard_link(bench);
  const bool ahead = take_precedence();
  // Behind the precedence, which they have as well.
  std::optional<Hands> hands;
  if (link) hands.emplace(*link);
  guard::GuardWatch watch(
      std::move(*tap),
      {.silence_s = bench.guard.silence_s,
       .block_s = bench.block_s,
       .configuration = configuration,
       .tripped = tripped},
      [&] { return interlocks_of(bench, certificates); }, hands ? hands->way() : guard::OwnWay{},
      [&logbook](std::string_view event, const std::string& text) { logbook.add(event, text); });
  const auto step = std::chrono::duration_cast<std::chrono::nanoseconds>(
      std::chrono::duration<double>(std::min(0.01, bench.guard.silence_s / 5.0)));
  watch.look(Clock::now());
  logbook.add("begin",
              ahead ? "" : "without precedence over other programs: see docs/guard_process.md");
  tell_beginning(request, bench, link.get(), tripped);
  while (!stop.token().stop_requested()) {
    watch.wait(step);
    watch.look(Clock::now());
    logbook.look();
  }
  watch.end(Clock::now());
  while (!watch.is_answered())
    std::this_thread::sleep_for(step);
  if (!watch.tripped().empty()) return interlock_tripped;
  return watch.is_left_safe() ? done : device_fault;
}

/// An acquisition that drives nothing and only looks, as the guard sees it.
class Looker {
 public:
  /// @throws DeviceFault  the device's
  Looker(const bench::Bench& bench, guard::Tap tap)
      : bench_(bench),
        tap_(std::move(tap)),
        device_(devices::open_device(bench, twin::Pace::as_fast_as_possible,
                                     [](const std::string& what) {
                                       throw base::DeviceFault("bench", "needs a person: " + what,
                                                               "it is only looked at here");
                                     })) {}
  Looker(const Looker&) = delete;
  Looker& operator=(const Looker&) = delete;
  ~Looker() { say(guard::Activity::ended); }

  /// What still stands, by fresh samples, which the guard sees as well.
  std::vector<std::string> standing() {
    return guard::standing_now(bench_, all_certificates(bench_), *device_, {},
                               [this](const bench::SampleBlock& block) { show(block); });
  }
  /// Goes on looking: what the guard is to judge a reset by may not be old.
  void look_on() {
    device_->read(block_);
    show(block_);
  }

 private:
  void show(const bench::SampleBlock& block) {
    say(guard::Activity::standing);
    tap_.write(block);
  }
  void say(guard::Activity activity) { tap_.beat(Clock::now(), {.activity = activity}); }

  const bench::Bench& bench_;
  guard::Tap tap_;
  std::unique_ptr<bench::Device> device_;
  bench::SampleBlock block_;
};

/// By the guard that is running, else in the logbook, where the next one finds it. @return why not
std::string refusal_of_reset(const Request& request, const bench::Bench& bench,
                             const std::string& who) {
  const std::string name = guard::tap_name(bench);
  const bool guarded = guard::Tap::lives(name, guard::Side::guard);
  if (!guarded && campaign::unreset_trip(bench).empty()) return "nothing has tripped";
  std::optional<guard::Tap> tap = guard::Tap::open(
      name, guard::tap_shape(bench), guard::Side::acquisition, guard::configuration_of(bench));
  // A guard that is running judges the other program's samples, where they are fresh.
  if (!tap && guarded) return campaign::reset_trip(bench, request.reset, who);
  if (!tap) {
    return "another program acquires from this bench, and nobody judges its samples here: end that "
           "program, or reset there";
  }
  Looker looker(bench, std::move(*tap));
  if (const std::vector<std::string> standing = looker.standing(); !standing.empty())
    return fmt::format("the cause is not gone: {}", fmt::join(standing, ", "));
  return campaign::reset_trip(bench, request.reset, who, [&looker] { looker.look_on(); });
}

int reset(const Request& request, const bench::Bench& bench) {
  const std::string who = request.person.empty() ? user_name() : request.person;
  const std::string refusal = refusal_of_reset(request, bench, who);
  const int code = refusal.empty() ? done : negative_verdict;
  if (request.json) {
    fmt::print("{}",
               base::json_text(json::object{
                   {"reset", refusal.empty()}, {"by", who}, {"cause", refusal}, {"exit", code}}));
  } else if (refusal.empty()) {
    fmt::print("reset by {}: {}\n", who, request.reset);
  } else {
    fmt::print(stderr, "not reset: {}\n", refusal);
  }
  return code;
}

int run_guard(const Request& request) {
  const bench::Bench bench = bench::bench_from_file(request.bench);
  const std::filesystem::path logbook_file = campaign::guard_logbook(bench);
  return request.reset.empty() ? guard_until_stopped(request, bench, logbook_file)
                               : reset(request, bench);
}

}  // namespace

void add_guard(CLI::App& program, int& exit_code) {
  auto request = std::make_shared<Request>();  // shared: the callback outlives this function
  CLI::App* verb = program.add_subcommand(
      "guard",
      "Guard a bench from a process of its own: judges the same samples, and stops the bench when "
      "they or the other process fail");
  verb->add_option("BENCH", request->bench, "bench description, the same file that record has")
      ->required();
  CLI::Option* reset = verb->add_option(
      "--reset", request->reset,
      "take a trip back, with the reason: by the person at the bench who has seen to it that the "
      "cause is gone; looks at the bench anew first");
  verb->add_option("--by", request->person,
                   "the name of that person; if left out, of whoever is logged in")
      ->needs(reset);
  verb->add_flag("--json", request->json, "one JSON document on stdout");
  verb->footer(
      "Ends with 4 where it has tripped and nobody has reset it, with 3 where the safe state could "
      "not be commanded at its end. Its logbook is guard.jsonl beside BENCH.\n"
      "Software is one layer and never the last: the hard-wired emergency stop comes first.\n"
      "Example:\n"
      "  windwright guard my-bench/bench.toml\n"
      "  windwright guard my-bench/bench.toml --reset \"blade 2 fastened, guard closed\" --by \"A. "
      "Operator\"");
  verb->callback([request, &exit_code] { exit_code = run_guard(*request); });
}

}  // namespace windwright::cli
