// SPDX-License-Identifier: Apache-2.0
#include "analysis/sample_record.h"

#include "analysis/made_recording.h"
#include "base/errors.h"

#include <gtest/gtest.h>

#include <cmath>
#include <cstddef>
#include <filesystem>
#include <numbers>
#include <optional>
#include <string>
#include <vector>

namespace windwright::analysis {
namespace {

// 230 V at 51.3 Hz were written as counts; half a count of the converter is what is lost.
TEST(SampleRecord, OfARecordingHasTheValuesThatTheCertificatesGive) {
  const fs::path file = recording_in(fresh_folder());
  const SampleRecord record = samples_from_recording(file, "", Window{.from_s = 0.1, .to_s = 0.3});
  EXPECT_EQ(record.interval_s, 1.0 / rate_hz);
  ASSERT_EQ(record.channels.size(), 2U);
  EXPECT_EQ(record.channels[0].name, "ac_voltage_V");
  const std::vector<double>& voltage_V = record.channels[0].values;
  ASSERT_EQ(voltage_V.size(), 2000U);
  const double count_V = 20.0 / (1 << bits) / sensitivity[0];
  for (std::size_t n = 0; n < voltage_V.size(); ++n) {
    const double t_s = static_cast<double>(1000 + n) / rate_hz;
    EXPECT_NEAR(voltage_V[n],
                std::numbers::sqrt2 * 230.0 * std::sin(2.0 * std::numbers::pi * frequency_Hz * t_s),
                0.51 * count_V);
  }
  ASSERT_EQ(record.remarks.size(), 1U);
  EXPECT_EQ(record.remarks[0], "air_speed_m_s: recorded without a certificate, left out");
}

// The recording misses 0.3 s after 0.6 s: the device's count says where the next sample is.
TEST(SampleRecord, OfARecordingTakesTimeByTheDevicesCount) {
  const fs::path file = recording_in(fresh_folder());
  const SampleRecord record =
      samples_from_recording(file, "ac_voltage_V", Window{.from_s = 0.9, .to_s = 1.0});
  ASSERT_EQ(record.channels.size(), 1U);
  EXPECT_EQ(record.channels[0].values.size(), 1000U);
  const double t_s = 0.95;
  EXPECT_NEAR(record.channels[0].values[500],
              std::numbers::sqrt2 * 230.0 * std::sin(2.0 * std::numbers::pi * frequency_Hz * t_s),
              0.02);
}

TEST(SampleRecord, BridgesNoGap) {
  const fs::path file = recording_in(fresh_folder());
  for (const auto& window :
       {std::optional<Window>(), std::optional(Window{.from_s = 0.5, .to_s = 1.0})}) {
    try {
      samples_from_recording(file, "", window);
      FAIL() << "a gap was bridged";
    } catch (const base::BadInput& error) {
      EXPECT_NE(std::string(error.what()).find("has a gap before 0.9 s"), std::string::npos)
          << error.what();
    }
  }
  EXPECT_THROW(samples_from_recording(file, "", Window{.from_s = 0.65, .to_s = 0.85}),
               base::BadInput);
  EXPECT_THROW(samples_from_recording(file, "", Window{.from_s = 2.0, .to_s = 3.0}),
               base::BadInput);
  EXPECT_THROW(samples_from_recording(file, "air_speed_m_s", Window{.from_s = 0.1, .to_s = 0.2}),
               base::BadInput);
  EXPECT_THROW(samples_from_recording(file, "nothing", Window{.from_s = 0.1, .to_s = 0.2}),
               base::BadInput);
}

TEST(SampleRecord, SaysWhatOfAWindowWasNotRecorded) {
  const fs::path file = recording_in(fresh_folder());
  const SampleRecord record =
      samples_from_recording(file, "ac_voltage_V", Window{.from_s = 0.4, .to_s = 0.8});
  EXPECT_EQ(record.channels[0].values.size(), 2000U);
  ASSERT_EQ(record.remarks.size(), 1U);
  EXPECT_EQ(record.remarks[0], "of the window 0.4 s to 0.8 s only 0.4 s to 0.6 s was recorded");
}

}  // namespace
}  // namespace windwright::analysis
