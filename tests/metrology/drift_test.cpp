// SPDX-License-Identifier: Apache-2.0
#include "metrology/drift.h"

#include "base/clock.h"
#include "metrology/certificate.h"
#include "metrology/curve_use.h"
#include "metrology/diagnostics.h"
#include "metrology/student.h"

#include <gtest/gtest.h>

#include <cmath>
#include <cstddef>
#include <string>
#include <vector>

namespace windwright::metrology {
namespace {

Certificate blank(const std::string& date) {
  Certificate certificate{};
  certificate.channel = "air_speed_m_s";
  certificate.model = "line";
  certificate.reference_unit = "m s-1";
  certificate.reading_unit = "V";
  certificate.date = base::utc_from_text(date, "test");
  certificate.valid_until = base::utc_from_text("2030-01-01", "test");
  return certificate;
}

// Readings on a line with a given offset, up and down with a loop of 2 mV.
ReadingsFile readings(double offset) {
  ReadingsFile file{.readings = {},
                    .repeat = {},
                    .reference_unit = "m s-1",
                    .reading_unit = "V",
                    .where = "readings.csv:1"};
  for (const Direction direction : {Direction::up, Direction::down}) {
    for (int x = 2; x <= 12; x += 2) {
      file.readings.reference.push_back(x);
      file.readings.reading.push_back(offset + 0.4 * x +
                                      (direction == Direction::up ? -0.001 : 0.001));
      file.direction.push_back(direction);
    }
  }
  return file;
}

TEST(Drift, IsTheChangeOfValueOverTheTimeBetween) {
  const Certificate earlier = calibrate(blank("2025-03-01"), readings(0.5).readings, "test");
  const Certificate later = calibrate(blank("2027-03-01"), readings(0.54).readings, "test");
  const Drift drift = drift_between(earlier, later, "test");
  // 40 mV more at the same input: the same reading now means 0.1 m/s less.
  EXPECT_NEAR(drift.largest, -0.1, 1e-9);
  EXPECT_NEAR(drift.per_year, -0.05, 1e-4);
  EXPECT_TRUE(drift.is_significant);
  EXPECT_EQ(drift.points.size(), 11U);
  EXPECT_FALSE(drift_between(earlier, earlier, "test").is_significant);
}

TEST(Drift, TheUncertaintyOfOneStandardCancels) {
  Certificate with = blank("2025-03-01");
  with.standard = {.name = "nozzle", .u = 0.5};
  const Certificate earlier = calibrate(with, readings(0.5).readings, "test");
  Certificate later = calibrate(with, readings(0.54).readings, "test");
  EXPECT_TRUE(drift_between(earlier, later, "test").is_significant);
  later.standard.name = "another nozzle";
  EXPECT_FALSE(drift_between(earlier, later, "test").is_significant);
}

TEST(SensorState, JudgesReadingsByTheCertificateInForce) {
  const Certificate certificate = calibrate(blank("2025-03-01"), readings(0.5).readings, "test");
  const SensorState good = sensor_state(certificate, readings(0.5).readings, {});
  EXPECT_TRUE(good.agrees);
  EXPECT_NEAR(std::abs(good.largest_deviation), 0.0025, 1e-9);
  const SensorState moved = sensor_state(certificate, readings(0.54).readings, {});
  EXPECT_FALSE(moved.agrees);
  EXPECT_NEAR(moved.points.front().deviation, 0.1 - 0.0025, 1e-9);
  EXPECT_TRUE(sensor_state(certificate, readings(0.54).readings, {.name = "n", .u = 0.1}).agrees);
}

TEST(Diagnostics, FindHysteresisAndRepeatability) {
  const ReadingsFile file = readings(0.5);
  const Certificate certificate = calibrate(blank("2025-03-01"), file.readings, "test");
  const Diagnostics found = diagnose(certificate, file);
  ASSERT_TRUE(found.hysteresis);
  EXPECT_NEAR(found.hysteresis->largest, 0.002, 1e-12);
  EXPECT_NEAR(found.hysteresis->in_reference, 0.005, 1e-9);
  EXPECT_NEAR(found.hysteresis->of_range_pct, 100.0 * 0.002 / 4.002, 1e-9);
  EXPECT_TRUE(found.hysteresis->is_significant);
  ASSERT_TRUE(found.repeatability);
  EXPECT_NEAR(found.repeatability->standard_deviation, std::sqrt(2e-6), 1e-12);
  EXPECT_EQ(found.repeatability->degrees_of_freedom, 6);
  ASSERT_TRUE(found.lack_of_fit);
  EXPECT_FALSE(found.lack_of_fit->is_significant);
}

// Nobody comes to the same reference twice to the last digit.
TEST(Diagnostics, FindHysteresisAtReferencesThatDiffer) {
  ReadingsFile file = readings(0.5);
  for (std::size_t i = 0; i < file.direction.size(); ++i) {
    const double off = 0.001 * static_cast<double>((i * 5) % 7) - 0.003;
    file.readings.reference[i] += off;
    file.readings.reading[i] += 0.4 * off;
  }
  const Certificate certificate = calibrate(blank("2025-03-01"), file.readings, "test");
  const Diagnostics found = diagnose(certificate, file);
  ASSERT_TRUE(found.hysteresis);
  EXPECT_NEAR(found.hysteresis->largest, 0.002, 1e-5);
  EXPECT_NEAR(found.hysteresis->in_reference, 0.005, 3e-5);
  EXPECT_TRUE(found.hysteresis->is_significant);
}

// A loop of one and the same width is the plainest of all.
TEST(Diagnostics, FindHysteresisWithoutScatter) {
  ReadingsFile file = readings(0.5);
  for (std::size_t i = 0; i < file.direction.size(); ++i) {
    file.readings.reading[i] = file.readings.reference[i];
    if (file.direction[i] == Direction::down) file.readings.reading[i] += 0.25;
  }
  const Certificate certificate = calibrate(blank("2025-03-01"), file.readings, "test");
  EXPECT_TRUE(diagnose(certificate, file).hysteresis->is_significant);
  for (double& reading : file.readings.reading)
    reading = std::round(reading - 0.2);
  const Certificate without = calibrate(blank("2025-03-01"), file.readings, "test");
  EXPECT_FALSE(diagnose(without, file).hysteresis->is_significant);
}

// Two calibrations of three readings each: one degree of freedom apiece, so that a difference of
// a few standard uncertainties is none. Student's t for 95 %, JCGM 100:2008, Table G.2.
TEST(Drift, CountsDegreesOfFreedom) {
  Readings three;
  three.reference = {1.0, 2.0, 3.0};
  three.reading = {1.02, 1.97, 3.04};
  const Certificate earlier = calibrate(blank("2025-03-01"), three, "test");
  for (double& reading : three.reading)
    reading += 0.3;
  const Certificate later = calibrate(blank("2026-03-01"), three, "test");
  const Drift drift = drift_between(earlier, later, "test");
  const double reading = reading_of(earlier, 2.0);
  const double before = estimate_of(earlier, reading).u();
  const double now = estimate_of(later, reading).u();
  const double u = std::hypot(before, now);
  // Welch and Satterthwaite: nearly as much from either, nearly two together (t 4.30 to 5.5).
  const double dof = std::pow(u, 4) / (std::pow(before, 4) + std::pow(now, 4));
  EXPECT_GT(dof, 1.7);
  EXPECT_NEAR(drift.points[5].expanded, student_factor(0.95, dof) * u, 1e-9);
  EXPECT_FALSE(drift.is_significant);
  const SensorState found = sensor_state(earlier, three, {});
  EXPECT_NEAR(found.points.front().expanded, estimate_of(earlier, three.reading.front()).expanded(),
              1e-12);
  EXPECT_TRUE(found.agrees);
}

// A two-point adjustment makes both points right and takes out what they have in common with the
// calibration: an offset and a gain of the standard.
TEST(FieldAdjustment, MakesBothPointsRight) {
  Certificate start = blank("2025-03-01");
  start.standard = {.name = "nozzle", .u = 0.3, .u_relative = 0.02};
  Certificate certificate = calibrate(start, readings(0.5).readings, "test");
  const double before = estimate_of(certificate, 3.0).u();
  certificate.adjustment =
      FieldAdjustment{.points = {{1.32, 2.0, 0.01}, {5.32, 12.0, 0.01}}, .date = certificate.date};
  require_adjustment(certificate, "test");
  EXPECT_NEAR(value_of(certificate, 1.32), 2.0, 1e-12);
  EXPECT_NEAR(value_of(certificate, 5.32), 12.0, 1e-12);
  EXPECT_NEAR(reading_of(certificate, 7.0), 3.32, 1e-12);
  EXPECT_NEAR(field_gain(certificate).gain, 1.0, 1e-9);
  EXPECT_NEAR(field_gain(certificate).offset, -0.05, 1e-9);
  const Estimate after = estimate_of(certificate, 3.32);
  EXPECT_GT(before, 0.3);
  EXPECT_LT(after.u(), 0.02);
  std::vector<double> values(1);
  values_of(certificate, std::vector<double>{3.32}, values);
  EXPECT_NEAR(values[0], after.value(), 1e-12);
}

// Of a line with a lack of fit u: none at the two points; at the upper end, 8/3 of the way between
// them, sqrt(1 + (5/3)^2 + (8/3)^2) u, for the three readings share no arch (by hand).
TEST(FieldAdjustment, LeavesNoLackOfFitAtItsPointsAndMoreBeyondThem) {
  Certificate certificate = calibrate(blank("2025-03-01"), readings(0.5).readings, "test");
  certificate.lack_of_fit = 0.5;
  const auto [low, high] = certificate.reading_range;
  const auto at = [&](double share) { return low + share * (high - low); };
  const auto residual_u = [&](double reading) {
    double variance = 0.0;
    const Estimate estimate = estimate_of(certificate, reading);
    for (const auto& [name, part] : estimate.contributions()) {
      if (name.find(":residual") != std::string::npos) variance += part.u * part.u;
    }
    return std::sqrt(variance);
  };
  const double u = residual_u(at(1.0));
  ASSERT_GT(u, 0.1);
  certificate.adjustment =
      FieldAdjustment{.points = {{at(0.2), value_of(certificate, at(0.2)), 0.0},
                                 {at(0.5), value_of(certificate, at(0.5)), 0.0}},
                      .date = certificate.date};
  EXPECT_NEAR(residual_u(at(0.2)), 0.0, 1e-9);
  EXPECT_NEAR(residual_u(at(0.5)), 0.0, 1e-9);
  EXPECT_NEAR(residual_u(at(1.0)), std::sqrt(1.0 + 25.0 / 9.0 + 64.0 / 9.0) * u, 1e-9 * u);
}

}  // namespace
}  // namespace windwright::metrology
