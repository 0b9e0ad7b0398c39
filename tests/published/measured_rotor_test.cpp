// SPDX-License-Identifier: Apache-2.0
// Reduction of points that others measured, and blade-element theory behind them.
//
// Source: National Wind Technology Center, Unsteady Aerodynamics Experiment Phase VI load
// statistics, US DOE Wind Data Hub, DOI 10.21947/WDH-DAP/1910052, sequence H; test described in
// Hand et al., NREL/TP-500-29955 (2001). tests/published/data/phase6_measured_sequence_h.csv holds
// what was read there, with tip-speed ratio, cp and ct worked out from it by an independent hand
// to four digits; examples/two-bladed-rotor/points.csv holds the same runs as points CSV.
#include "analysis/points.h"
#include "analysis/results.h"
#include "base/table.h"
#include "bench/rotor_file.h"

#include <gtest/gtest.h>

#include <filesystem>
#include <vector>

namespace windwright::analysis {
namespace {

const std::filesystem::path root(SOURCE_FOLDER);

Results reduced() {
  return reduce({.points = points_from_file(root / "examples/two-bladed-rotor/points.csv"),
                 .rotor = bench::rotor_from_file(root / "examples/two-bladed-rotor/rotor.toml")});
}

const PointResult& point(const Results& results, int number) {
  for (const PointResult& each : results.curves.at(0).points) {
    if (each.number == number) return each;
  }
  throw std::out_of_range("no such point");
}

TEST(MeasuredRotor, ReductionGivesThePublishedCoefficientsToTheirDigits) {
  const auto published =
      base::Table::from_file(root / "tests/published/data/phase6_measured_sequence_h.csv");
  const Results results = reduced();
  ASSERT_EQ(results.curves.size(), 1U);
  ASSERT_EQ(results.curves[0].points.size(), published.rows());
  constexpr double half_a_digit = 0.5e-4;
  for (std::size_t row = 0; row < published.rows(); ++row) {
    const PointResult& result = point(results, static_cast<int>(row) + 1);
    EXPECT_NEAR(result.tip_speed_ratio.value(),
                published.number(row, published.required_column("tip_speed_ratio")), half_a_digit);
    EXPECT_NEAR(result.cp_shaft->value(), published.number(row, published.required_column("cp")),
                half_a_digit);
    EXPECT_NEAR(result.ct->value(), published.number(row, published.required_column("ct")),
                half_a_digit);
  }
}

TEST(MeasuredRotor, TorqueTimesSpeedIsTheMeasuredPower) {
  // Two channels of the source: torque times speed against its power, 0.1 % apart at most.
  const Results results = reduced();
  for (const PointResult& each : results.curves.at(0).points) {
    EXPECT_NEAR(each.shaft_torque_N_m->value() * each.rotor_speed_rad_s.value(),
                each.shaft_power_W->value(), 1e-3 * each.shaft_power_W->value());
  }
}

TEST(MeasuredRotor, TheoryMeetsTheAttachedPointAndFallsShortInDeepStall) {
  // 10 % in attached flow and too low in deep stall is what the theory can do, rotational
  // augmentation included (Hand et al.; the 2001 blind comparison, NREL/TP-500-29494, has 25 % to
  // 175 % of measured power over 19 codes without stall, 30 % to 275 % in it).
  const Results results = reduced();
  const PointResult& attached = point(results, 1);
  EXPECT_NEAR(attached.theory.cp_shaft, attached.cp_shaft->value(),
              0.10 * attached.cp_shaft->value());
  EXPECT_LT(point(results, 3).theory.cp_shaft, point(results, 3).cp_shaft->value());
}

TEST(MeasuredRotor, UncertaintyThatNobodyStatedIsNotZero) {
  const Results results = reduced();
  for (const PointResult& each : results.curves.at(0).points)
    EXPECT_TRUE(each.cp_shaft->contributions().empty());
  EXPECT_FALSE(results.curves.at(0).optimum_tip_speed_ratio)
      << "three points do not make a curve with an optimum";
  EXPECT_NEAR(results.curves.at(0).maximum_cp.value(), 0.3537, 0.5e-4);
  bool said = false;
  for (const std::string& remark : results.remarks)
    said = said || (remark.starts_with("No uncertainty stated for") &&
                    remark.find("shaft_power_W") != std::string::npos);
  EXPECT_TRUE(said);
}

}  // namespace
}  // namespace windwright::analysis
