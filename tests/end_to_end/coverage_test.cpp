// SPDX-License-Identifier: Apache-2.0
// Do the stated 95 % intervals hold the truth in about 95 % of cases? Only a
// simulated bench knows the truth. Every test point here is on a bench of its
// own: seed by seed other sensor errors, radius, position factor and losses are
// drawn from the spreads that bench.toml states; the bench is calibrated
// through its own device, and a campaign of one test point is conducted,
// recorded and reduced as any run is. The device is then left as it was and
// watched for its long-run means.
#include "analysis/points.h"
#include "analysis/results.h"
#include "base/files.h"
#include "base/json.h"
#include "base/random.h"
#include "bench/bench.h"
#include "campaign/campaign.h"
#include "campaign/conductor.h"
#include "campaign/readiness.h"
#include "end_to_end/program.h"
#include "metrology/certificate.h"
#include "twin/simulated_bench.h"

#include <boost/json.hpp>
#include <fmt/format.h>
#include <gtest/gtest.h>
#include <sys/wait.h>
#include <unistd.h>

#include <cmath>
#include <cstddef>
#include <cstdint>
#include <exception>
#include <filesystem>
#include <fstream>
#include <map>
#include <numbers>
#include <regex>
#include <sstream>
#include <stdexcept>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::end_to_end {
namespace {

namespace fs = std::filesystem;

constexpr int wanted_points = 400;
constexpr int shares = 2;          // measured side by side
constexpr double truth_s = 150.0;  // ten dwells and more, so that its own scatter hardly matters

// The conductor leaves the bench in its safe state; this one stays at its test
// point.
class LeftRunning final : public bench::Device {
 public:
  explicit LeftRunning(twin::SimulatedBench& device) : device_(device) {}
  const std::string& name() const override { return device_.name(); }
  double sample_rate_hz() const override { return device_.sample_rate_hz(); }
  base::UtcTime now() const override { return device_.now(); }
  void set(std::string_view actuator, double value) override { device_.set(actuator, value); }
  void apply_known_input(std::string_view channel, double value) override {
    device_.apply_known_input(channel, value);
  }
  void remove_known_input() override { device_.remove_known_input(); }
  void read(bench::SampleBlock& block) override { device_.read(block); }
  void stop() noexcept override {}
  std::string bookmark() const override { return device_.bookmark(); }
  void return_to(std::string_view bookmark) override { device_.return_to(bookmark); }

 private:
  twin::SimulatedBench& device_;
};

// The demo's campaign cut down to one test point, anywhere within the levels of
// its factors.
campaign::Campaign one_point(campaign::Campaign campaign, std::uint64_t seed) {
  const base::RandomStream random(seed, "settings");
  std::uint64_t drawn = 0;
  for (campaign::Factor& factor : campaign.factors) {
    const double at = random.uniform(drawn++);
    const double low = factor.levels.front();
    const double high = factor.levels.back();
    // Loads are spread by ratio; blades are whole.
    factor.levels = {factor.actuator == "rheostat_ohm"  ? low * std::pow(high / low, at)
                     : factor.actuator == "blade_count" ? std::round(low + at * (high - low))
                                                        : low + at * (high - low)};
  }
  for (campaign::Setting& constant : campaign.constants) {
    if (constant.actuator == "fan_pct") constant.value += 10.0 * (random.uniform(drawn++) - 0.5);
  }
  campaign.repeats = 1;
  return campaign;
}

bench::Bench bench_with_seed(const fs::path& folder, const std::string& demo, std::uint64_t seed) {
  write_text(folder / "bench.toml", std::regex_replace(demo, std::regex("\nseed = [0-9]+"),
                                                       fmt::format("\nseed = {}", seed)));
  return bench::bench_from_file(folder / "bench.toml");
}

void calibrate(const bench::Bench& bench, bench::Device& device) {
  for (std::size_t channel = 0; channel < bench.channels.size(); ++channel) {
    std::vector<campaign::Reading> readings;
    const auto certificate = campaign::calibrate_channel(bench, channel, device, readings);
    write_text(bench.channels[channel].certificate,
               base::json_text(metrology::to_json(certificate)));
  }
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

struct Measured {
  analysis::PointResult result;
  Truth truth;
};

Measured measured(const fs::path& folder, const std::string& demo_bench,
                  const campaign::Campaign& demo_campaign, std::uint64_t seed) {
  const bench::Bench bench = bench_with_seed(folder, demo_bench, seed);
  const auto campaign = one_point(demo_campaign, seed);
  twin::SimulatedBench device(bench, twin::Pace::as_fast_as_possible);
  calibrate(bench, device);
  LeftRunning left_running(device);
  fs::remove_all(folder / "run");
  campaign::ConductOptions options;
  options.into = folder / "run";
  // One sensor in twenty fails its check by chance; leaving those benches out would flatter.
  options.reason = "the errors of all benches count, also of those that fail their check";
  const auto outcome = campaign::conduct(campaign, bench, left_running, options);
  if (outcome.ending != campaign::Ending::complete) throw std::runtime_error(outcome.cause);
  const campaign::Run run = campaign::run_from_folder(options.into);
  return {.result = reduced(run), .truth = long_run(device)};
}

struct Score {
  int inside = 0;
  double sum_of_squares = 0.0;  // of error over standard uncertainty
  double u_relative = 0.0;
};

// A share of the seeds, in a process of its own: this is the longest test of all. One line a test
// point: for each quantity error, expanded uncertainty, standard uncertainty and value.
void measure_share(const fs::path& folder, std::uint64_t share) {
  const std::string demo_bench = text_of(folder / "bench.toml");
  const auto demo_campaign = campaign::campaign_from_file(folder / "campaign.toml");
  std::string lines;
  int points = 0;
  int unsettled = 0;
  const int wanted = wanted_points / shares;
  for (std::uint64_t seed = 1000 + share; points < wanted && unsettled < wanted; seed += shares) {
    const Measured done = measured(folder, demo_bench, demo_campaign, seed);
    if (!done.result.settled) {
      ++unsettled;  // reported as such and kept out of every fit
      lines += "unsettled\n";
      continue;
    }
    ++points;
    const auto add = [&](const metrology::Estimate& estimate, double truth) {
      lines += fmt::format("{} {} {} {} ", estimate.value() - truth, estimate.expanded(0.95),
                           estimate.u(), estimate.value());
    };
    add(done.result.tip_speed_ratio, done.truth.tip_speed_ratio);
    add(*done.result.dc_power_W, done.truth.dc_power_W);
    add(*done.result.cp_electrical, done.truth.cp_electrical);
    lines += '\n';
  }
  write_text(folder / "measured.txt", lines);
}

void measure_shares(const std::vector<fs::path>& folders) {
  std::vector<pid_t> children;
  for (std::size_t share = 0; share < folders.size(); ++share) {
    const pid_t child = fork();
    if (child == 0) {
      int status = 0;
      try {
        measure_share(folders[share], share);
      } catch (const std::exception& error) {
        fmt::print(stderr, "{}\n", error.what());
        status = 1;
      }
      _exit(status);
    }
    children.push_back(child);
  }
  for (const pid_t child : children) {
    int status = 0;
    waitpid(child, &status, 0);
    EXPECT_EQ(status, 0);
  }
}

TEST(Coverage, StatedIntervalsHoldTheTruthAsOftenAsTheySay) {
  std::vector<fs::path> folders;
  for (int share = 0; share < shares; ++share)
    folders.push_back(bench_folder(fmt::format("share-{}", share)));
  measure_shares(folders);
  const std::vector<std::string> names{"tip_speed_ratio", "dc_power_W", "cp_electrical"};
  std::map<std::string, Score> scores;
  int points = 0;
  int unsettled = 0;
  for (const fs::path& folder : folders) {
    std::ifstream in(folder / "measured.txt");
    for (std::string line; std::getline(in, line);) {
      if (line == "unsettled") {
        ++unsettled;
        continue;
      }
      ++points;
      std::istringstream numbers(line);
      for (const std::string& name : names) {
        double error = 0.0;
        double expanded = 0.0;
        double u = 0.0;
        double value = 0.0;
        ASSERT_TRUE(numbers >> error >> expanded >> u >> value) << line;
        scores[name].inside += std::abs(error) <= expanded ? 1 : 0;
        scores[name].sum_of_squares += std::pow(error / u, 2);
        scores[name].u_relative += u / std::abs(value);
      }
    }
  }
  fmt::print("{} test points on as many benches; {} more had not settled\n", points, unsettled);
  EXPECT_EQ(points, wanted_points);
  EXPECT_LT(unsettled, wanted_points / 20);
  for (const auto& [name, score] : scores) {
    const double pct = 100.0 * score.inside / points;
    fmt::print(
        "{}: {:.1f} % of true values inside the 95 % interval; rms of error over u {:.2f}; mean u "
        "{:.2f} %\n",
        name, pct, std::sqrt(score.sum_of_squares / points), 100.0 * score.u_relative / points);
    EXPECT_GE(pct, 92.0) << name;
    EXPECT_LE(pct, 98.0) << name;
  }
}

}  // namespace
}  // namespace windwright::end_to_end
