// SPDX-License-Identifier: Apache-2.0
#include "acquisition/capture.h"
#include "acquisition/live_values.h"
#include "acquisition/pipeline.h"
#include "base/errors.h"
#include "base/json.h"
#include "base/text.h"
#include "bench/bench.h"
#include "bench/certificates.h"
#include "bench/recording_table.h"
#include "bench/safe_state.h"
#include "campaign/proof.h"
#include "cli/ask_person.h"
#include "cli/enter_in_catalogue.h"
#include "cli/guarded.h"
#include "cli/option_values.h"
#include "cli/published.h"
#include "cli/stop_on_signal.h"
#include "cli/verbs.h"
#include "devices/open_device.h"
#include "recording/recording.h"
#include "twin/simulated_bench.h"

#include <CLI/CLI.hpp>
#include <boost/json.hpp>
#include <fmt/format.h>
#include <poll.h>
#include <unistd.h>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstdint>
#include <cstdio>
#include <exception>
#include <filesystem>
#include <memory>
#include <optional>
#include <stop_token>
#include <string>
#include <tuple>
#include <utility>
#include <vector>

namespace windwright::cli {

namespace {

namespace json = boost::json;
using acquisition::Trigger;

struct Request {
  std::string bench;
  double seconds = 0.0;
  std::string into;
  std::string catalogue;
  std::string publish;
  std::string compression;
  std::string reason;
  std::vector<std::string> settings;
  std::string trigger;
  std::optional<double> rising;
  std::optional<double> falling;
  std::optional<double> above;
  std::optional<double> below;
  double before_s = 1.0;
  double after_s = 1.0;
  bool real_time = false;
  bool json = false;
};

// A line of the last values, twice a second, for a person.
class LiveLine {
 public:
  LiveLine(const bench::Bench& bench, acquisition::LiveValues& live) : bench_(bench), live_(live) {}
  void operator()(const bench::SampleBlock& block) {
    samples_ += static_cast<std::int64_t>(block.samples);
    if (block.gap_before) ++gaps_;
    if (!shown_) return;
    if (samples_ - told_ < static_cast<std::int64_t>(0.5 * bench_.sample_rate_hz)) return;
    told_ = samples_;
    if (!terminal_takes_more()) return;
    live_.take(block);
    std::string line =
        fmt::format("{:.1f} s", static_cast<double>(samples_) / bench_.sample_rate_hz);
    std::vector<std::string> names{"air_speed_m_s", "rotor_speed_rad_s", "dc_voltage_V",
                                   "dc_power_W"};
    for (const bench::DerivedChannel& derived : bench_.derived.list)
      names.push_back(derived.name);
    for (const std::string& name : names) {
      for (std::size_t i = 0; i < live_.channels().size(); ++i) {
        const acquisition::LiveChannel& channel = live_.channels()[i];
        if (channel.name == name)
          line += fmt::format("  {} {:.4g}{}", name, live_.figures(i).mean,
                              channel.calibrated ? "" : " V at the converter");
      }
    }
    fmt::print(stderr, "\r\x1b[K{}", line);
    std::fflush(stderr);
  }
  void clear() const {
    if (shown_) fmt::print(stderr, "\r\x1b[K");
  }
  int gaps() const { return gaps_; }

 private:
  /// A terminal that somebody has stopped must not stop the recording.
  static bool terminal_takes_more() {
    pollfd terminal{.fd = STDERR_FILENO, .events = POLLOUT, .revents = 0};
    return poll(&terminal, 1, 0) == 1 && (terminal.revents & POLLOUT) != 0;
  }

  const bench::Bench& bench_;
  acquisition::LiveValues& live_;
  bool shown_ = isatty(STDERR_FILENO) == 1;
  std::int64_t samples_ = 0;
  std::int64_t told_ = 0;
  int gaps_ = 0;
};

Trigger trigger_of(const Request& request) {
  std::optional<Trigger> found;
  for (const auto& [option, level, condition] :
       {std::tuple("--rising", request.rising, Trigger::Condition::rising),
        std::tuple("--falling", request.falling, Trigger::Condition::falling),
        std::tuple("--above", request.above, Trigger::Condition::above),
        std::tuple("--below", request.below, Trigger::Condition::below)}) {
    if (!level) continue;
    if (found) throw base::BadInput(option, "is a second condition", "one condition");
    if (!std::isfinite(*level)) throw base::BadInput(option, "is not a number", "a level");
    found = {.channel = request.trigger, .condition = condition, .level = *level};
  }
  if (!found) {
    throw base::BadInput("--trigger", "has no condition",
                         "one of --rising, --falling, --above, --below with a level");
  }
  return *found;
}

double actuator_value(const bench::Actuator& actuator, const std::string& text,
                      const std::string& where) {
  if (const std::optional<double> position = actuator.position(text)) return *position;
  if (!actuator.positions.empty()) {
    throw base::BadInput(where, fmt::format("{} has no position '{}'", actuator.name, text),
                         base::either_of(actuator.positions));
  }
  return number_within(where, text, {.lowest = actuator.lowest, .highest = actuator.highest});
}

struct Setting {
  std::string actuator;
  double value;
  bool manual;
};

/// NAME=VALUE as the actuators' limits and positions have it.
std::vector<Setting> settings_of(const Request& request, const bench::Bench& bench) {
  std::vector<Setting> settings;
  for (const std::string& text : request.settings) {
    const auto equals = text.find('=');
    const std::string where = "--set " + text;
    if (equals == std::string::npos) throw base::BadInput(where, "has no '='", "--set fan_pct=60");
    const bench::Actuator& actuator = bench.actuator(text.substr(0, equals));
    settings.push_back({.actuator = actuator.name,
                        .value = actuator_value(actuator, text.substr(equals + 1), where),
                        .manual = actuator.manual});
  }
  return settings;
}

/// What one recording is made with.
struct Session {
  const Request& request;
  const bench::Bench& bench;
  bench::Device& device;
  bench::SafeAtTheEnd& safe;
  Published& published;
  GuardedDevice& guarded;
  const std::vector<Setting>& settings;
  std::stop_token stop;

  void command_by_hand() const {
    for (const Setting& setting : settings) {
      if (setting.manual) guarded.set(setting.actuator, setting.value);
    }
  }
  /// From here on blocks have to follow.
  void command_powered() const {
    const bool drives = std::any_of(settings.begin(), settings.end(), [](const Setting& setting) {
      return bench::is_switched_off(setting.actuator) && setting.value > 0.0;
    });
    if (drives && !guarded.start()) return;
    for (const Setting& setting : settings) {
      if (!setting.manual) guarded.set(setting.actuator, setting.value);
    }
  }
  /// The bench is at rest, or was not this program's.
  void bring_down() const {
    guarded.come_down();
    if (guarded.power_stays_on()) {
      safe.leave();
    } else {
      safe.end();
    }
  }
};

int finished(const Request& request, std::int64_t samples, const json::object& more, int code) {
  json::object document{{"recording", request.into}, {"samples", samples}};
  for (const auto& [key, value] : more)
    document[key] = value;
  document["exit"] = code;
  if (request.json) fmt::print("{}", base::json_text(document));
  return code;
}

int capture(const Session& session, acquisition::LiveValues& live) {
  const auto& [request, bench, device, safe, published, guarded, settings, stop] = session;
  acquisition::Capture capture(
      bench, device.name(), live,
      {.trigger = trigger_of(request), .before_s = request.before_s, .after_s = request.after_s});
  const auto longest = std::llround(request.seconds * bench.sample_rate_hz);
  for (const acquisition::LiveChannel& channel : live.channels()) {
    if (channel.name == request.trigger && !channel.calibrated) {
      fmt::print(stderr, "# {} has no certificate: the level is in volts at the converter\n",
                 channel.name);
    }
  }
  session.command_powered();
  bench::SampleBlock block;
  bool complete = false;
  std::optional<std::string> tripped;
  try {
    // Only the trigger is waited for no longer: what comes after it is wanted whole.
    for (std::int64_t samples = 0; !complete && !tripped && !stop.stop_requested() &&
                                   (samples < longest || capture.triggered());
         samples += static_cast<std::int64_t>(block.samples)) {
      device.read(block);
      tripped = guarded.look(block);
      complete = capture.take(block);
    }
    session.bring_down();
    if (!guarded.tripped().empty()) tripped = guarded.tripped();
  } catch (const base::DeviceFault& fault) {
    // What tripped may have cut the instrument off: what came before is what was wanted.
    guarded.lose_device(fault.what());
    safe.end();
    if (capture.triggered()) capture.save(request.into);
    throw;
  }
  const int otherwise = tripped ? interlock_tripped : negative_verdict;
  if (tripped) fmt::print(stderr, "{}\n", *tripped);
  const std::vector<std::string> remarks = device.remarks();
  if (!capture.triggered()) {
    const std::string cause = tripped ? "stopped before the trigger"
                              : stop.stop_requested()
                                  ? "interrupted before the trigger"
                                  : fmt::format("no trigger within {:g} s", request.seconds);
    fmt::print(stderr, "{}: {}\n", request.trigger, cause);
    published.finish({.ending = tripped                 ? "tripped"
                                : stop.stop_requested() ? "interrupted"
                                                        : "no trigger",
                      .cause = tripped.value_or(cause),
                      .remarks = remarks});
    return finished(request, 0, {{"triggered", false}, {"publish", published.summary()}},
                    otherwise);
  }
  const recording::Window kept = capture.save(request.into);
  const double at_s = static_cast<double>(*capture.at() - kept.first) / bench.sample_rate_hz;
  if (kept.count == 0)
    fmt::print(stderr, "{}: nothing lies before the trigger: no file\n", request.trigger);
  const bool whole = complete && !tripped && kept.count > 0;
  published.finish({.ending = whole     ? "complete"
                              : tripped ? "tripped"
                                        : "interrupted",
                    .cause = whole     ? ""
                             : tripped ? *tripped
                                       : "less came after the trigger than was wanted",
                    .remarks = remarks});
  if (!request.json) {
    fmt::print("{}: {} samples, triggered {:.6g} s after its first\n", request.into, kept.count,
               at_s);
  }
  return finished(request, kept.count,
                  {{"triggered", true}, {"trigger_s", at_s}, {"publish", published.summary()}},
                  whole ? done : otherwise);
}

const char* name_of(acquisition::Ending ending) {
  using enum acquisition::Ending;
  switch (ending) {
    case complete:
      return "complete";
    case interrupted:
      return "interrupted";
    case tripped:
      return "tripped";
    case disk_too_slow:
      return "disk too slow";
    case disk_failed:
      return "disk failed";
  }
  return "";
}

int exit_code_of(acquisition::Ending ending) {
  using enum acquisition::Ending;
  if (ending == complete) return done;
  if (ending == tripped) return interlock_tripped;
  return ending == disk_failed || ending == disk_too_slow ? device_fault : negative_verdict;
}

int record_all(const Session& session, acquisition::LiveValues& live) {
  const auto& [request, bench, device, safe, published, guarded, settings, stop] = session;
  recording::Recorder recorder = recording::Recorder::create(
      request.into, bench, {.device = device.name(), .start = device.now()});
  LiveLine line(bench, live);
  session.command_powered();
  const auto begun = std::chrono::steady_clock::now();
  std::string told;
  acquisition::Outcome outcome = acquisition::record(
      {.device = device,
       .recorder = recorder,
       .watch = [&watched =
                     guarded](const bench::SampleBlock& block) { return watched.look(block); },
       .stop = [&session] { session.bring_down(); },
       .tell =
           [&](const std::string& cause) {
             line.clear();
             fmt::print(stderr, "{}\n", cause);
             told = cause;
             if (auto* publisher = published.publisher())
               publisher->tell_event("stopping", {{"cause", cause}});
           },
       .look = [&line](const bench::SampleBlock& block) { line(block); }},
      {.samples = std::llround(request.seconds * bench.sample_rate_hz),
       .queue = acquisition::queue_for(bench.block_s)},
      stop);
  if (!guarded.tripped().empty() && outcome.ending == acquisition::Ending::complete) {
    outcome.ending = acquisition::Ending::tripped;  // on the way down
    outcome.cause = guarded.tripped();
  }
  if (outcome.ending != acquisition::Ending::disk_failed) recorder.finish();
  line.clear();
  if (outcome.cause != told) fmt::print(stderr, "{}\n", outcome.cause);
  const std::vector<std::string> remarks = device.remarks();
  for (const std::string& remark : remarks)
    fmt::print(stderr, "{}: {}\n", device.name(), remark);
  published.finish({.ending = name_of(outcome.ending), .cause = outcome.cause, .remarks = remarks});
  const std::chrono::duration<double> took = std::chrono::steady_clock::now() - begun;
  const int code = exit_code_of(outcome.ending);
  if (!request.json) {
    fmt::print("{}: {} samples of {} channels, {} gaps\n", request.into, outcome.samples,
               bench.channels.size(), line.gaps());
  }
  return finished(request, outcome.samples,
                  {{"channels", bench.channels.size()},
                   {"gaps", line.gaps()},
                   {"remarks", json::value_from(remarks)},
                   {"publish", published.summary()},
                   {"most_blocks_waiting", outcome.most_waiting},
                   {"took_s", took.count()}},
                  code);
}

// What is commanded needs interlocks that are proved, or a reason, which is kept beside the bench.
bool may_command(const Request& request, const bench::Bench& bench, const bench::Device& device) {
  if (request.settings.empty()) return true;
  const std::string remark = campaign::proof_remark(bench, device.name(), device.now());
  if (remark.empty()) return true;
  if (request.reason.empty()) {
    fmt::print(stderr,
               "the interlocks are not proved: {}\nput it right, or give a --reason to go on, "
               "which is noted in {}\n",
               remark, campaign::proof_logbook);
    return false;
  }
  campaign::note_unproved(
      bench, device.now(),
      {.remark = remark, .reason = request.reason, .by = user_name(), .into = request.into});
  return true;
}

int run_record(const Request& request) {
  bench::Bench bench = bench::bench_from_file(request.bench);
  if (!request.compression.empty())
    bench.recording.compression = bench::compression_named(request.compression, "--compression");
  const std::vector<Setting> settings = settings_of(request, bench);
  if (std::filesystem::exists(request.into)) {
    throw base::BadInput(request.into + ":1", "exists", "a new file; recordings are never changed");
  }
  if (!request.trigger.empty() && request.before_s + request.after_s < 1.0 / bench.sample_rate_hz) {
    throw base::BadInput("--before and --after",
                         fmt::format("keep {:g} s", request.before_s + request.after_s),
                         "a sample at least");
  }
  acquisition::LiveValues live(bench, bench::certificates_there_are(bench));
  const StopOnSignal stop;
  const auto lease =
      settings.empty() ? nullptr : lease_of(bench, request.real_time, user_name(), "record");
  Guarded guarded(bench);
  guarded.begin(!settings.empty());
  const auto own = devices::open_device(
      bench, request.real_time ? twin::Pace::real_time : twin::Pace::as_fast_as_possible,
      ask_person, stop.token());
  if (!may_command(request, bench, *own)) return negative_verdict;
  Published published(bench, request.publish,
                      {.state = request.trigger.empty() ? "recording" : "waiting for a trigger",
                       .into = std::filesystem::absolute(request.into).string(),
                       .software_version = {}});
  bench::Device& device = published.overhear(*own);
  // What was commanded for a recording is taken back when that ends, whatever ends it.
  bench::SafeAtTheEnd safe(device);
  if (settings.empty()) safe.leave();
  GuardedDevice guarded_device(bench, device, *own,
                               std::filesystem::absolute(request.into).parent_path(),
                               guarded.process());
  const Session session{.request = request,
                        .bench = bench,
                        .device = device,
                        .safe = safe,
                        .published = published,
                        .guarded = guarded_device,
                        .settings = settings,
                        .stop = stop.token()};
  const auto enter = [&] { enter_in_catalogue(request.catalogue, bench.file, request.into); };
  try {
    session.command_by_hand();
    const int code = request.trigger.empty() ? record_all(session, live) : capture(session, live);
    if (code == interlock_tripped) guarded.keep(guarded_device.tripped());
    enter();
    return code;
  } catch (const std::exception& fault) {
    const bool measured = dynamic_cast<const base::BadInput*>(&fault) == nullptr;
    guarded_device.lose_device(fault.what());
    safe.end();
    if (!guarded_device.tripped().empty()) guarded.keep(guarded_device.tripped());
    if (measured) enter();  // what came before it
    published.finish({.ending = "fault", .cause = fault.what(), .remarks = own->remarks()});
    throw;
  }
}

}  // namespace

void add_record(CLI::App& program, int& exit_code) {
  auto request = std::make_shared<Request>();  // shared: the callback outlives this function
  CLI::App* verb = program.add_subcommand(
      "record",
      "Record every sample of a bench's channels at full rate, or what lies around a trigger");
  verb->add_option("BENCH", request->bench, "bench description")->required();
  verb->add_option("--seconds", request->seconds, "so long; with --trigger: wait no longer")
      ->required()
      ->check(CLI::Range(1e-3, 1e7));
  verb->add_option("--into", request->into, "recording to write, new (HDF5)")->required();
  verb->add_option("--set", request->settings,
                   "ACTUATOR=VALUE before it begins; afterwards the bench is made safe");
  verb->add_option("--reason", request->reason,
                   "why to command it though its interlocks are not proved; it is noted");
  CLI::Option* trigger =
      verb->add_option("--trigger", request->trigger,
                       "channel or power; recorded is only what lies around its event");
  for (const auto& [name, level, text] :
       {std::tuple("--rising", &request->rising, "trigger where it rises through this"),
        std::tuple("--falling", &request->falling, "trigger where it falls through this"),
        std::tuple("--above", &request->above, "trigger as soon as it is above this"),
        std::tuple("--below", &request->below, "trigger as soon as it is below this")})
    verb->add_option(name, *level, text)->needs(trigger);
  verb->add_option("--before", request->before_s, "seconds kept from before the trigger")
      ->needs(trigger)
      ->check(CLI::Range(0.0, 600.0))
      ->capture_default_str();
  verb->add_option("--after", request->after_s, "seconds kept after the trigger")
      ->needs(trigger)
      ->check(CLI::Range(0.0, 600.0))
      ->capture_default_str();
  verb->add_option("--catalogue", request->catalogue,
                   "enter it in this catalogue: a file, or postgresql://...; else in that of the "
                   "bench's folder, if it has one; 'none'");
  verb->add_option("--compression", request->compression,
                   "deflate or none: whether the samples are compressed, without loss; else as "
                   "[recording] says");
  add_publish_option(*verb, request->publish);
  verb->add_flag("--real-time", request->real_time,
                 "simulate or replay no faster than a real bench");
  verb->add_flag("--json", request->json, "one JSON document on stdout");
  verb->footer(
      "Example:\n"
      "  windwright record examples/saltmarsh-college/bench.toml --seconds 30 --set fan_pct=60 \\\n"
      "    --into afternoon.h5\n"
      "  windwright record examples/saltmarsh-college/bench.toml --seconds 60 --set fan_pct=60 \\\n"
      "    --trigger rotor_speed_rad_s --rising 20 --before 2 --after 5 --into start-up.h5");
  verb->callback([request, &exit_code] { exit_code = run_record(*request); });
}

}  // namespace windwright::cli
