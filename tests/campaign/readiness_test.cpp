// SPDX-License-Identifier: Apache-2.0
#include "campaign/readiness.h"

#include "base/files.h"
#include "base/json.h"
#include "campaign/bench_in_test.h"
#include "metrology/certificate.h"

#include <boost/json.hpp>
#include <gtest/gtest.h>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <string>
#include <vector>

namespace windwright::campaign {
namespace {

TEST(Calibration, TakesEveryReferenceUpAndDown) {
  const bench::Bench bench = bench::bench_from_file(copied_bench(fresh_folder()));
  twin::SimulatedBench device(bench, twin::Pace::as_fast_as_possible);
  const std::size_t channel = bench.channel_index("air_speed_m_s");
  std::vector<Reading> readings;
  const metrology::Certificate certificate = calibrate_channel(bench, channel, device, readings);
  const auto& references = bench.channels[channel].calibration.references;
  ASSERT_EQ(readings.size(), 3 * references.size());
  for (std::size_t i = 0; i < references.size(); ++i) {
    EXPECT_EQ(readings[i].reference, references[i]);
    EXPECT_EQ(readings[references.size() + i].reference, references[references.size() - 1 - i]);
    EXPECT_EQ(readings[references.size() + i].repeat, 2);
    EXPECT_GT(readings[i].u_reading_V, 0.0);
    // 4 mV of white noise below 50 Hz, averaged over 0.5 s.
    EXPECT_LT(readings[i].u_reading_V, 0.004);
  }
  EXPECT_EQ(certificate.channel, "air_speed_m_s");
  EXPECT_EQ(certificate.reference_unit, "m s-1");
  EXPECT_EQ(certificate.reading_unit, "V");
  EXPECT_EQ(certificate.standard.name, bench.channels[channel].calibration.standard);
  EXPECT_EQ(certificate.valid_until - certificate.date, std::chrono::days(365));
  // The sensor is described as 0.1 V + 0.5 V per m/s, give or take 0.02 V and 1 %.
  EXPECT_NEAR(certificate.fit.coefficients[1], 0.5, 4 * 0.005);
  EXPECT_NEAR(certificate.fit.coefficients[0], 0.1, 4 * 0.02);
}

TEST(Readiness, PassesFreshCertificates) {
  const bench::Bench bench = bench::bench_from_file(copied_bench(fresh_folder()));
  certify(bench);
  twin::SimulatedBench device(bench, twin::Pace::as_fast_as_possible);
  const Readiness readiness = check_readiness(bench, device);
  EXPECT_TRUE(readiness.ready()) << readiness.what_is_wrong();
  ASSERT_EQ(readiness.channels.size(), bench.channels.size());
  for (const ChannelCheck& check : readiness.channels) {
    ASSERT_TRUE(check.en.has_value()) << check.channel;
    EXPECT_LE(std::abs(*check.en), 1.0) << check.channel;
    EXPECT_GT(check.measured.u(), 0.0);
    EXPECT_EQ(check.remark, "");
  }
}

TEST(Readiness, MissesACertificate) {
  const bench::Bench bench = bench::bench_from_file(copied_bench(fresh_folder()));
  certify(bench);
  std::filesystem::remove(bench.channels[3].certificate);
  twin::SimulatedBench device(bench, twin::Pace::as_fast_as_possible);
  const Readiness readiness = check_readiness(bench, device);
  EXPECT_FALSE(readiness.ready());
  EXPECT_FALSE(readiness.channels[3].certificate_found);
  EXPECT_TRUE(readiness.what_is_wrong().starts_with(
      "air_speed_m_s: there is no certificate air_speed_m_s.json: calibrate it: "))
      << readiness.what_is_wrong();
}

metrology::Certificate certificate_of(const bench::Channel& channel) {
  return metrology::certificate_from_file(channel.certificate);
}

void lay(const metrology::Certificate& certificate, const bench::Channel& channel) {
  base::write_whole(channel.certificate, base::json_text(metrology::to_json(certificate)));
}

TEST(Readiness, RefusesACertificateOutOfDate) {
  const bench::Bench bench = bench::bench_from_file(copied_bench(fresh_folder()));
  certify(bench);
  metrology::Certificate old = certificate_of(bench.channels[0]);
  old.date -= std::chrono::days(500);
  old.valid_until = bench.simulation->start - std::chrono::days(1);
  lay(old, bench.channels[0]);
  metrology::Certificate later = certificate_of(bench.channels[1]);
  later.date += std::chrono::days(2);
  lay(later, bench.channels[1]);
  twin::SimulatedBench device(bench, twin::Pace::as_fast_as_possible);
  const Readiness readiness = check_readiness(bench, device);
  EXPECT_TRUE(readiness.channels[0].expired);
  EXPECT_EQ(readiness.channels[0].remark,
            "the certificate was valid until 2026-03-01T09:00:00.000Z: calibrate again");
  EXPECT_TRUE(readiness.channels[1].expired);
  EXPECT_FALSE(readiness.channels[1].passed);
  EXPECT_TRUE(readiness.channels[2].passed) << readiness.channels[2].remark;
}

TEST(Readiness, SeesASensorThatHasMoved) {
  const bench::Bench bench = bench::bench_from_file(copied_bench(fresh_folder()));
  certify(bench);
  const bench::Channel& channel = bench.channels[bench.channel_index("dc_voltage_V")];
  metrology::Certificate moved = certificate_of(channel);
  moved.fit.scaled.reset();  // moved by hand, in powers of the reference
  moved.fit.coefficients[0] += 10 * moved.u_drift * moved.fit.coefficients[1];
  lay(moved, channel);
  twin::SimulatedBench device(bench, twin::Pace::as_fast_as_possible);
  const Readiness readiness = check_readiness(bench, device);
  const ChannelCheck& check = readiness.channels[bench.channel_index("dc_voltage_V")];
  EXPECT_FALSE(check.passed);
  EXPECT_LT(*check.en, -1.0);
  EXPECT_NE(check.remark.find("the check standard 25 V is measured as 24.8"), std::string::npos)
      << check.remark;
}

// Few readings behind a certificate: 95 % take more than twice the standard uncertainty (JCGM
// 100:2008, Table G.2: 4.30 with two degrees of freedom).
TEST(Readiness, TakesStudentsFactorOfFewReadings) {
  const bench::Bench bench = bench::bench_from_file(copied_bench(fresh_folder()));
  certify(bench);
  const std::size_t index = bench.channel_index("dc_voltage_V");
  metrology::Certificate few = certificate_of(bench.channels[index]);
  few.u_drift = 0.0;
  few.standard.u_relative = 0.0;
  few.lack_of_fit = 1.0;  // far above all else
  few.fit.degrees_of_freedom = 2;
  lay(few, bench.channels[index]);
  twin::SimulatedBench device(bench, twin::Pace::as_fast_as_possible);
  const ChannelCheck check = check_readiness(bench, device).channels[index];
  const double difference = check.measured.value() - *check.reference;
  const double expanded = std::hypot(4.303 * check.measured.u(), 1.96 * check.u_reference);
  EXPECT_NEAR(*check.en, difference / expanded, 1e-3 * std::abs(*check.en));
}

TEST(Readiness, SeesAnInterlockThatCannotTrip) {
  bench::Bench bench = bench::bench_from_file(copied_bench(fresh_folder()));
  certify(bench);
  const auto overspeed =
      std::ranges::find(bench.interlocks, std::string("rotor overspeed"), &bench::Interlock::name);
  ASSERT_NE(overspeed, bench.interlocks.end());
  overspeed->highest = 600.0;  // 12 V on a converter that ends at 10 V
  twin::SimulatedBench device(bench, twin::Pace::as_fast_as_possible);
  EXPECT_NE(check_readiness(bench, device).what_is_wrong().find("can never trip"),
            std::string::npos);
}

TEST(Readiness, ComesBackFromJson) {
  const bench::Bench bench = bench::bench_from_file(copied_bench(fresh_folder()));
  certify(bench);
  std::filesystem::remove(bench.channels[3].certificate);
  twin::SimulatedBench device(bench, twin::Pace::as_fast_as_possible);
  const boost::json::value json = to_json(check_readiness(bench, device));
  EXPECT_EQ(base::json_text(to_json(readiness_from_json(json, "here:1"))), base::json_text(json));
}

}  // namespace
}  // namespace windwright::campaign
