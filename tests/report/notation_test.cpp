// SPDX-License-Identifier: Apache-2.0
#include "report/notation.h"

#include "metrology/estimate.h"

#include <gtest/gtest.h>

#include <cmath>
#include <limits>

namespace windwright::report {
namespace {

// JCGM 100:2008 (GUM) 7.2.6: y = 10.057 62 ohm with uc(y) = 27 mohm is rounded to 10.058 ohm;
// 28.05 kHz is rounded to 28 kHz. 7.2.4: m = (100.021 47 ± 0.000 79) g from U = 0.79 mg.
TEST(Rounding, FollowsTheExamplesOfTheGuideToUncertainty) {
  EXPECT_EQ(with_uncertainty(10.05762, 0.027), "10.058 ± 0.027");
  EXPECT_EQ(uncertainty_alone(28.05), "28");
  EXPECT_EQ(with_uncertainty(100.02147, 0.00079), "100.02147 ± 0.00079");
}

TEST(Rounding, KeepsTwoDigitsOfTheUncertaintyAndItsPlaceInTheValue) {
  EXPECT_EQ(with_uncertainty(0.31204, 0.00432), "0.3120 ± 0.0043");
  EXPECT_EQ(with_uncertainty(8.0, 0.1), "8.00 ± 0.10");
  EXPECT_EQ(with_uncertainty(101323.0, 128.0), "101320 ± 130");
  EXPECT_EQ(with_uncertainty(-0.00004, 0.013), "0.000 ± 0.013");
  EXPECT_EQ(with_uncertainty(-0.5, 0.25), "−0.50 ± 0.25");
}

TEST(Rounding, DoesNotGainADigitWhenTheUncertaintyRoundsUpToAPowerOfTen) {
  EXPECT_EQ(with_uncertainty(1.23456, 0.00999), "1.235 ± 0.010");
  EXPECT_EQ(with_uncertainty(1234.0, 99.7), "1230 ± 100");
}

TEST(Rounding, WritesPowersOfTenFarFromOne) {
  EXPECT_EQ(with_uncertainty(1.7894e-5, 1.2e-7), "(1.789 ± 0.012) × 10⁻⁵");
  EXPECT_EQ(number(6.62607e-34, 3), "6.63 × 10⁻³⁴");
}

TEST(Rounding, SaysSoWhereNoUncertaintyIsStated) {
  EXPECT_EQ(with_uncertainty(0.36123, 0.0), "0.3612 (U not stated)");
  EXPECT_EQ(with_uncertainty(metrology::Estimate(0.36123)), "0.3612 (U not stated)");
  EXPECT_EQ(with_uncertainty(0.36123, std::nan("")), "0.3612 (U not stated)");
  EXPECT_EQ(with_uncertainty(std::nan(""), 0.1), "–");
  EXPECT_EQ(with_uncertainty(1.0, std::numeric_limits<double>::infinity()),
            "1.000 (U without bound)");
}

TEST(Escaping, LeavesNoMarkupAndNoControlCharacters) {
  EXPECT_EQ(escaped("<b a=\"1\" c='2'>&\x01\n"), "&lt;b a=&quot;1&quot; c=&#39;2&#39;&gt;&amp;\n");
}

TEST(Prose, SetsDegreesAndKeepsAValueWithItsUncertainty) {
  EXPECT_EQ(prose("3 blades, 5 deg"), "3 blades, 5°");
  EXPECT_EQ(prose("21.0 degC, a polynomial of degree 4"), "21.0&nbsp;°C, a polynomial of degree 4");
  EXPECT_EQ(prose("0.32 ± 0.01 (95 %)"), "0.32&nbsp;±&nbsp;0.01 (95&nbsp;%)");
  EXPECT_EQ(prose("a < b"), "a &lt; b");
}

TEST(Units, AreSetAsInPrint) {
  EXPECT_EQ(unit_text("m s-1"), "m/s");
  EXPECT_EQ(unit_text("kg m-3"), "kg/m³");
  EXPECT_EQ(unit_text("J kg-1 K-1"), "J/(kg K)");
  EXPECT_EQ(unit_text("m3 s-3"), "m³/s³");
  EXPECT_EQ(unit_text("degC"), "°C");
  EXPECT_EQ(unit_text("s-1"), "1/s");
  EXPECT_EQ(unit_text("1"), "");
  EXPECT_EQ(unit_text_of_name("rheostat_ohm"), "Ω");
}

TEST(Notation, NamesOfFilesBecomeWords) {
  EXPECT_EQ(quantity_words("ac_power_W"), "AC power");
  EXPECT_EQ(quantity_words("dc_voltage_V"), "DC voltage");
  EXPECT_EQ(quantity_words("air_speed_m_s"), "air speed");
  EXPECT_EQ(quantity_words("curve"), "curve");
}

}  // namespace
}  // namespace windwright::report
