// SPDX-License-Identifier: Apache-2.0
#include "acquisition/live_power.h"

#include "bench/bench.h"
#include "counting_device.h"
#include "metrology/certificate.h"
#include "signal/ac_power.h"

#include <gtest/gtest.h>

#include <chrono>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <numbers>
#include <optional>
#include <vector>

namespace windwright::acquisition {
namespace {

constexpr double rate_hz = 10'000.0;

/// Value = 10 x volts, as fitted to made-up readings.
metrology::Certificate tenfold() {
  metrology::Readings readings;
  for (int i = -5; i <= 5; ++i) {
    readings.reference.push_back(10.0 * i);
    readings.reading.push_back(i);
  }
  metrology::Certificate made;
  made.model = "line";
  made.reference_unit = made.reading_unit = "V";
  return metrology::calibrate(made, readings, "made up");
}

bench::Bench generator_bench() {
  bench::Bench bench = bench_of(2, rate_hz);
  bench.channels[0].name = "ac_voltage_V";
  bench.channels[1].name = "ac_current_A";
  for (bench::Channel& channel : bench.channels)
    channel.converter = {.lower_V = -5.0, .upper_V = 5.0, .bits = 24};
  return bench;
}

struct Wave {
  double frequency_Hz;
  double voltage_V;  // crest of the fundamental
  double current_A;
  double lag_rad;
};

/// A bridge's kind of waveforms: third and fifth order, an offset in the current.
class Samples {
 public:
  std::vector<double> voltage_V;
  std::vector<double> current_A;

  void add(const Wave& wave, std::size_t samples) {
    for (std::size_t i = 0; i < samples; ++i) {
      phase_ += 2.0 * std::numbers::pi * wave.frequency_Hz / rate_hz;
      voltage_V.push_back(wave.voltage_V * (std::sin(phase_) + 0.1 * std::sin(3.0 * phase_)));
      current_A.push_back(wave.current_A *
                          (std::sin(phase_ - wave.lag_rad) + 0.2 * std::sin(5.0 * phase_) + 0.05));
    }
  }
  /// What the converters make of it, from `begin` on.
  bench::SampleBlock block(const bench::Bench& bench, std::size_t begin,
                           std::size_t samples) const {
    bench::SampleBlock block;
    block.first_sample = static_cast<std::int64_t>(begin);
    block.start = base::UtcTime{} + std::chrono::microseconds(100 * begin);
    block.channels = 2;
    block.samples = samples;
    for (std::size_t c = 0; c < 2; ++c) {
      const bench::Converter& converter = bench.channels[c].converter;
      const double step_V = (converter.upper_V - converter.lower_V) / std::exp2(converter.bits);
      for (std::size_t i = begin; i < begin + samples; ++i) {
        const double volts = 0.1 * (c == 0 ? voltage_V : current_A)[i];
        block.counts.push_back(
            static_cast<std::int32_t>(std::floor((volts - converter.lower_V) / step_V)));
      }
    }
    return block;
  }

 private:
  double phase_ = 0.3;
};

void feed(LivePower& live, const bench::Bench& bench, const Samples& samples, std::size_t begin,
          std::size_t block) {
  for (std::size_t at = begin; at < samples.voltage_V.size(); at += block) {
    live.take(samples.block(bench, at, std::min(block, samples.voltage_V.size() - at)));
  }
}

void expect_agree(const AcFigures& shown, const signal::PairPower& whole) {
  ASSERT_TRUE(whole.alternating);
  EXPECT_NEAR(shown.frequency_Hz / whole.alternating->frequency_Hz, 1.0, 1e-5);
  EXPECT_NEAR(shown.voltage_rms_V / whole.voltage.rms, 1.0, 1e-4);
  EXPECT_NEAR(shown.current_rms_A / whole.current.rms, 1.0, 1e-4);
  EXPECT_NEAR(shown.active_power_W / whole.active_power_W, 1.0, 1e-4);
  EXPECT_NEAR(shown.apparent_power_VA / whole.apparent_power_VA, 1.0, 1e-4);
  EXPECT_NEAR(shown.power_factor, whole.alternating->terms.power_factor, 1e-4);
  EXPECT_EQ(shown.cycles, whole.alternating->cycles);
}

TEST(LivePower, IsWhatTheWholeAnalysisFindsInTheNewestWindow) {
  const bench::Bench bench = generator_bench();
  const std::vector<std::optional<metrology::Certificate>> certificates{tenfold(), tenfold()};
  for (const double frequency_Hz : {11.3, 49.93, 54.0, 60.2, 187.0}) {
    SCOPED_TRACE(frequency_Hz);
    // Before the newest window the machine gave something else.
    Samples samples;
    samples.add({.frequency_Hz = frequency_Hz, .voltage_V = 5.0, .current_A = 30.0, .lag_rad = 1.0},
                20'000);
    const auto changed = samples.voltage_V.size();
    samples.add({.frequency_Hz = frequency_Hz, .voltage_V = 30.0, .current_A = 8.0, .lag_rad = 0.4},
                14'000);
    LivePower live(bench, certificates);
    ASSERT_EQ(live.pairs().size(), 1U);
    EXPECT_EQ(live.pairs()[0].name, "ac_power_W");
    feed(live, bench, samples, 0, 777);
    const std::optional<AcFigures> shown = live.newest(0);
    ASSERT_TRUE(shown);
    EXPECT_EQ(shown->before, base::UtcTime{} + std::chrono::microseconds(3'400'000));
    const signal::PairStretch newest{.voltage_V = std::span(samples.voltage_V).subspan(changed),
                                     .current_A = std::span(samples.current_A).subspan(changed)};
    expect_agree(*shown, signal::pair_power(std::span(&newest, 1), rate_hz, {}, "samples"));
    // And what the sines say: P = U I / 2 cos(lag), with no other order in both.
    EXPECT_NEAR(shown->active_power_W / (30.0 * 8.0 / 2.0 * std::cos(0.4)), 1.0, 1e-4);
    EXPECT_NEAR(shown->voltage_rms_V / (30.0 * std::sqrt((1.0 + 0.01) / 2.0)), 1.0, 1e-4);
  }
}

TEST(LivePower, AfterAGapThereIsNoneUntilAWindowIsWhole) {
  const bench::Bench bench = generator_bench();
  LivePower live(bench, {tenfold(), tenfold()});
  EXPECT_FALSE(live.newest(0));
  Samples samples;
  samples.add({.frequency_Hz = 50.0, .voltage_V = 30.0, .current_A = 8.0, .lag_rad = 0.4}, 30'000);
  live.take(samples.block(bench, 0, 10'000));
  EXPECT_TRUE(live.newest(0));
  bench::SampleBlock block = samples.block(bench, 12'345, 1'900);  // nine and a half cycles
  live.take(block);
  EXPECT_FALSE(live.newest(0)) << "by the count";
  live.take(samples.block(bench, 14'245, 200));
  EXPECT_TRUE(live.newest(0));
  block = samples.block(bench, 14'445, 1'900);
  block.gap_before = true;
  live.take(block);
  EXPECT_FALSE(live.newest(0)) << "by the flag";
}

TEST(LivePower, NoFundamentalIsNoPower) {
  const bench::Bench bench = generator_bench();
  LivePower live(bench, {tenfold(), tenfold()});
  Samples samples;  // at rest
  samples.add({.frequency_Hz = 0.0, .voltage_V = 0.0, .current_A = 0.0, .lag_rad = 0.0}, 20'000);
  feed(live, bench, samples, 0, 1000);
  EXPECT_FALSE(live.newest(0));
}

TEST(LivePower, APairWithoutBothCertificatesOrWithoutAlternationIsNone) {
  const bench::Bench alternating = generator_bench();
  EXPECT_TRUE(LivePower(alternating, {tenfold(), std::nullopt}).pairs().empty());
  EXPECT_TRUE(LivePower(bench_of(2, rate_hz), {tenfold(), tenfold()}).pairs().empty());
  bench::Bench inverter = generator_bench();
  inverter.channels[0].name = "inverter_output_V";
  inverter.channels[1].name = "inverter_output_A";
  const LivePower live(inverter, {tenfold(), tenfold()});
  ASSERT_EQ(live.pairs().size(), 1U);
  EXPECT_EQ(live.pairs()[0].name, "inverter_output_W");
}

}  // namespace
}  // namespace windwright::acquisition
