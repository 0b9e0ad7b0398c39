// SPDX-License-Identifier: Apache-2.0
#include "campaign/conductor.h"

#include "base/errors.h"
#include "bench/safe_state.h"
#include "campaign/driven_bench.h"
#include "campaign/logbook.h"
#include "campaign/run_folder.h"
#include "campaign/run_start.h"
#include "campaign/steering.h"
#include "metrology/steady_state.h"
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
#include <memory>
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

// Everything a run needs at hand between two test points.
class Conductor {
 public:
  Conductor(const Campaign& campaign, const bench::Bench& bench, bench::Device& device,
            const ConductOptions& options, const Bookmark& bookmark);

  /// The whole rest of the run.
  Outcome conduct_rest();

 private:
  Outcome conduct_points();
  bool is_steady(const BlockMeans& means) const;
  bool settle(TestPoint& point, std::string_view phase);
  bool dwell(TestPoint& point, BlockMeans& means);
  bool measure(TestPoint& point);
  bool take_over_settings();
  bool command(const PlannedPoint& planned);
  bool run_up(std::vector<Setting> settings);
  void command_powered(const std::vector<Setting>& settings);
  bool keep(const TestPoint& point);
  void tell(std::string_view phase) const;

  const Campaign& campaign_;
  const bench::Bench& bench_;
  bench::Device& device_;
  const ConductOptions& options_;
  std::vector<PlannedPoint> planned_;
  DrivenBench driven_;
  bool remembers_;  // the device was brought back to where the last session had left it
  int done_;
  int done_before_;            // in earlier sessions
  std::int64_t settling_ = 0;  // samples since the last command, less the dwell that counts
};

Conductor::Conductor(const Campaign& campaign, const bench::Bench& bench, bench::Device& device,
                     const ConductOptions& options, const Bookmark& bookmark)
    : campaign_(campaign),
      bench_(bench),
      device_(device),
      options_(options),
      planned_(plan(campaign)),
      driven_(bench, device, options, bookmark, [this](std::string_view phase) { tell(phase); }),
      remembers_(bookmark.points_done > 0 && !bookmark.device.empty()),
      done_(bookmark.points_done),
      done_before_(bookmark.points_done) {}

void Conductor::tell(std::string_view phase) const {
  if (!options_.progress) return;
  const int total = static_cast<int>(planned_.size());
  const int conducted = done_ - done_before_;
  const double each_s = conducted > 0
                            ? driven_.seconds(driven_.samples_read()) / conducted
                            : campaign_.pace.settle_window_s + campaign_.pace.shortest_dwell_s;
  options_.progress({.done = done_,
                     .total = total,
                     .seconds_left = each_s * (total - done_),
                     .phase = std::string(phase)});
}

// A device that remembers nothing is a real bench: who knows what was touched meanwhile. Another
// was brought back, and runs as it ran.
bool Conductor::take_over_settings() {
  std::map<std::string, double> last;
  const auto add = [&](const std::vector<Setting>& settings) {
    for (const Setting& setting : settings)
      last[setting.actuator] = commanded_value(setting, bench_);
  };
  add(planned_.at(static_cast<std::size_t>(done_) - 1).settings);
  add(campaign_.constants);
  return driven_.take_over(last);
}

// Changed actuators only. What is changed by hand comes first, with the fan off and the rotor at
// rest; the fan starts again when everything else, the load above all, is in place: the load of the
// run-up first where the campaign has one, the test point's own when the rotor has settled there.
bool Conductor::command(const PlannedPoint& planned) {
  std::vector<Setting> all = planned.settings;
  all.insert(all.end(), campaign_.constants.begin(), campaign_.constants.end());
  const auto differs = [this](const Setting& setting) {
    return driven_.commanded(setting.actuator) != commanded_value(setting, bench_);
  };
  const bool by_hand = std::any_of(all.begin(), all.end(), [&](const Setting& setting) {
    return bench_.actuator(setting.actuator).manual && differs(setting);
  });
  if (by_hand && !driven_.come_to_standstill()) return false;
  for (const Setting& setting : all) {
    if (!bench_.actuator(setting.actuator).manual) continue;
    if (differs(setting)) tell("waiting for a change by hand");
    driven_.set(setting.actuator, commanded_value(setting, bench_));
  }
  if (!driven_.start()) return false;
  if (!campaign_.run_up.empty() && driven_.fan_stands() && !run_up(all)) return false;
  command_powered(all);
  return true;
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
      driven_.set(setting.actuator, commanded_value(setting, bench_));
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
      .drift_absolute = negligible_part * driven_.steering().span("rotor_speed_rad_s")};
  const metrology::SettlingRule power_rule{
      .drift_relative = drift_relative,
      .drift_absolute = negligible_part * negligible_part *
                        driven_.steering().span("dc_voltage_V") *
                        driven_.steering().span("dc_current_A")};
  return metrology::drift_over(means.speed_rad_s, speed_rule).settled &&
         metrology::drift_over(means.power_W, power_rule).settled;
}

// Waits until the last window is steady, or the longest time to settle has gone by.
bool Conductor::settle(TestPoint& point, std::string_view phase) {
  const Pace& pace = campaign_.pace;
  const auto window = static_cast<std::size_t>(std::ceil(pace.settle_window_s / bench_.block_s));
  BlockMeans means;
  point.settled = false;
  while (!point.settled && driven_.seconds(settling_) < pace.longest_settle_s) {
    tell(phase);
    if (!driven_.go_on()) return false;
    settling_ += driven_.block().samples;
    if (driven_.block().gap_before) means = {};
    means.add(driven_.steering());
    if (means.speed_rad_s.size() > window) means.drop_first();
    point.settled = means.speed_rad_s.size() == window && is_steady(means);
  }
  point.settle_s = driven_.seconds(settling_);
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
    if (driven_.seconds(settling_) < campaign_.pace.longest_settle_s) continue;
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
  while (!point.on_target && driven_.seconds(point.samples) < pace.longest_dwell_s) {
    tell("dwelling");
    if (!driven_.go_on()) return false;
    if (driven_.block().gap_before && point.samples > 0) {
      const std::string text =
          fmt::format("samples were missed while dwelling on test point {}; the dwell starts again",
                      point.number);
      driven_.note_down(driven_.block().start, "gap", {{"text", text}});
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
      point.first_sample = driven_.block().first;
      point.start = driven_.block().start;
    }
    point.samples += driven_.block().samples;
    means.add(driven_.steering());
    const std::span<const double> power = driven_.steering().dc_power_W();
    power_W.insert(power_W.end(), power.begin(), power.end());
    const double dwelt_s = driven_.seconds(point.samples);
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
  const std::int64_t samples = driven_.recorded();
  const std::string device = device_.bookmark();
  // A real bench is watched while the disk is at it; a simulated one stands still meanwhile.
  device.empty() ? driven_.recording().ask_to_flush() : driven_.recording().flush();
  while (!driven_.recording().is_flushed()) {
    if (!driven_.go_on()) return false;
  }
  driven_.count(++done_, static_cast<int>(planned_.size()));
  // One that goes on where it was stands still since the flush.
  const Bookmark bookmark{
      .points_done = done_,
      .samples = samples,
      .device = device,
      .slow_sums = device.empty() ? std::vector<recording::SlowSum>() : driven_.slow_sums()};
  driven_.note_down(device_.now(), "point", to_json(point),
                    [into = options_.into, bookmark] { write_bookmark(into, bookmark); });
  if (device.empty()) {
    driven_.is_written();  // or a failure so far
  } else {
    driven_.wait_until_written();
  }
  return true;
}

Outcome Conductor::conduct_rest() {
  try {
    const Outcome outcome = conduct_points();
    for (const std::string& remark : device_.remarks())
      driven_.note_down(device_.now(), "remark", {{"text", remark}});
    driven_.wait_until_written();
    return outcome;
  } catch (const base::DeviceFault& fault) {
    driven_.fail(fault, true);
    throw;
  } catch (const std::exception& fault) {
    driven_.fail(fault, false);
    throw;
  }
}

Outcome Conductor::conduct_points() {
  driven_.count(done_, static_cast<int>(planned_.size()));
  if (remembers_ && !take_over_settings()) return *driven_.ended();
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
    if (!command(planned) || !measure(point) || !keep(point)) return *driven_.ended();
  }
  if (!driven_.come_down()) return *driven_.ended();
  device_.stop();
  driven_.recording().flush();
  driven_.note_down(device_.now(), "complete", {{"points", done_}});
  driven_.wait_until_written();
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
  copy_proof(options.into, campaign, bench);
  const bench::Bench kept = bench_in(options.into, campaign);
  const Bookmark bookmark = bookmark_in(options.into);
  const std::string& person = options.person.empty() ? campaign.operator_name : options.person;
  if (found == Found::run) {
    if (const std::optional<Outcome> refused = take_up(kept, device, options, bookmark, person)) {
      return *refused;
    }
  }
  const auto conductor = [&] {
    try {
      return std::make_unique<Conductor>(campaign, kept, device, options, bookmark);
    } catch (const std::exception& fault) {
      device.stop();
      Logbook(options.into / logbook_file).add(device.now(), "fault", {{"text", fault.what()}});
      throw;
    }
  }();
  const Outcome outcome = conductor->conduct_rest();
  if (outcome.power_stays_on) safe.leave();
  return outcome;
}

}  // namespace windwright::campaign
