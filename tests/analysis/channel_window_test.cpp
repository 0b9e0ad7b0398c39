// SPDX-License-Identifier: Apache-2.0
// Every way to look at a window of a recording, on samples of which closed forms are known.
#include "analysis/made_recording.h"
#include "analysis/window_pairs.h"
#include "analysis/window_spectrum.h"
#include "analysis/window_statistics.h"
#include "analysis/window_view.h"
#include "base/errors.h"
#include "expect_refused.h"
#include "metrology/sample_statistics.h"
#include "signal/spectrum.h"
#include "signal/statistics.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <numbers>
#include <random>
#include <string>
#include <vector>

namespace windwright::analysis {
namespace {

// Samples 0 to 6000 and, 0.3 s later, 9000 to 16 000 of the device: 0.6 s and 0.7 s long.
const std::string voltage = "ac_voltage_V";
const std::string current = "ac_current_A";
constexpr double step_V = 20.0 / 65536.0 / 0.02;  // one count of the converter

fs::path made(bool certified = true) {
  return recording_in(fresh_folder(), certified);
}

TEST(WindowSpectrum, ShowsASineWithItsAmplitudeAndFrequency) {
  const WindowSpectrum seen = spectrum_of({.window = {.file = made(), .channel = voltage},
                                           .taper = signal::Taper::flat_top,
                                           .resolution_Hz = 10.0});
  EXPECT_EQ(seen.spectrum.segment, 1000U);
  const std::vector<double>& lines = seen.spectrum.amplitude;
  const auto peak =
      static_cast<std::size_t>(std::max_element(lines.begin(), lines.end()) - lines.begin());
  EXPECT_EQ(seen.spectrum.frequency_Hz(peak), 50.0);  // 51.3 Hz lies nearest
  EXPECT_NEAR(lines[peak], 230.0 * std::numbers::sqrt2, 0.002 * 325.0);
}

TEST(WindowSpectrum, TakesNoSegmentAcrossAGap) {
  const WindowRequest window{.file = made(), .channel = voltage};
  // 2 Hz: 5000 samples, overlapped by half: one in the 6000 before the gap, one in the 7000 after.
  EXPECT_EQ(spectrum_of({.window = window, .resolution_Hz = 2.0}).segments_there, 2);
  // 1.6 Hz: 6250 samples, which only the second part has.
  EXPECT_EQ(spectrum_of({.window = window, .resolution_Hz = 1.6}).segments_there, 1);
  expect_refused([&] { spectrum_of({.window = window, .resolution_Hz = 1.25}); },
                 "has no stretch of 8000 samples");
  expect_refused([&] { spectrum_of({.window = window, .resolution_Hz = 1e-4}); },
                 "--resolution-Hz: is 0.0001");
}

TEST(WindowSpectrum, SpreadsFewSegmentsOverTheWindow) {
  const WindowRequest window{.file = made(), .channel = voltage};
  const WindowSpectrum all = spectrum_of({.window = window, .resolution_Hz = 100.0});
  EXPECT_EQ(all.spectrum.segments, 256U);  // of 119 and 139 there
  EXPECT_EQ(all.segments_there, 258);
  const WindowSpectrum few =
      spectrum_of({.window = window, .resolution_Hz = 100.0, .averages = 10});
  EXPECT_EQ(few.spectrum.segments, 10U);
  EXPECT_NEAR(few.spectrum.relative_u, 1.0 / std::sqrt(10.0), 1e-12);  // far apart: independent
}

TEST(WindowSpectrum, RefusesToLayOtherLinesOverIts) {
  const fs::path file = made();
  const std::array<SpectrumRequest, 2> wanted{
      SpectrumRequest{.window = {.file = file, .channel = voltage}},
      SpectrumRequest{.window = {.file = file, .channel = voltage, .to_s = 0.2}}};
  expect_refused([&] { spectra_of(wanted); }, "one --resolution-Hz that both can have");
}

TEST(WindowStatistics, OfASineAreItsRmsAndItsPeaks) {
  // 41 periods of 51.3 Hz to half a sample.
  const WindowStatistics seen =
      statistics_of({.file = made(), .channel = voltage, .to_s = 30.0 / frequency_Hz});
  EXPECT_NEAR(seen.mean, 0.0, 0.2);
  EXPECT_NEAR(seen.deviation, 230.0, 0.1);
  EXPECT_NEAR(seen.highest, 230.0 * std::numbers::sqrt2, step_V);
  EXPECT_NEAR(seen.lowest, -230.0 * std::numbers::sqrt2, step_V);
  ASSERT_TRUE(seen.scatter);
  EXPECT_EQ(seen.scatter->block, 1);
}

TEST(WindowStatistics, StateNoUncertaintyAcrossAGap) {
  const WindowStatistics seen = statistics_of({.file = made(), .channel = voltage});
  EXPECT_EQ(seen.samples, 13'000);
  EXPECT_FALSE(seen.scatter);
  EXPECT_NE(seen.without.find("a gap at 0.9 s"), std::string::npos) << seen.without;
}

// Slow noise: from blocks of the pyramid the mean's uncertainty is what single samples give.
TEST(WindowStatistics, OfLongWindowsAgreeWithSingleSamples) {
  constexpr std::size_t samples = (1U << 22) + 5000;
  const fs::path folder = fresh_folder();
  bench::Bench bench = bench_in(folder, true);
  bench.channels.resize(1);
  std::mt19937_64 random(7);  // NOLINT(cert-msc51-cpp): the same in every run
  std::normal_distribution<double> normal;
  bench::SampleBlock block;
  block.channels = 1;
  block.samples = samples;
  double slow = 0.0;
  for (std::size_t n = 0; n < samples; ++n) {
    slow = 0.9998 * slow + 0.02 * normal(random);
    block.counts.push_back(count_of(2.0 + 0.3 * slow + 0.01 * normal(random)));
  }
  const fs::path file = folder / "recording.h5";
  recording::Recorder::create(file, bench, {"made-up", {}}).append(block);
  const WindowStatistics seen = statistics_of({.file = file, .channel = voltage});
  ASSERT_TRUE(seen.scatter);
  EXPECT_EQ(seen.scatter->block, 4096);

  std::vector<double> values;
  for (const std::int32_t count : block.counts)
    values.push_back((20.0 * (count + 0.5) / 65536.0 - 10.0 - offset_V[0]) / sensitivity[0]);
  const signal::CorrelatedMean single = signal::mean_of_correlated(values);
  EXPECT_NEAR(seen.mean, single.mean, 1e-4 * seen.deviation);
  EXPECT_NEAR(seen.deviation / std::sqrt(signal::variance(values)), 1.0, 1e-4);
  EXPECT_NEAR(seen.scatter->mean.u / single.u, 1.0, 0.1);
  EXPECT_NEAR(seen.scatter->mean.effective_samples / single.effective_samples, 1.0, 0.2);
}

TEST(Cursors, AreTheNearestSamplesAndNoneInAGap) {
  const fs::path file = made();
  const std::array<double, 5> at_s{0.10004, 0.10006, 0.7, 0.9, 1e9};
  const Cursors seen = cursors_of({.file = file, .channel = voltage}, at_s);
  ASSERT_EQ(seen.cursors.size(), 5U);
  EXPECT_EQ(*seen.cursors[0].t_s, 0.1);
  EXPECT_EQ(*seen.cursors[1].t_s, 0.1001);
  EXPECT_FALSE(seen.cursors[2].t_s);  // 0.6 s to 0.9 s are missing
  EXPECT_EQ(*seen.cursors[3].t_s, 0.9);
  EXPECT_FALSE(seen.cursors[4].t_s);
  for (const std::size_t k : {0U, 1U, 3U}) {
    const double angle = 2.0 * std::numbers::pi * frequency_Hz * *seen.cursors[k].t_s;
    EXPECT_NEAR(seen.cursors[k].value.value(), 230.0 * std::numbers::sqrt2 * std::sin(angle),
                step_V);
  }
  ASSERT_EQ(seen.steps.size(), 4U);
  EXPECT_NEAR(*seen.steps[0].time_s, 0.0001, 1e-15);
  EXPECT_FALSE(seen.steps[1].time_s);
  EXPECT_FALSE(seen.steps[2].time_s);
}

TEST(WindowPairs, CorrelateAsThePhaseBetweenThemSays) {
  const fs::path file = made();
  // 30 periods, sample by sample; the current is 60 degrees late: cos 60 degrees.
  const WindowPairs single =
      pairs_of({.window = {.file = file, .channel = voltage, .to_s = 30.0 / frequency_Hz},
                .against = current,
                .bins = 100'000});
  EXPECT_EQ(single.pairs.size(), 5848U);
  EXPECT_NEAR(single.correlation, 0.5, 0.002);
  EXPECT_EQ(single.pairs[10].x.samples, 1);
  // Bins have the same samples on both sides, with their spread.
  const WindowPairs bins =
      pairs_of({.window = {.file = file, .channel = voltage}, .against = current, .bins = 7});
  ASSERT_EQ(bins.pairs.size(), 7U);
  for (const ChannelPair& pair : bins.pairs) {
    EXPECT_EQ(pair.x.t_s, pair.y.t_s);
    EXPECT_EQ(pair.x.samples, pair.y.samples);
    EXPECT_NEAR(pair.x.deviation, 3.0, 0.1);
    EXPECT_NEAR(pair.y.deviation, 230.0, 8.0);
  }
  EXPECT_EQ(bins.x.channel, current);
}

// Every tenth sample of the current is kept, the mean of ten: 1000 a second, the sine of 51.3 Hz
// less by sin(x) / x.
TEST(SlowChannel, IsLookedAtInItsOwnSamples) {
  const fs::path folder = fresh_folder();
  bench::Bench bench = bench_in(folder, true);
  bench.channels[1].every = 10;
  const fs::path file = folder / "recording.h5";
  recording::Recorder::create(file, bench, {"made-up", {}}).append(block_from(0, 20'000, false));
  const WindowRequest window{.file = file, .channel = current};

  const WindowSpectrum seen =
      spectrum_of({.window = window, .taper = signal::Taper::flat_top, .resolution_Hz = 5.0});
  EXPECT_EQ(seen.spectrum.segment, 200U);
  EXPECT_EQ(seen.spectrum.frequency_Hz(100), 500.0);
  EXPECT_EQ(seen.segments_there, 37);
  const double x = std::numbers::pi * frequency_Hz * 10.0 / rate_hz;
  EXPECT_NEAR(seen.spectrum.amplitude[10], 3.0 * std::numbers::sqrt2 * std::sin(x) / x, 0.01);

  EXPECT_EQ(statistics_of(window).samples, 2000);
  EXPECT_EQ(statistics_of({.file = file, .channel = voltage}).samples, 20'000);

  for (const std::int64_t bins : {7, 100'000}) {
    const WindowPairs pairs =
        pairs_of({.window = {.file = file, .channel = voltage}, .against = current, .bins = bins});
    ASSERT_EQ(pairs.pairs.size(), bins == 7 ? 7U : 2000U);
    std::int64_t next = 0;
    for (const ChannelPair& pair : pairs.pairs) {
      EXPECT_EQ(pair.x.first, next);
      EXPECT_EQ(pair.y.first, next);
      EXPECT_EQ(pair.x.samples, pair.y.samples);
      next += pair.x.samples;
    }
    EXPECT_EQ(next, 20'000);
  }
}

TEST(Views, LieOverEachOtherFromTheTimesCalledZero) {
  const fs::path file = made();
  const WindowRequest window{.file = file, .channel = voltage, .from_s = 0.0, .to_s = 0.01};
  const std::array<ViewRequest, 2> wanted{ViewRequest{.window = window},
                                          ViewRequest{.window = window, .zero_s = 0.25}};
  const std::vector<View> seen = views_of(wanted);
  ASSERT_EQ(seen[1].bins.size(), 100U);
  EXPECT_EQ(seen[1].seen.from_s, 0.0);
  EXPECT_NEAR(seen[1].bins[30].t_s, seen[0].bins[30].t_s, 1e-12);
  const Cursors there = cursors_of(window, std::array{0.253});
  EXPECT_EQ(seen[1].bins[30].mean, there.cursors[0].value.value());

  const fs::path folder = file.parent_path() / "raw";
  fs::create_directory(folder);
  const fs::path raw = recording_in(folder, false);
  const std::array<ViewRequest, 2> unlike{ViewRequest{.window = window},
                                          ViewRequest{.window = {.file = raw, .channel = voltage}}};
  expect_refused([&] { views_of(unlike); }, "volts at the converter");
}

TEST(SlowChannel, HasNoValueBetweenAGapAndItsNextSample) {
  const fs::path folder = fresh_folder();
  bench::Bench bench = bench_in(folder, true);
  bench.channels[0].every = 50;
  const fs::path file = folder / "recording.h5";
  {
    recording::Recorder recorder = recording::Recorder::create(file, bench, {"made-up", {}});
    recorder.append(block_from(0, 1'020, false));
    recorder.append(block_from(2'000, 1'000, true));  // its next sample is that at 0.203 s
  }
  const std::array<double, 4> at_s{0.1015, 0.2, 0.2029, 0.203};
  const Cursors seen = cursors_of({.file = file, .channel = voltage}, at_s);
  EXPECT_TRUE(seen.cursors[0].t_s);
  EXPECT_FALSE(seen.cursors[1].t_s);
  EXPECT_FALSE(seen.cursors[2].t_s);
  EXPECT_TRUE(seen.cursors[3].t_s);
  const View view = view_of({.window = {.file = file, .channel = voltage, .from_s = 0.15}});
  EXPECT_NEAR(view.bins.front().t_s, 0.203, 1e-12);
  EXPECT_THROW(
      view_of({.window = {.file = file, .channel = voltage, .from_s = 0.2, .to_s = 0.2025}}),
      base::BadInput);
}

}  // namespace
}  // namespace windwright::analysis
