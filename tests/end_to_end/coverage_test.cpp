// SPDX-License-Identifier: Apache-2.0
// Do the stated 95 % intervals hold the truth in about 95 % of cases? Only a simulated bench knows
// the truth. Every test point here is on a bench of its own: seed by seed other sensor errors,
// radius, position factor and losses are drawn from the spreads that bench.toml states, the bench
// is calibrated through its own device, one test point is recorded and reduced as any run's is.
#include "analysis/points.h"
#include "analysis/results.h"
#include "base/random.h"
#include "bench/bench.h"
#include "campaign/conductor.h"
#include "campaign/readiness.h"
#include "end_to_end/program.h"
#include "recording/recording.h"
#include "twin/simulated_bench.h"

#include <fmt/format.h>
#include <gtest/gtest.h>

#include <array>
#include <cmath>
#include <cstdint>
#include <filesystem>
#include <map>
#include <numbers>
#include <string>
#include <utility>
#include <vector>

namespace windwright::end_to_end {
namespace {

constexpr int benches = 20;
constexpr double settle_s = 25.0;
constexpr double dwell_s = 8.0;
constexpr double truth_s = 150.0;  // long against a dwell, so that its own scatter does not matter

const bench::Bench& described() {
  static const bench::Bench bench = bench::bench_from_file(std::filesystem::path(SOURCE_FOLDER) /
                                                           "examples/saltmarsh-college/bench.toml");
  return bench;
}

struct Settings {
  double fan_pct;
  double rheostat_ohm;
  double blade_count;
  double pitch_deg;
};

// Spread over what the demo's campaign could ask for; every bench its own.
Settings settings_of(std::uint64_t seed) {
  const base::RandomStream random(seed, "settings");
  return {.fan_pct = 60.0 + 20.0 * random.uniform(0),
          .rheostat_ohm = 4.0 * std::pow(10.0, 1.1 * random.uniform(1)),
          .blade_count = random.uniform(2) < 0.5 ? 2.0 : 3.0,
          .pitch_deg = 5.0 + std::floor(6.0 * random.uniform(3))};
}

struct Truth {
  double tip_speed_ratio;
  double dc_power_W;
  double cp_electrical;
};

// Long-run means at the same setting, from the simulation's own integrals.
Truth long_run(twin::SimulatedBench& device) {
  device.reset_energy();
  device.advance(truth_s);
  const twin::EnergyTally tally = device.energy();
  return {.tip_speed_ratio = 2.0 * std::numbers::pi * tally.revolutions *
                             device.truth().at("tip_radius_m") / tally.disc_air_path_m,
          .dc_power_W = tally.load_J / tally.seconds,
          .cp_electrical = tally.load_J / tally.wind_J};
}

// Calibrates, sets, waits, records one dwell.
campaign::Run run_on(const bench::Bench& bench, twin::SimulatedBench& device,
                     const Settings& settings, const std::filesystem::path& file) {
  campaign::Run run;
  run.bench = bench;
  run.recording = file;
  for (std::size_t channel = 0; channel < bench.channels.size(); ++channel) {
    std::vector<campaign::Reading> readings;
    run.certificates.push_back(campaign::calibrate_channel(bench, channel, device, readings));
  }
  const std::vector<campaign::Setting> commands{{"blade_count", settings.blade_count},
                                                {"pitch_deg", settings.pitch_deg},
                                                {"load_selector", 1.0},
                                                {"rheostat_ohm", settings.rheostat_ohm},
                                                {"fan_pct", settings.fan_pct}};
  for (const campaign::Setting& command : commands)
    device.set(command.actuator, command.value);
  device.advance(settle_s);
  auto recorder =
      recording::Recorder::create(file, bench, {.device = device.name(), .start = device.now()});
  bench::SampleBlock block;
  while (static_cast<double>(recorder.samples()) < dwell_s * bench.sample_rate_hz) {
    device.read(block);
    recorder.append(block);
  }
  recorder.flush();
  campaign::TestPoint point{};
  point.number = 1;
  point.settings = commands;
  point.settled = true;
  point.samples = recorder.samples();
  run.points.push_back(point);
  return run;
}

// As `reduce` does it: through points.csv.
analysis::PointResult reduced(const campaign::Run& run) {
  const auto points =
      analysis::points_from_text(analysis::points_csv(analysis::points_of_run(run)), "points.csv");
  const auto results = analysis::reduce({.points = points,
                                         .rotor = run.bench.rotor,
                                         .u_tip_radius_m = run.bench.u_tip_radius_m,
                                         .bench = &run.bench});
  return results.curves.at(0).points.at(0);
}

struct Score {
  int inside = 0;
  double sum_of_squares = 0.0;  // of error over standard uncertainty
  double u_relative = 0.0;
};

void score(const metrology::Estimate& estimate, double truth, Score& total) {
  const double error = estimate.value() - truth;
  total.inside += std::abs(error) <= estimate.expanded(0.95) ? 1 : 0;
  total.sum_of_squares += std::pow(error / estimate.u(), 2);
  total.u_relative += estimate.u() / std::abs(estimate.value());
}

TEST(Coverage, StatedIntervalsHoldTheTruthAsOftenAsTheySay) {
  const auto folder = scratch_folder("coverage");
  std::map<std::string, Score> scores;
  for (int i = 0; i < benches; ++i) {
    bench::Bench bench = described();
    const auto seed = static_cast<std::uint64_t>(1000 + i);
    bench.simulation->seed = seed;
    twin::SimulatedBench device(bench, twin::Pace::as_fast_as_possible);
    const auto file = folder / "recording.h5";
    std::filesystem::remove(file);
    const campaign::Run run = run_on(bench, device, settings_of(seed), file);
    const analysis::PointResult result = reduced(run);
    const Truth truth = long_run(device);
    score(result.tip_speed_ratio, truth.tip_speed_ratio, scores["tip_speed_ratio"]);
    score(*result.dc_power_W, truth.dc_power_W, scores["dc_power_W"]);
    score(*result.cp_electrical, truth.cp_electrical, scores["cp_electrical"]);
  }
  for (const auto& [name, total] : scores) {
    const double pct = 100.0 * total.inside / benches;
    fmt::print(
        "{}: {:.1f} % of {} true values inside the 95 % interval; rms of error over u "
        "{:.2f}; mean u {:.2f} %\n",
        name, pct, benches, std::sqrt(total.sum_of_squares / benches),
        100.0 * total.u_relative / benches);
    EXPECT_GE(pct, 92.0) << name;
    EXPECT_LE(pct, 98.0) << name;
  }
}

}  // namespace
}  // namespace windwright::end_to_end
