// SPDX-License-Identifier: Apache-2.0
// What is derived from recorded channels: the power of a sine's voltage and current, 230 V and 3 A,
// 60 degrees apart. Source of the closed forms: IEEE Std 1459-2010, 3.1.1: p = P (1 - cos 2wt) -
// Q sin 2wt, so its mean is UI cos(phi), its ends UI (cos(phi) -+ 1), its deviation UI / sqrt(2).
#include "analysis/derived_channel.h"

#include "analysis/made_recording.h"
#include "analysis/window_pairs.h"
#include "analysis/window_spectrum.h"
#include "analysis/window_statistics.h"
#include "analysis/window_view.h"
#include "base/errors.h"
#include "expect_refused.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>
#include <numbers>
#include <string>
#include <vector>

namespace windwright::analysis {
namespace {

constexpr double apparent_VA = 230.0 * 3.0;
constexpr double periods_s = 30.0 / frequency_Hz;

bench::DerivedChannel derived(const std::string& name, const std::string& unit,
                              const std::string& equation) {
  return {.name = name, .long_name = name, .unit = unit, .equation = equation};
}

bench::Bench deriving(const fs::path& folder) {
  bench::Bench bench = bench_in(folder, true);
  bench.rotor.tip_radius_m = 0.25;
  bench.derived.list = {
      derived("power_W", "W", "twice_W / 2"),
      derived("twice_W", "W", "2 * ac_voltage_V * ac_current_A"),
      derived("root_V", "V", "sqrt(ac_voltage_V)"),
      derived("far_V", "V", "ac_voltage_V / tip_radius_m"),
      derived("never_V", "V", "sqrt(-1 - abs(ac_voltage_V))"),
      derived("raw_m_s", "m s-1", "2 * air_speed_m_s"),
  };
  return bench;
}

/// As recording_in: 0.6 s of samples, 0.3 s missing, 0.7 s.
fs::path recorded(const bench::Bench& bench, const fs::path& folder) {
  const fs::path file = folder / "recording.h5";
  recording::Recorder recorder = recording::Recorder::create(file, bench, {"made-up", {}});
  recorder.append(block_from(0, 6000, false));
  recorder.append(block_from(9000, 7000, true));
  return file;
}

fs::path recorded() {
  const fs::path folder = fresh_folder();
  return recorded(deriving(folder), folder);
}

void expect_power(const ViewBin& seen) {
  EXPECT_NEAR(seen.mean, 0.5 * apparent_VA, 0.5);
  EXPECT_NEAR(seen.lowest, -0.5 * apparent_VA, 0.5);
  EXPECT_NEAR(seen.highest, 1.5 * apparent_VA, 0.5);
  EXPECT_NEAR(seen.deviation, apparent_VA / std::numbers::sqrt2, 0.5);
}

TEST(DerivedChannel, IsAMeanOfProductsInBinsAndStatistics) {
  const WindowRequest window{.file = recorded(), .channel = "power_W", .to_s = periods_s};
  for (const std::int64_t bins : {1, 3, 1000}) {
    const View view = view_of({.window = window, .bins = bins});
    EXPECT_EQ(std::ssize(view.bins), bins);
    EXPECT_EQ(view.all.samples, 5848);
    EXPECT_EQ(view.seen.unit, "W");
    EXPECT_EQ(view.seen.equation, "twice_W / 2");
    expect_power(view.all);
  }
  for (const ViewBin& bin : view_of({.window = window, .bins = 3}).bins)
    expect_power(bin);  // ten periods each
  const WindowStatistics statistics = statistics_of(window);
  EXPECT_EQ(statistics.samples, 5848);
  EXPECT_NEAR(statistics.mean, 0.5 * apparent_VA, 0.5);
  EXPECT_NEAR(statistics.deviation, apparent_VA / std::numbers::sqrt2, 0.5);
  EXPECT_TRUE(statistics.scatter);
}

TEST(DerivedChannel, SwingsAtTwiceTheFrequency) {
  const WindowSpectrum seen = spectrum_of({.window = {.file = recorded(), .channel = "power_W"},
                                           .taper = signal::Taper::flat_top,
                                           .resolution_Hz = 10.0});
  EXPECT_NEAR(seen.spectrum.amplitude[10], apparent_VA, 0.005 * apparent_VA);  // 102.6 Hz
}

TEST(DerivedChannel, HasNoValueWhereItsEquationHasNone) {
  const WindowRequest window{.file = recorded(), .channel = "root_V", .to_s = periods_s};
  const View view = view_of({.window = window, .bins = 100'000});
  EXPECT_NEAR(static_cast<double>(view.bins.size()), 5848 / 2, 30.0);  // the positive halves
  EXPECT_NEAR(view.all.highest, std::sqrt(230.0 * std::numbers::sqrt2), 0.01);
  const WindowStatistics statistics = statistics_of(window);
  EXPECT_EQ(statistics.samples, std::ssize(view.bins));
  EXPECT_FALSE(statistics.scatter);
  EXPECT_NE(statistics.without.find("the equation has no value at 29"), std::string::npos)
      << statistics.without;
  expect_refused([&] { spectrum_of({.window = window}); }, "has no value at 0 s");
  expect_refused([&] { view_of({.window = {.file = window.file, .channel = "never_V"}}); },
                 "has no value in the window");
}

TEST(DerivedChannel, NeedsTheCertificatesOfWhatItIsMadeOf) {
  const fs::path file = recorded();
  expect_refused([&] { view_of({.window = {.file = file, .channel = "raw_m_s"}}); },
                 "is made of air_speed_m_s, recorded without a certificate");
  expect_refused([&] { view_of({.window = {.file = file, .channel = "mood"}}); },
                 "has no channel 'mood'");
}

TEST(DerivedChannel, HasTheUncertaintyOfAllItsCertificates) {
  const fs::path folder = fresh_folder();
  const bench::Bench bench = deriving(folder);
  // Readings that scatter about the lines of the fixture.
  for (std::size_t k = 0; k < 2; ++k) {
    metrology::Readings readings;
    for (const double value : {-400.0, -200.0, 0.0, 200.0, 400.0}) {
      const double reference = k == 0 ? value : value / 40.0;
      readings.reference.push_back(reference);
      readings.reading.push_back(offset_V[k] + sensitivity[k] * (reference + (value == 0.0) * 0.5));
    }
    metrology::Certificate empty{};
    empty.channel = bench.channels[k].name;
    empty.model = "line";
    empty.reference_unit = bench.channels[k].unit;
    empty.reading_unit = "V";
    base::write_whole(
        bench.channels[k].certificate,
        base::json_text(metrology::to_json(metrology::calibrate(empty, readings, "made up"))));
  }
  const fs::path file = recorded(bench, folder);
  const std::array<double, 2> at_s{0.1003, 0.75};
  const auto cursor = [&](const char* channel) {
    return cursors_of({.file = file, .channel = channel}, at_s).cursors.front().value;
  };
  EXPECT_FALSE(cursors_of({.file = file, .channel = "power_W"}, at_s).cursors[1].t_s);  // the gap
  const metrology::Estimate voltage = cursor("ac_voltage_V");
  const metrology::Estimate current = cursor("ac_current_A");
  const metrology::Estimate power = cursor("power_W");
  EXPECT_NEAR(power.value(), voltage.value() * current.value(), 1e-9 * apparent_VA);
  EXPECT_GT(power.u(), 0.1);
  // JCGM 100:2008, 5.1.2, of a product.
  EXPECT_NEAR(power.u(), std::hypot(current.value() * voltage.u(), voltage.value() * current.u()),
              1e-9 * power.u());
  EXPECT_NEAR(cursor("far_V").u(), voltage.u() / 0.25, 1e-9 * voltage.u());
  const WindowStatistics far = statistics_of({.file = file, .channel = "far_V", .to_s = 0.1});
  const WindowStatistics near =
      statistics_of({.file = file, .channel = "ac_voltage_V", .to_s = 0.1});
  EXPECT_NEAR(far.calibration.u(), near.calibration.u() / 0.25, 1e-6 * far.calibration.u());
}

TEST(DerivedChannel, StandsBesideAChannelInTheSameBins) {
  const fs::path file = recorded();
  for (const std::int64_t bins : {7, 100'000}) {
    const WindowPairs seen = pairs_of(
        {.window = {.file = file, .channel = "far_V"}, .against = "ac_voltage_V", .bins = bins});
    ASSERT_EQ(std::ssize(seen.pairs), std::min<std::int64_t>(bins, 13'000));
    std::int64_t next = 0;
    for (const ChannelPair& pair : seen.pairs) {
      EXPECT_EQ(pair.x.first, next);
      EXPECT_EQ(pair.x.samples, pair.y.samples);
      EXPECT_NEAR(pair.y.mean, 4.0 * pair.x.mean, 1e-4);
      EXPECT_NEAR(pair.y.deviation, 4.0 * pair.x.deviation, 1e-3);
      next += pair.x.samples;
    }
    EXPECT_EQ(next, 13'000);
    EXPECT_NEAR(seen.correlation, 1.0, 1e-9);
  }
  const WindowPairs halves = pairs_of(
      {.window = {.file = file, .channel = "root_V"}, .against = "ac_voltage_V", .bins = 100'000});
  EXPECT_NEAR(static_cast<double>(halves.pairs.size()), 6500.0, 60.0);
  EXPECT_GT(halves.correlation, 0.9);
}

TEST(DerivedChannel, HoldsASlowChannelButNotAcrossAGap) {
  const fs::path folder = fresh_folder();
  bench::Bench bench = deriving(folder);
  bench.channels[1].every = 10;
  const fs::path file = folder / "recording.h5";
  {
    recording::Recorder recorder = recording::Recorder::create(file, bench, {"made-up", {}});
    recorder.append(block_from(0, 6003, false));
    recorder.append(block_from(9000, 7000, true));  // the current's next sample is the 6010th
  }
  const WindowRequest window{.file = file, .channel = "power_W"};
  EXPECT_EQ(view_of({.window = window}).all.samples, 13'003 - 7);
  EXPECT_EQ(statistics_of(window).samples, 13'003 - 7);
  const std::array<double, 1> at_s{0.4567};
  const auto cursor = [&](const char* channel) {
    return cursors_of({.file = file, .channel = channel}, at_s).cursors.front().value.value();
  };
  EXPECT_NEAR(cursor("power_W"), cursor("ac_voltage_V") * cursor("ac_current_A"), 1e-6);
}

TEST(DerivedChannel, RefusesAWindowThatWouldTakeTooLong) {
  const fs::path file = recorded();
  const recording::Recording recording(file);
  const DerivedChannel power(recording, file, "power_W");
  const std::array<recording::Window, 1> too_long{
      recording::Window{.first = 0, .count = (1 << 24) + 1}};
  expect_refused([&] { power.parts(too_long); },
                 "power_W is worked out from every sample, and the window has 16777217 of them: at "
                 "most 16777216: --from and --to within 1677.72 s of each other");
}

TEST(DerivedChannel, StaysInARecordingThatIsTakenUp) {
  const fs::path file = recorded();
  recording::Recorder::take_up(file, 5900).finish();
  expect_power(view_of({.window = {.file = file, .channel = "power_W", .to_s = periods_s}}).all);
}

}  // namespace
}  // namespace windwright::analysis
