// SPDX-License-Identifier: Apache-2.0
// What the simulated bench's counts say of its own truth.
#include "twin/sampling.h"

#include "physics/bridge_cycle.h"
#include "twin/demo_bench.h"
#include "twin/simulated_bench.h"
#include "twin/waveform_bench.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <map>
#include <set>
#include <string>
#include <vector>

namespace windwright::twin {
namespace {

// Samples of a steady bench, in the channels' units.
using Series = std::map<std::string, std::vector<double>>;

Series recorded(SimulatedBench& device, const bench::Bench& bench, double seconds) {
  bench::SampleBlock block;
  device.read(block, static_cast<std::size_t>(std::lround(seconds * bench.sample_rate_hz)));
  Series series;
  for (std::size_t c = 0; c < bench.channels.size(); ++c) {
    std::vector<double>& values = series[bench.channels[c].name];
    for (const std::int32_t counts : block.channel(c))
      values.push_back(shown(bench.channels[c], counts));
  }
  return series;
}

double mean_product(const std::vector<double>& a, const std::vector<double>& b) {
  double sum = 0.0;
  for (std::size_t i = 0; i < a.size(); ++i)
    sum += a[i] * b[i];
  return sum / static_cast<double>(a.size());
}

void settle(SimulatedBench& device, double rheostat_ohm) {
  device.set("load_selector", 1.0);
  device.set("rheostat_ohm", 60.0);
  device.set("fan_pct", 85.0);
  device.advance(30.0);
  device.set("rheostat_ohm", rheostat_ohm);
  device.advance(30.0);
}

// Six samples and fewer of an electrical period: the lag of the sensors must not depend on what
// lies between two of them.
TEST(Sampling, SlowSamplesOfTheAcSideGiveItsPower) {
  const bench::Bench bench = with_perfect_sensors(calm_bench());
  for (const double rheostat_ohm : {6.2, 19.0, 60.0}) {
    SimulatedBench device(bench, Pace::as_fast_as_possible);
    settle(device, rheostat_ohm);
    const Series series = recorded(device, bench, 20.0);
    const auto truth = device.truth();
    const double ac_W = 3.0 * mean_product(series.at("ac_voltage_V"), series.at("ac_current_A"));
    EXPECT_NEAR(ac_W, truth.at("ac_power_W"), 1.5e-3 * truth.at("ac_power_W")) << rheostat_ohm;
    const double dc_W = mean_product(series.at("dc_voltage_V"), series.at("dc_current_A"));
    EXPECT_NEAR(dc_W, truth.at("dc_power_W"), 1e-4 * truth.at("dc_power_W"));
    EXPECT_NEAR(ac_W - dc_W, truth.at("rectifier_loss_W"), 1.5e-3 * truth.at("ac_power_W"));
  }
}

// The waveforms against the averaged machine, in every mode of a smooth current: powers as means of
// products of 16 channels' samples.
TEST(Sampling, FastSamplesGiveTheAveragedPowersInEveryMode) {
  std::set<physics::BridgeMode> seen;
  for (const auto& [inductance_H, rheostat_ohm] :
       {std::array{0.5e-3, 15.0}, std::array{0.5e-3, 2.0}, std::array{8e-3, 15.0},
        std::array{8e-3, 4.0}}) {
    bench::Bench bench = with_perfect_sensors(waveform_bench(calm_bench(), 250000.0));
    bench.generator.winding_inductance_H = inductance_H;
    SimulatedBench device(bench, Pace::as_fast_as_possible);
    settle(device, rheostat_ohm);
    Series s = recorded(device, bench, 0.4);
    const auto truth = device.truth();
    const double speed_rad_s = truth.at("rotor_speed_rad_s");
    const physics::Generator& g = bench.generator;
    seen.insert(physics::smooth_bridge_means(
                    {.emf_peak_V = g.flux_linkage_V_s * g.pole_pairs * speed_rad_s,
                     .resistance_ohm = g.winding_resistance_ohm + g.diode_resistance_ohm,
                     .reactance_ohm = g.pole_pairs * speed_rad_s * g.winding_inductance_H,
                     .dc_current_A = truth.at("dc_current_A")})
                    .mode);
    const double ac_W = mean_product(s["ac_voltage_V"], s["ac_current_A"]) +
                        mean_product(s["ac_voltage_b_V"], s["ac_current_b_A"]) +
                        mean_product(s["ac_voltage_c_V"], s["ac_current_c_A"]);
    // Two wattmeters (Blondel, 1893): a against b and c against b.
    const double two_W = mean_product(s["ac_line_voltage_ab_V"], s["ac_current_A"]) -
                         mean_product(s["ac_line_voltage_bc_V"], s["ac_current_c_A"]);
    const double dc_W = mean_product(s["dc_voltage_V"], s["dc_current_A"]);
    EXPECT_NEAR(ac_W / truth.at("ac_power_W"), 1.0, 5e-3) << inductance_H << " " << rheostat_ohm;
    EXPECT_NEAR(two_W / ac_W, 1.0, 5e-3);
    EXPECT_NEAR(dc_W / truth.at("dc_power_W"), 1.0, 5e-3);
    for (std::size_t i = 0; i < s["ac_voltage_V"].size(); i += 101) {
      EXPECT_NEAR(s["ac_current_A"][i] + s["ac_current_b_A"][i] + s["ac_current_c_A"][i], 0.0,
                  1e-5);
      EXPECT_NEAR(s["ac_voltage_V"][i] - s["ac_voltage_b_V"][i], s["ac_line_voltage_ab_V"][i],
                  1e-4);
    }
  }
  EXPECT_TRUE(seen.contains(physics::BridgeMode::two_three));
  EXPECT_TRUE(seen.contains(physics::BridgeMode::three));
  EXPECT_TRUE(seen.contains(physics::BridgeMode::three_four));
}

TEST(Sampling, RippleShowsBehindAChokeAndNotBehindASmoothCurrent) {
  for (const bool choke : {true, false}) {
    bench::Bench bench = with_perfect_sensors(waveform_bench(calm_bench(), 50000.0));
    if (!choke) bench.smoothing_inductance_H = std::numeric_limits<double>::infinity();
    for (bench::Channel& channel : bench.channels)
      channel.simulated->bandwidth_Hz = 20000.0;
    SimulatedBench device(bench, Pace::as_fast_as_possible);
    settle(device, 15.0);
    const Series s = recorded(device, bench, 0.1);
    const auto [low, high] =
        std::minmax_element(s.at("dc_voltage_V").begin(), s.at("dc_voltage_V").end());
    const double ripple = (*high - *low) / *low;
    if (choke) {
      EXPECT_GT(ripple, 0.01);
      EXPECT_LT(ripple, 0.14) << "what the bare bridge shows";
    } else {
      EXPECT_LT(ripple, 1e-3);
    }
  }
}

// Blocks that end where the plant's own stretches end (20 ms) may be as long as they like.
// What a recording is proved complete with: every sample has its own number.
TEST(Sampling, ACounterNumbersEverySampleAndBeginsAnewAfterItsHighest) {
  bench::Bench bench = demo_bench();
  bench::Channel counter = bench.channels.back();
  counter.name = "sample_counter";
  counter.converter.bits = 8;
  bench.channels.push_back(counter);
  SimulatedBench device(bench, Pace::as_fast_as_possible);
  bench::SampleBlock block;
  std::int64_t sample = 0;
  for (const std::size_t samples : {7, 300, 1, 512}) {
    device.read(block, samples);
    for (const std::int32_t counts : block.channel(bench.channels.size() - 1))
      ASSERT_EQ(counts, sample++ % 256);
  }
  device.advance(0.5);  // 500 samples that nobody took
  device.read(block, 1);
  EXPECT_EQ(block.channel(bench.channels.size() - 1)[0], (sample + 500) % 256);
  EXPECT_FALSE(device.truth().contains("sample_counter"));
}

TEST(Sampling, IsTheSameInBlocksOfAnyNumberOfStretches) {
  const bench::Bench bench = waveform_bench(demo_bench(), 10000.0);
  SimulatedBench once(bench, Pace::as_fast_as_possible);
  SimulatedBench often(bench, Pace::as_fast_as_possible);
  for (SimulatedBench* device : {&once, &often}) {
    device->set("load_selector", 1.0);
    device->set("fan_pct", 85.0);
    device->advance(10.0);
  }
  bench::SampleBlock whole;
  once.read(whole, 6000);
  bench::SampleBlock part;
  for (std::size_t at = 0; at < 6000; at += part.samples) {
    often.read(part, at == 200 ? 1800 : 200);
    for (std::size_t c = 0; c < part.channels; ++c) {
      const auto expected = whole.channel(c).subspan(at, part.samples);
      ASSERT_TRUE(std::equal(expected.begin(), expected.end(), part.channel(c).begin())) << c;
    }
  }
  EXPECT_EQ(once.bookmark(), often.bookmark());
}

}  // namespace
}  // namespace windwright::twin
