// SPDX-License-Identifier: Apache-2.0
#include "base/files.h"
#include "base/json.h"
#include "campaign/small_campaign.h"
#include "end_to_end/program.h"
#include "metrology/certificate.h"

#include <boost/json.hpp>
#include <gtest/gtest.h>

#include <algorithm>
#include <chrono>
#include <filesystem>
#include <string>
#include <vector>

namespace windwright::end_to_end {
namespace {

namespace fs = std::filesystem;
using campaign::prepared;

void expire(const bench::Channel& channel) {
  metrology::Certificate old = metrology::certificate_from_file(channel.certificate);
  old.date -= std::chrono::days(500);
  old.valid_until -= std::chrono::days(500);
  write_text(channel.certificate, base::json_text(metrology::to_json(old)));
}

TEST(Ready, SaysThatAllIsWell) {
  const campaign::Prepared all = prepared();
  const Ended ended = windwright({"ready", all.bench.file.string()}, all.folder);
  EXPECT_EQ(ended.exit_code, 0) << ended.out;
  EXPECT_TRUE(ended.out.ends_with("\nready\n")) << ended.out;
  EXPECT_EQ(ended.err, "");
}

TEST(Ready, GivesOneJsonDocument) {
  const campaign::Prepared all = prepared();
  const Ended ended = windwright({"ready", all.bench.file.string(), "--json"}, all.folder);
  const boost::json::value document = base::json_from_text(ended.out, "stdout");
  EXPECT_TRUE(document.at("ready").as_bool());
  ASSERT_EQ(document.at("channels").as_array().size(), all.bench.channels.size());
  const boost::json::value& check = document.at("channels").at(3);
  EXPECT_EQ(check.at("channel").as_string(), "air_speed_m_s");
  EXPECT_EQ(check.at("measured").at("unit").as_string(), "m s-1");
  EXPECT_NEAR(check.at("measured").at("value").as_double(), 9.0, 0.2);
  EXPECT_TRUE(check.at("en").is_double());
}

TEST(Ready, KeepsWhatItMeasuredForAControlChart) {
  const campaign::Prepared all = prepared();
  const fs::path checks = all.bench.file.parent_path() / "checks/air_speed_m_s.csv";
  std::vector<std::string> arguments{"ready", all.bench.file.string(), "--keep-checks"};
  for (int session = 0; session < 5; ++session)
    ASSERT_EQ(windwright(arguments, all.folder).exit_code, 0);
  const std::string text = text_of(checks);
  EXPECT_EQ(text.find("# unit: m s-1\ndate,measured,reference\n"), 0U) << text;
  EXPECT_EQ(std::count(text.begin(), text.end(), '\n'), 7);
  // The simulated bench measures the same every time: a chart needs a stated spread.
  const Ended chart = windwright(
      {"calibrate", "--control-chart", checks.string(), "--centre", "0", "--spread", "0.1"},
      all.folder);
  EXPECT_EQ(chart.exit_code, 0) << chart.err << chart.out;
  EXPECT_NE(chart.out.find("in control"), std::string::npos);
}

TEST(Ready, SaysWhatToDoBeforeAnyCalibration) {
  const campaign::Prepared all = prepared();
  fs::remove_all(all.folder / "bench/certificates");
  const Ended ended = windwright({"ready", all.bench.file.string()}, all.folder);
  EXPECT_EQ(ended.exit_code, 1);
  EXPECT_NE(ended.out.find("there is no certificate air_speed_m_s.json: calibrate it: windwright "
                           "calibrate bench.toml --channel air_speed_m_s"),
            std::string::npos)
      << ended.out;
  EXPECT_TRUE(ended.out.ends_with("\nnot ready\n"));
}

TEST(Ready, ShowsTheChecklistOfThisBenchWithoutTouchingIt) {
  const fs::path folder = bench_folder("checklist");
  const Ended ended = windwright({"ready", "bench.toml", "--checklist", "--json"}, folder);
  EXPECT_EQ(ended.exit_code, 0) << ended.err;
  const auto steps = base::json_from_text(ended.out, "stdout").at("steps").as_array();
  ASSERT_GT(steps.size(), 10U);
  EXPECT_EQ(steps.front().at("id").as_string(), "person_in_charge");
  EXPECT_EQ(steps.back().at("id").as_string(), "run_up");
  const Ended words = windwright({"ready", "bench.toml", "--checklist"}, folder);
  EXPECT_NE(words.out.find("Press the emergency stop"), std::string::npos) << words.out;
  EXPECT_EQ(words.out.find("hydrogen"), std::string::npos);  // this bench has no battery
}

TEST(Ready, AnExpiredCertificateStopsARunUnlessAReasonIsGiven) {
  const campaign::Prepared all = prepared();
  expire(all.bench.channels[0]);
  EXPECT_EQ(windwright({"ready", all.bench.file.string()}, all.folder).exit_code, 1);

  std::vector<std::string> arguments = {"conduct", all.campaign.file.string(), "--into", "run"};
  const Ended refused = windwright(arguments, all.folder);
  EXPECT_EQ(refused.exit_code, 1);
  EXPECT_NE(refused.err.find("air_temperature_C: the certificate was valid until 2025-10-18"),
            std::string::npos)
      << refused.err;
  EXPECT_FALSE(fs::exists(all.folder / "run"));

  const std::string reason = "its successor is on the way; the check standard agrees";
  arguments.insert(arguments.end(), {"--reason", reason});
  const Ended ended = windwright(arguments, all.folder);
  EXPECT_LE(ended.exit_code, 1) << ended.err;
  EXPECT_TRUE(fs::exists(all.folder / "run/results.json")) << ended.err;
  EXPECT_NE(text_of(all.folder / "run/logbook.jsonl").find(reason), std::string::npos);
  EXPECT_NE(text_of(all.folder / "run/report.html").find(reason), std::string::npos);
}

TEST(Ready, ARunWithoutProvedInterlocksStartsWithAReasonAlone) {
  const campaign::Prepared all = prepared();
  const fs::path proof = all.bench.file.parent_path() / "certificates/interlocks.json";
  std::vector<std::string> conduct{"conduct", all.campaign.file.string(), "--into", "run"};
  std::vector<std::string> record{
      "record", all.bench.file.string(), "--seconds", "1", "--set", "fan_pct=30", "--into", "a.h5"};

  // A bound that was changed since makes the proof invalid, and is named.
  write_text(all.bench.file, campaign::with(all.bench.text, "highest = 420", "highest = 419"));
  const Ended changed = windwright(conduct, all.folder);
  EXPECT_EQ(changed.exit_code, 1);
  EXPECT_NE(changed.err.find("interlocks: 'rotor overspeed' has changed since it was proved: "
                             "windwright ready bench.toml --prove-interlocks"),
            std::string::npos)
      << changed.err;
  EXPECT_FALSE(fs::exists(all.folder / "run"));
  write_text(all.bench.file, all.bench.text);

  fs::remove(proof);
  EXPECT_EQ(windwright({"ready", all.bench.file.string()}, all.folder).exit_code, 1);
  const Ended refused = windwright(record, all.folder);
  EXPECT_EQ(refused.exit_code, 1);
  EXPECT_NE(refused.err.find("the interlocks are not proved"), std::string::npos) << refused.err;
  EXPECT_FALSE(fs::exists(all.folder / "a.h5"));

  record.insert(record.end(), {"--reason", "a look at the noise"});
  EXPECT_EQ(windwright(record, all.folder).exit_code, 0);
  EXPECT_NE(text_of(all.bench.file.parent_path() / "interlocks.jsonl").find("a look at the noise"),
            std::string::npos);
  conduct.insert(conduct.end(), {"--reason", "the supplier is coming tomorrow"});
  EXPECT_LE(windwright(conduct, all.folder).exit_code, 1);
  EXPECT_NE(text_of(all.folder / "run/report.html").find("did not count as proved"),
            std::string::npos);
}

TEST(Ready, ProvesInterlocksAndWritesTheirCertificate) {
  const campaign::Prepared all = prepared();
  const fs::path proof = all.bench.file.parent_path() / "certificates/interlocks.json";
  fs::remove(proof);
  const Ended ended =
      windwright({"ready", all.bench.file.string(), "--prove-interlocks", "--by", "crew", "--json"},
                 all.folder);
  EXPECT_EQ(ended.exit_code, 0) << ended.err;
  const boost::json::value told = base::json_from_text(ended.out, "stdout").at("proof");
  EXPECT_TRUE(told == base::json_from_text(text_of(proof), "interlocks.json"));
  EXPECT_EQ(told.at("person").as_string(), "crew");
  EXPECT_EQ(told.at("interlocks").as_array().size(), all.bench.interlocks.size());
  const Ended table =
      windwright({"ready", all.bench.file.string(), "--prove-interlocks"}, all.folder);
  EXPECT_EQ(table.exit_code, 0);
  EXPECT_NE(table.out.find("not proved here:"), std::string::npos) << table.out;
  EXPECT_TRUE(table.out.ends_with("\nready\n")) << table.out;
}

TEST(Ready, NamesTheLineOfABrokenBench) {
  const campaign::Prepared all = prepared();
  write_text(all.bench.file,
             campaign::with(all.bench.text, "sample_rate_hz = 1000", "sample_rate_hz = -1"));
  const Ended ended = windwright({"ready", all.bench.file.string()}, all.folder);
  EXPECT_EQ(ended.exit_code, 2);
  EXPECT_NE(ended.err.find("bench.toml:9: sample_rate_hz is -1: "), std::string::npos) << ended.err;
  EXPECT_EQ(ended.out, "");
}

}  // namespace
}  // namespace windwright::end_to_end
