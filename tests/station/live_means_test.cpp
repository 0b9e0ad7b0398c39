// SPDX-License-Identifier: Apache-2.0
#include "station/live_means.h"

#include "acquisition/live_values.h"
#include "bench/bench.h"
#include "bench/certificates.h"
#include "campaign/bench_in_test.h"
#include "fresh_folder.h"
#include "twin/simulated_bench.h"

#include <gtest/gtest.h>

#include <cstddef>
#include <optional>
#include <vector>

namespace windwright::station {
namespace {

/// Of the demo's bench, driven for a minute.
LiveMeans means_of_a_driven_bench() {
  const bench::Bench bench = bench::bench_from_file(campaign::copied_bench(fresh_folder()));
  campaign::certify(bench);
  twin::SimulatedBench device(bench, twin::Pace::as_fast_as_possible);
  device.set("load_selector", 1.0);
  device.set("rheostat_ohm", 20.0);
  device.set("fan_pct", 80.0);
  acquisition::LiveValues live(bench, bench::certificates_there_are(bench));
  RunningMeans running(live.channels().size(), bench.sample_rate_hz);
  bench::SampleBlock block;
  LiveMeans newest;
  for (double seconds = 0.0; seconds < 60.0; seconds += bench.block_s) {
    device.read(block);
    live.take(block);
    std::vector<acquisition::Figures> figures;
    for (std::size_t i = 0; i < live.channels().size(); ++i)
      figures.push_back(live.figures(i));
    if (std::optional<LiveMeans> means = running.take(block, live, figures)) newest = *means;
  }
  return newest;
}

// Active power is the mean of the product, and never above V x I: IEEE Std 1459-2010, 3.1.2.3 and
// 3.1.2.4. The clause numbers are from memory.
TEST(LiveMeans, OfAPowerAreMeansAndNeverAboveTheApparentPower) {
  const LiveMeans seen = means_of_a_driven_bench();
  const double apparent_power_VA = seen.means.at("ac_voltage_V") * seen.means.at("ac_current_A");
  const double active_power_W = seen.means.at("ac_power_W");
  ASSERT_GT(apparent_power_VA, 5.0);
  EXPECT_LE(active_power_W, apparent_power_VA);
  EXPECT_GE(active_power_W, 0.85 * apparent_power_VA) << "before a bridge it is 3/pi, or so";
  EXPECT_NEAR(
      seen.means.at("dc_power_W") / (seen.means.at("dc_voltage_V") * seen.means.at("dc_current_A")),
      1.0, 0.01);
  EXPECT_NEAR(seen.seconds, RunningMeans::stretch_s, 1e-9);
}

}  // namespace
}  // namespace windwright::station
