// SPDX-License-Identifier: Apache-2.0
#include "physics/ac_supply.h"

#include "base/table.h"
#include "physics/ac_period.h"

#include <gtest/gtest.h>

#include <cmath>
#include <cstddef>
#include <memory>
#include <string>
#include <vector>

namespace windwright::physics {
namespace {

constexpr double mains_Hz = 50.0;

AcSupply pulses(double alpha_deg) {
  return {.kind = OutputKind::quasi_square,
          .peak_V = 1.0,
          .pulse_share = 1.0 - 2.0 * alpha_deg / 180.0,
          .frequency_Hz = mains_Hz};
}

// Closed forms of the voltage-cancelled square wave; sources in the data file. Tolerance: its
// digits.
TEST(AcSupply, QuasiSquareHasTheClosedFormsOfItsPulse) {
  const auto table =
      base::Table::from_file(SOURCE_FOLDER "/tests/published/data/quasi_square_inverter.csv");
  const auto at = [&](std::size_t row, const char* name) {
    return table.number(row, table.required_column(name));
  };
  for (std::size_t row = 0; row < table.rows(); ++row) {
    const AcSupply supply = pulses(at(row, "alpha_deg"));
    const double first_V = harmonic_V(supply, 1);
    EXPECT_NEAR(rms_V(supply), at(row, "rms"), 1e-8);
    EXPECT_NEAR(first_V, at(row, "V1_rms"), 1e-8);
    EXPECT_NEAR(distortion(supply), at(row, "THD"), 1e-8);
    EXPECT_NEAR(std::abs(harmonic_V(supply, 3)) / first_V, at(row, "V3_over_V1"), 1e-8);
    EXPECT_NEAR(std::abs(harmonic_V(supply, 5)) / first_V, at(row, "V5_over_V1"), 1e-8);
  }
}

// Same source, in the file's comment lines.
TEST(AcSupply, QuasiSquareLosesItsThirdHarmonicAtThirtyDegrees) {
  EXPECT_NEAR(harmonic_V(pulses(30.0), 3), 0.0, 1e-15);
  EXPECT_NEAR(100.0 * distortion(pulses(30.0)), 31.08, 0.005);
  EXPECT_NEAR(100.0 * distortion(pulses(23.218)), 28.9636, 5e-5);
}

// Fourier series and means of unit waves; sources in the data file. Tolerance: its digits for the
// closed forms; for the tables that samples are drawn from, what ac_period.h states.
TEST(AcSupply, SineAndSquareHaveTheirClosedForms) {
  const auto table =
      base::Table::from_file(SOURCE_FOLDER "/tests/published/data/waveform_closed_forms.csv");
  const auto at = [&](std::size_t row, const char* name) {
    return table.number(row, table.required_column(name));
  };
  const auto period = std::make_unique<AcPeriod>();
  int seen = 0;
  for (std::size_t row = 0; row < table.rows(); ++row) {
    const std::string name(table.text(row, table.required_column("waveform")));
    if (name != "sine" && name != "square") continue;
    ++seen;
    const AcSupply supply{.kind = name == "sine" ? OutputKind::sine : OutputKind::square,
                          .peak_V = 1.0,
                          .pulse_share = 1.0,
                          .frequency_Hz = mains_Hz};
    EXPECT_NEAR(rms_V(supply), at(row, "rms"), 1e-9);
    EXPECT_NEAR(rectified_mean_V(supply), at(row, "rectified_mean"), 1e-9);
    EXPECT_NEAR(distortion(supply), at(row, "thd"), 1e-9);
    EXPECT_NEAR(rms_V(supply) / rectified_mean_V(supply), at(row, "form_factor"), 1e-9);
    EXPECT_NEAR(supply.peak_V / rms_V(supply), at(row, "crest_factor"), 1e-9);
    tabulate({.supply = supply,
              .ripple = {},
              .dc_voltage_V = 0.0,
              .dc_current_A = 0.0,
              .dc_ripple_share = 0.0},
             {}, *period);
    std::vector<double> samples_V(200000);
    fill(*period, {}, 1.0 / 10e6, {samples_V, {}, {}});
    double square_V2 = 0.0;
    double sum_V = 0.0;
    for (const double sample_V : samples_V) {
      square_V2 += sample_V * sample_V / 200000.0;
      sum_V += std::abs(sample_V) / 200000.0;
    }
    EXPECT_NEAR(std::sqrt(square_V2), at(row, "rms"), 3e-7);
    EXPECT_NEAR(sum_V, at(row, "rectified_mean"), 3e-7);
  }
  EXPECT_EQ(seen, 2);
}

}  // namespace
}  // namespace windwright::physics
