// SPDX-License-Identifier: Apache-2.0
#include "analysis/waveforms.h"

#include "analysis/made_recording.h"
#include "base/errors.h"
#include "base/files.h"
#include "base/json.h"
#include "bench/bench.h"
#include "bench/device.h"
#include "metrology/certificate.h"
#include "recording/recording.h"

#include <boost/json.hpp>
#include <fmt/format.h>
#include <gtest/gtest.h>

#include <array>
#include <chrono>
#include <cmath>
#include <cstdint>
#include <filesystem>
#include <numbers>
#include <string>
#include <vector>

namespace windwright::analysis {
namespace {

std::string complaint(const WaveformRequest& request) {
  try {
    waveforms(request);
  } catch (const base::BadInput& error) {
    return error.what();
  }
  return {};
}

TEST(Waveforms, OfARecordingAreCalibratedAndCutAtItsGap) {
  const fs::path file = recording_in(fresh_folder());
  const Waveforms got =
      waveforms({.file = file, .voltage = "ac_voltage_V", .current = "ac_current_A"});
  ASSERT_EQ(got.pieces.size(), 2U);
  EXPECT_EQ(got.pieces[0].voltage_V.size(), 6000U);
  EXPECT_EQ(got.pieces[1].current_A.size(), 7000U);
  ASSERT_EQ(got.gaps.size(), 1U);
  EXPECT_NEAR(got.gaps[0].at_s, 0.9, 1e-12);
  EXPECT_NEAR(got.gaps[0].missing_s, 0.3, 1e-12);
  EXPECT_TRUE(got.remarks.empty());
  const signal::PairPower power = power_of(got, file);
  // A converter's step is 3e-4 V, 15 mV of voltage and 0.6 mA of current.
  EXPECT_NEAR(power.voltage.rms, 230.0, 2e-3);
  EXPECT_NEAR(power.active_power_W, 345.0, 5e-3);
  ASSERT_TRUE(power.alternating);
  EXPECT_EQ(power.alternating->windows, 6U);  // 30.1 and 35.3 cycles beside the ramps
  EXPECT_NEAR(power.alternating->frequency_Hz, frequency_Hz, 1e-4);
  EXPECT_LT(power.alternating->voltage_distortion->thd, 1e-5);
}

TEST(Waveforms, TakeTimesByTheDevicesCount) {
  const fs::path file = recording_in(fresh_folder());
  const auto between = [&](double from_s, double to_s) {
    return waveforms({.file = file,
                      .voltage = "ac_voltage_V",
                      .current = "ac_current_A",
                      .from_s = from_s,
                      .to_s = to_s});
  };
  const Waveforms late = between(1.0, 1.2);
  ASSERT_EQ(late.pieces.size(), 1U);
  EXPECT_EQ(late.pieces[0].voltage_V.size(), 2000U);
  EXPECT_TRUE(late.gaps.empty());
  const Waveforms across = between(0.5, 1.0);
  ASSERT_EQ(across.pieces.size(), 2U);
  EXPECT_EQ(across.pieces[0].voltage_V.size(), 1000U);
  EXPECT_EQ(across.pieces[1].voltage_V.size(), 1000U);
  EXPECT_NEAR(across.gaps[0].missing_s, 0.3, 1e-12);
}

TEST(Waveforms, RefuseWhatARecordingDoesNotHold) {
  const fs::path folder = fresh_folder();
  const fs::path file = recording_in(folder);
  const std::string name = file.string();
  EXPECT_EQ(complaint({.file = file, .voltage = "mains_V", .current = "ac_current_A"}),
            name + ":1: has no channel 'mains_V': ac_voltage_V, ac_current_A or air_speed_m_s");
  EXPECT_EQ(complaint({.file = file, .voltage = "ac_voltage_V", .current = "air_speed_m_s"}),
            name + ": air_speed_m_s: 'm s-1' measures another quantity: \"A\"");
  EXPECT_EQ(complaint({.file = file,
                       .voltage = "ac_voltage_V",
                       .current = "ac_current_A",
                       .from_s = 0.65,
                       .to_s = 0.85}),
            name + ":1: has no samples from 0.65 s to 0.85 s: --from and --to between 0 and 1.6");
  fs::create_directories(folder / "bare");
  const fs::path bare = recording_in(folder / "bare", false);
  EXPECT_EQ(complaint({.file = bare, .voltage = "ac_voltage_V", .current = "ac_current_A"}),
            bare.string() +
                ": ac_voltage_V: was recorded without a certificate: a channel that was "
                "calibrated before it was recorded");
}

TEST(Waveforms, OfACsvFileStandAsTheyAre) {
  const fs::path file = fresh_folder() / "samples.csv";
  std::string text = "# made up\ntime_s,current,voltage\n";
  for (int n = 0; n < 10; ++n)
    text += fmt::format("{:.3f},{},{}\n", 2.0 + n * 0.0124, n, 10 * n);  // time to the nearest 1 ms
  base::write_whole(file, text);
  const Waveforms got = waveforms(
      {.file = file, .voltage = "voltage", .current = "current", .from_s = 2.02, .to_s = 2.1});
  EXPECT_NEAR(got.sample_rate_hz, 1.0 / 0.0124, 0.5);
  ASSERT_EQ(got.pieces.size(), 1U);
  EXPECT_EQ(got.pieces[0].current_A, (std::vector<double>{2, 3, 4, 5, 6, 7, 8}));
  EXPECT_EQ(got.pieces[0].voltage_V.front(), 20.0);
}

}  // namespace
}  // namespace windwright::analysis
