// SPDX-License-Identifier: Apache-2.0
#include "campaign/conductor.h"

#include "acquisition/recording_thread.h"
#include "base/errors.h"
#include "bench/safe_state.h"
#include "campaign/logbook.h"
#include "campaign/run_folder.h"
#include "campaign/run_start.h"
#include "campaign/steering.h"
#include "guard/interlocks.h"
#include "guard/stop_sequence.h"
#include "metrology/steady_state.h"
#include "recording/recording.h"
#include "signal/statistics.h"

#include <boost/json.hpp>
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <exception>
#include <filesystem>
#include <map>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::campaign {

namespace json = boost::json;

namespace {

constexpr std::string_view fan = "fan_pct";
constexpr double standstill_rad_s = 1.0;  // below it a hand can hold the hub: 10 turns a minute
constexpr double quiet_part = 0.01;       // of the voltage channel's span: the generator is silent
constexpr double shortest_quiet_s = 1.0;
constexpr double longest_coasting_s = 120.0;
constexpr double judge_dwell_every_s = 0.5;
constexpr int most_restarts = 10;  // of one dwell
// A settled signal may drift by this part of the channel's span at any rate: near 0 a bound
// relative to the mean would ask for more than the converter can show.
constexpr double negligible_part = 1.0e-4;

// What steadiness is judged by, one value a block.
struct BlockMeans {
  std::vector<double> speed_rad_s;
  std::vector<double> power_W;

  void add(const Steering& steering) {
    speed_rad_s.push_back(steering.rotor_speed_rad_s());
    power_W.push_back(signal::mean(steering.dc_power_W()));
  }
  void drop_first() {
    speed_rad_s.erase(speed_rad_s.begin());
    power_W.erase(power_W.begin());
  }
};

// Of the block that was read last: the block itself is on its way into the file.
struct BlockHead {
  std::int64_t first;  // of its samples in the recording
  std::int64_t samples;
  bool gap_before;
  base::UtcTime start;
};

// Everything a run needs at hand between two test points.
class Conductor {
 public:
  Conductor(const Campaign& campaign, const bench::Bench& bench, bench::Device& device,
            const ConductOptions& options, const Bookmark& bookmark);

  /// The whole rest of the run.
  Outcome conduct_rest();

 private:
  Outcome conduct_points();
  std::optional<guard::Trip> read_block();
  bool go_on();
  void stop_under_control(int category);
  bool ended(Ending ending, const std::string& cause);
  bool is_steady(const BlockMeans& means) const;
  bool settle(TestPoint& point, std::string_view phase);
  bool dwell(TestPoint& point, BlockMeans& means);
  bool measure(TestPoint& point);
  bool come_to_standstill();
  bool command(const PlannedPoint& planned);
  bool fan_stands() const;
  bool run_up(std::vector<Setting> settings);
  void command_powered(const std::vector<Setting>& settings);
  void set(const std::string& actuator, double value);
  bool keep(const TestPoint& point);
  void tell(std::string_view phase) const;
  bool end(Ending ending, std::string_view event, const std::string& cause);
  double seconds(std::int64_t samples) const;

  const Campaign& campaign_;
  const bench::Bench& bench_;
  bench::Device& device_;
  const ConductOptions& options_;
  std::vector<PlannedPoint> planned_;
  Steering steering_;
  Logbook logbook_;
  recording::Recorder recorder_;
  acquisition::RecordingThread recording_;
  std::int64_t recorded_;  // samples handed over, of the whole recording
  BlockHead block_ = {};
  std::map<std::string, double> commanded_;  // what each actuator was last told, as far as known
  std::optional<Outcome> ended_;
  bool power_stays_on_ = false;  // after a stop of category 2
  int done_;
  int done_before_;                // in earlier sessions
  std::int64_t settling_ = 0;      // samples since the last command, less the dwell that counts
  std::int64_t samples_read_ = 0;  // in this session
};

Conductor::Conductor(const Campaign& campaign, const bench::Bench& bench, bench::Device& device,
                     const ConductOptions& options, const Bookmark& bookmark)
    : campaign_(campaign),
      bench_(bench),
      device_(device),
      options_(options),
      planned_(plan(campaign)),
      steering_(bench, certificates_of(bench), options.into),
      logbook_(options.into / logbook_file),
      recorder_(recording::Recorder::take_up(options.into / recording_file, bookmark.samples)),
      recording_(recorder_, device.sample_rate_hz(), acquisition::queue_for(bench.block_s)),
      recorded_(bookmark.samples),
      done_(bookmark.points_done),
      done_before_(bookmark.points_done) {
  // A device that remembers nothing is a real bench: who knows what was touched meanwhile.
  if (done_ == 0 || bookmark.device.empty()) return;
  std::vector<Setting> last = planned_.at(static_cast<std::size_t>(done_) - 1).settings;
  last.insert(last.end(), campaign_.constants.begin(), campaign_.constants.end());
  for (const Setting& setting : last)
    commanded_[setting.actuator] = commanded_value(setting, bench_);
}

double Conductor::seconds(std::int64_t samples) const {
  return static_cast<double>(samples) / bench_.sample_rate_hz;
}

// Brings the bench to its safe state and notes why; false, so that callers can pass it on.
bool Conductor::end(Ending ending, std::string_view event, const std::string& cause) {
  device_.stop();
  logbook_.add(device_.now(), event, {{"text", cause}});
  return ended(ending, cause);
}

bool Conductor::ended(Ending ending, const std::string& cause) {
  ended_ =
      Outcome{.ending = ending, .points = done_, .cause = cause, .power_stays_on = power_stays_on_};
  try {
    recording_.flush();
  } catch (const base::DiskFault& fault) {
    ended_->cause += fmt::format("\n{}", fault.what());
  }
  return false;
}

void Conductor::tell(std::string_view phase) const {
  if (!options_.progress) return;
  const int total = static_cast<int>(planned_.size());
  const int conducted = done_ - done_before_;
  const double each_s = conducted > 0
                            ? seconds(samples_read_) / conducted
                            : campaign_.pace.settle_window_s + campaign_.pace.shortest_dwell_s;
  options_.progress({.done = done_,
                     .total = total,
                     .seconds_left = each_s * (total - done_),
                     .phase = std::string(phase)});
}

std::optional<guard::Trip> Conductor::read_block() {
  bench::SampleBlock& block = recording_.free_block();
  device_.read(block);
  if (block.samples == 0 || block.channels != bench_.channels.size()) {
    throw base::DeviceFault(device_.name(), "sent a block without samples of all channels",
                            "connection and channel list of the device");
  }
  block_ = {.first = recorded_,
            .samples = static_cast<std::int64_t>(block.samples),
            .gap_before = block.gap_before,
            .start = block.start};
  recorded_ += block_.samples;
  samples_read_ += block_.samples;
  std::optional<guard::Trip> trip = steering_.judge(block);
  // Before anything else, even before the block is on its way.
  if (trip && trip->stop_category == 0) device_.stop();
  if (options_.watch) {
    const std::optional<std::string> own = trip ? std::optional(in_words(*trip)) : std::nullopt;
    const std::optional<std::string> cause = options_.watch(block, own);
    if (cause && !trip) {
      device_.stop();
      trip = guard::Trip{.interlock = "watch",
                         .stop_category = 0,
                         .cause = *cause,
                         .check = {},
                         .time = block.start};
    }
  }
  recording_.hand_over(block);
  return trip;
}

// False where the run has ended.
bool Conductor::go_on() {
  if (options_.stop.stop_requested()) {
    return end(
        Ending::interrupted, "interruption",
        fmt::format("interrupted after {} of {} test points; the bench is in its safe state: "
                    "go on with --resume",
                    done_, planned_.size()));
  }
  const std::optional<guard::Trip> trip = read_block();
  if (!trip) return true;
  // The note first: it is what keeps a trip latched, and there is room reserved for it.
  logbook_.add(device_.now(), "trip", {{"text", guard::in_words(*trip)}});
  if (trip->stop_category > 0) stop_under_control(trip->stop_category);
  return ended(Ending::tripped, guard::in_words(*trip));
}

// Whoever asks to end meanwhile waits for it; a harder stop does not.
void Conductor::stop_under_control(int category) {
  const auto load = commanded_.find(std::string(bench::load_selector));
  guard::StopSequence sequence(
      bench_, device_,
      {.stop_category = category,
       .load_selector = load == commanded_.end() ? std::nullopt : std::optional(load->second)});
  while (!sequence.finished()) {
    tell("stopping");
    if (const std::optional<guard::Trip> harder = read_block()) {
      logbook_.add(device_.now(), "trip", {{"text", guard::in_words(*harder)}});
      if (harder->stop_category == 0) return;
      category = harder->stop_category;
    }
    sequence.advance(seconds(block_.samples), steering_.rotor_speed_rad_s());
  }
  power_stays_on_ = category == 2;
  if (!power_stays_on_) device_.stop();
}

void Conductor::set(const std::string& actuator, double value) {
  const auto known = commanded_.find(actuator);
  if (known != commanded_.end() && known->second == value) return;
  device_.set(actuator, value);
  commanded_[actuator] = value;
}

// Two witnesses for a while: a dead speed sensor alone must not send a hand to the blades.
bool Conductor::come_to_standstill() {
  set(std::string(fan), 0.0);
  const double quiet_V = quiet_part * steering_.span("dc_voltage_V");
  std::int64_t waited = 0;
  std::int64_t quiet = 0;
  while (seconds(quiet) < shortest_quiet_s) {
    tell("waiting for the rotor to stand still");
    if (!go_on()) return false;
    const bool still = steering_.rotor_speed_rad_s() < standstill_rad_s &&
                       std::abs(steering_.dc_voltage_V()) < quiet_V;
    quiet = still ? quiet + block_.samples : 0;
    waited += block_.samples;
    if (!still && seconds(waited) > longest_coasting_s) {
      throw base::DeviceFault(
          device_.name(),
          fmt::format("the rotor does not stand still {:.0f} s after the fan was stopped: {:.1f} "
                      "rad/s, {:.2f} V",
                      longest_coasting_s, steering_.rotor_speed_rad_s(), steering_.dc_voltage_V()),
          "fan, speed sensor and voltage sensor; nobody goes near the blades before they stand "
          "still");
    }
  }
  return true;
}

// Changed actuators only. What is changed by hand comes first, with the fan off and the rotor at
// rest; the fan starts again when everything else, the load above all, is in place: the load of the
// run-up first where the campaign has one, the test point's own when the rotor has settled there.
bool Conductor::command(const PlannedPoint& planned) {
  std::vector<Setting> all = planned.settings;
  all.insert(all.end(), campaign_.constants.begin(), campaign_.constants.end());
  const auto differs = [this](const Setting& setting) {
    const auto known = commanded_.find(setting.actuator);
    return known == commanded_.end() || known->second != commanded_value(setting, bench_);
  };
  const bool by_hand = std::any_of(all.begin(), all.end(), [&](const Setting& setting) {
    return bench_.actuator(setting.actuator).manual && differs(setting);
  });
  if (by_hand && !come_to_standstill()) return false;
  for (const Setting& setting : all) {
    if (!bench_.actuator(setting.actuator).manual) continue;
    if (differs(setting)) {
      tell("waiting for a change by hand");
      if (options_.stand) options_.stand(true);
    }
    set(setting.actuator, commanded_value(setting, bench_));
  }
  if (options_.stand) options_.stand(false);
  if (!campaign_.run_up.empty() && fan_stands() && !run_up(all)) return false;
  command_powered(all);
  return true;
}

bool Conductor::fan_stands() const {
  const auto known = commanded_.find(std::string(fan));
  return known == commanded_.end() || known->second == 0.0;
}

bool Conductor::run_up(std::vector<Setting> settings) {
  for (Setting& setting : settings) {
    for (const Setting& instead : campaign_.run_up) {
      if (instead.actuator == setting.actuator) setting = instead;
    }
  }
  command_powered(settings);
  TestPoint on_the_way{};
  settling_ = 0;
  return settle(on_the_way, "running up");
}

// The load, then the fan.
void Conductor::command_powered(const std::vector<Setting>& settings) {
  for (const bool is_fan : {false, true}) {
    for (const Setting& setting : settings) {
      if (bench_.actuator(setting.actuator).manual || (setting.actuator == fan) != is_fan) continue;
      set(setting.actuator, commanded_value(setting, bench_));
    }
  }
}

// Whether rotor speed and DC power, as block means, drift no faster than the pace allows.
bool Conductor::is_steady(const BlockMeans& means) const {
  const Pace& pace = campaign_.pace;
  const double length_s = static_cast<double>(means.speed_rad_s.size()) * bench_.block_s;
  const double drift_relative =
      pace.settle_drift_relative * std::max(1.0, length_s / pace.settle_window_s);
  const metrology::SettlingRule speed_rule{
      .drift_relative = drift_relative,
      .drift_absolute = negligible_part * steering_.span("rotor_speed_rad_s")};
  const metrology::SettlingRule power_rule{.drift_relative = drift_relative,
                                           .drift_absolute = negligible_part * negligible_part *
                                                             steering_.span("dc_voltage_V") *
                                                             steering_.span("dc_current_A")};
  return metrology::drift_over(means.speed_rad_s, speed_rule).settled &&
         metrology::drift_over(means.power_W, power_rule).settled;
}

// Waits until the last window is steady, or the longest time to settle has gone by.
bool Conductor::settle(TestPoint& point, std::string_view phase) {
  const Pace& pace = campaign_.pace;
  const auto window = static_cast<std::size_t>(std::ceil(pace.settle_window_s / bench_.block_s));
  BlockMeans means;
  point.settled = false;
  while (!point.settled && seconds(settling_) < pace.longest_settle_s) {
    tell(phase);
    if (!go_on()) return false;
    settling_ += block_.samples;
    if (block_.gap_before) means = {};
    means.add(steering_);
    if (means.speed_rad_s.size() > window) means.drop_first();
    point.settled = means.speed_rad_s.size() == window && is_steady(means);
  }
  point.settle_s = seconds(settling_);
  return true;
}

// A rotor on the way into stall may seem to rest for a while: what is kept has to be steady over
// the whole dwell, else it settles and dwells again while there is time to settle.
bool Conductor::measure(TestPoint& point) {
  settling_ = 0;
  while (true) {
    if (!settle(point, "settling")) return false;
    BlockMeans means;
    point.on_target = false;
    if (!dwell(point, means)) return false;
    if (!point.settled || is_steady(means)) return true;
    settling_ += point.samples;
    if (seconds(settling_) < campaign_.pace.longest_settle_s) continue;
    point.settled = false;
    return true;
  }
}

bool Conductor::dwell(TestPoint& point, BlockMeans& means) {
  const Pace& pace = campaign_.pace;
  std::vector<double> power_W;
  int restarts = 0;
  double judged_s = 0.0;
  point.samples = 0;
  while (!point.on_target && seconds(point.samples) < pace.longest_dwell_s) {
    tell("dwelling");
    if (!go_on()) return false;
    if (block_.gap_before && point.samples > 0) {
      const std::string text =
          fmt::format("samples were missed while dwelling on test point {}; the dwell starts again",
                      point.number);
      logbook_.add(block_.start, "gap", {{"text", text}});
      if (++restarts > most_restarts) {
        throw base::DeviceFault(device_.name(), "keeps missing samples",
                                "load of the computer and the connection");
      }
      point.samples = 0;
    }
    if (point.samples == 0) {
      power_W.clear();
      means = {};
      judged_s = 0.0;
      point.first_sample = block_.first;
      point.start = block_.start;
    }
    point.samples += block_.samples;
    means.add(steering_);
    const std::span<const double> power = steering_.dc_power_W();
    power_W.insert(power_W.end(), power.begin(), power.end());
    const double dwelt_s = seconds(point.samples);
    if (dwelt_s < pace.shortest_dwell_s || dwelt_s - judged_s < judge_dwell_every_s) continue;
    judged_s = dwelt_s;
    const signal::CorrelatedMean mean = signal::mean_of_correlated(power_W);
    point.on_target = mean.u <= pace.target_u_relative * std::abs(mean.mean);
  }
  return true;
}

// Samples first, then the line that speaks of them, then the bookmark that counts both: whatever
// ends the program in between, what the bookmark says is there. False where the run has ended.
bool Conductor::keep(const TestPoint& point) {
  const std::int64_t samples = recorded_;
  const std::string device = device_.bookmark();
  // A real bench is watched while the disk is at it; a simulated one stands still meanwhile.
  device.empty() ? recording_.ask_to_flush() : recording_.flush();
  while (!recording_.is_flushed()) {
    if (!go_on()) return false;
  }
  logbook_.add(device_.now(), "point", to_json(point));
  ++done_;
  write_bookmark(options_.into, {.points_done = done_, .samples = samples, .device = device});
  return true;
}

Outcome Conductor::conduct_rest() {
  try {
    const Outcome outcome = conduct_points();
    for (const std::string& remark : device_.remarks())
      logbook_.add(device_.now(), "remark", {{"text", remark}});
    return outcome;
  } catch (...) {
    device_.stop();  // first: to finish the recording may take its time
    throw;
  }
}

Outcome Conductor::conduct_points() {
  while (done_ < static_cast<int>(planned_.size())) {
    const PlannedPoint& planned = planned_[static_cast<std::size_t>(done_)];
    TestPoint point{.number = planned.number,
                    .block = planned.block,
                    .repeat = planned.repeat,
                    .settings = planned.settings,
                    .start = {},
                    .settle_s = 0.0,
                    .settled = false,
                    .on_target = false,
                    .first_sample = 0,
                    .samples = 0};
    if (!command(planned) || !measure(point) || !keep(point)) return *ended_;
  }
  device_.stop();
  recording_.flush();
  logbook_.add(device_.now(), "complete", {{"points", done_}});
  tell("complete");
  return {.ending = Ending::complete, .points = done_, .cause = {}};
}

}  // namespace

Outcome conduct(const Campaign& campaign, const bench::Bench& bench, bench::Device& device,
                const ConductOptions& options) {
  require_fits(campaign, bench);
  const Found found = look_for_run(options.into, campaign, bench);
  if (found != Found::nothing && !options.resume) {
    throw base::BadInput(options.into.string(), "holds a run already",
                         "a new folder, or --resume to go on with that run");
  }
  bench::SafeAtTheEnd safe(device);
  if (found != Found::run) {
    const Readiness readiness = check_readiness(bench, device);
    if (const std::optional<Outcome> refused = refusal(readiness, options.reason)) return *refused;
    begin(campaign, bench, device, options, readiness);
  }
  const bench::Bench kept = bench_in(options.into, campaign);
  const Bookmark bookmark = bookmark_in(options.into);
  if (found == Found::run) {
    if (const std::optional<Outcome> refused = take_up(kept, device, options, bookmark)) {
      return *refused;
    }
  }
  try {
    Outcome outcome = Conductor(campaign, kept, device, options, bookmark).conduct_rest();
    if (outcome.power_stays_on) safe.leave();
    return outcome;
  } catch (const std::exception& fault) {
    device.stop();
    Logbook(options.into / logbook_file).add(device.now(), "fault", {{"text", fault.what()}});
    throw;
  }
}

}  // namespace windwright::campaign
