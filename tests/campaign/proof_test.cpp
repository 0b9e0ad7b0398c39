// SPDX-License-Identifier: Apache-2.0
#include "campaign/proof.h"

#include "base/files.h"
#include "base/json.h"
#include "bench/bench.h"
#include "campaign/bench_in_test.h"
#include "expect_refused.h"
#include "fresh_folder.h"

#include <boost/json.hpp>
#include <gtest/gtest.h>

#include <algorithm>
#include <chrono>
#include <string>

namespace windwright::campaign {
namespace {

/// The demo, proved.
struct Proved {
  Proved() : bench(bench::bench_from_file(copied_bench(fresh_folder()))) {
    certify(bench);
    proof = proof_from_text(base::text_of_file(proof_file(bench)), "interlocks.json");
  }
  std::string remark() const { return proof_remark(bench, bench.name, proof.date); }
  bench::Interlock& interlock(const std::string& name) {
    return *std::ranges::find(bench.interlocks, name, &bench::Interlock::name);
  }
  bench::Bench bench;
  Proof proof;
};

bool says(const std::string& remark, const std::string& what) {
  return remark.find(what) != std::string::npos;
}

TEST(Proof, CountsForItsBenchAndComesBackFromJson) {
  const Proved proved;
  EXPECT_EQ(proved.remark(), "");
  const std::string text = base::json_text(to_json(proved.proof));
  EXPECT_EQ(base::json_text(to_json(proof_from_text(text, "again"))), text);
}

TEST(Proof, IsNeededWhereThereAreInterlocksAlone) {
  Proved proved;
  std::filesystem::remove(proof_file(proved.bench));
  EXPECT_TRUE(says(proved.remark(), "were never proved: windwright ready bench.toml"));
  proved.bench.interlocks.clear();
  EXPECT_EQ(proved.remark(), "");
}

TEST(Proof, AChangedInterlockIsNamed) {
  using Change = void (*)(bench::Interlock&);
  for (const Change change : {Change([](bench::Interlock& i) { i.highest += 1.0; }),
                              Change([](bench::Interlock& i) { i.hysteresis += 0.1; }),
                              Change([](bench::Interlock& i) { i.hold_s += 0.1; }),
                              Change([](bench::Interlock& i) { i.stop_category = 2; }),
                              Change([](bench::Interlock& i) { i.factor = 0.5; }),
                              Change([](bench::Interlock& i) { i.channel = "dc_current_A"; })}) {
    Proved proved;
    change(proved.interlock("DC over-voltage"));
    EXPECT_TRUE(says(proved.remark(), "'DC over-voltage' has changed since it was proved"))
        << proved.remark();
    EXPECT_FALSE(says(proved.remark(), "'rotor overspeed'"));
  }
}

TEST(Proof, OtherWordsChangeNothing) {
  Proved proved;
  proved.interlock("DC over-voltage").cause = "in other words";
  EXPECT_EQ(proved.remark(), "");
}

TEST(Proof, AChangedConverterOrCertificateIsNamed) {
  Proved proved;
  proved.bench.channels[proved.bench.channel_index("dc_voltage_V")].converter.upper_V = 5.0;
  EXPECT_TRUE(says(proved.remark(), "'DC over-voltage' has changed"));
  EXPECT_TRUE(says(proved.remark(), "'rotor speed implausible' has changed"));
  EXPECT_FALSE(says(proved.remark(), "'rotor overspeed'"));

  const Proved again;
  const auto& file = again.bench.channels[again.bench.channel_index("dc_current_A")].certificate;
  base::write_whole(file, base::text_of_file(file) + "\n");
  EXPECT_TRUE(says(again.remark(), "the certificate behind 'DC over-current' has changed"));
  EXPECT_FALSE(says(again.remark(), "'DC over-voltage'"));
}

TEST(Proof, InterlocksThatCameOrWentAreNamed) {
  Proved proved;
  bench::Interlock added = proved.interlock("DC over-voltage");
  added.name = "another";
  proved.bench.interlocks.push_back(added);
  EXPECT_TRUE(says(proved.remark(), "'another' was never proved"));
  proved.bench.interlocks.pop_back();
  std::erase_if(proved.bench.interlocks, [](const auto& each) { return each.name == "vibration"; });
  EXPECT_TRUE(says(proved.remark(), "'vibration' is gone since the proof"));
}

TEST(Proof, EndsWithItsDaysAndHoldsForOneDevice) {
  const Proved proved;
  const auto at = [&](auto later) {
    return proof_remark(proved.bench, proved.bench.name, proved.proof.date + later);
  };
  EXPECT_EQ(at(std::chrono::days(29)), "");
  EXPECT_TRUE(says(at(std::chrono::days(31)), "was valid until"));
  EXPECT_EQ(at(-std::chrono::hours(23)), "");
  EXPECT_TRUE(says(at(-std::chrono::days(2)), "later than now"));
  EXPECT_TRUE(says(proof_remark(proved.bench, "modbus 10.0.0.7 port 502", proved.proof.date),
                   "not on 'modbus 10.0.0.7 port 502'"));
}

TEST(Proof, AFailedOneIsNamedWithWhatFailed) {
  Proved proved;
  proved.proof.interlocks[4].remark = "it does not trip within 3 s";
  keep_proof(proved.bench, proved.proof);
  EXPECT_TRUE(says(proved.remark(), "'" + proved.proof.interlocks[4].name +
                                        "' failed: it does not trip within 3 s"));
}

TEST(Proof, TextsThatAreNoneAreRefused) {
  const Proved proved;
  const std::string good = base::json_text(to_json(proved.proof));
  const auto refused = [&](const std::string& from, const std::string& to,
                           const std::string& complaint) {
    expect_refused([&] { proof_from_text(with(good, from, to), "interlocks.json"); }, complaint);
  };
  refused("\"schema\": 1", "\"schema\": 2", "interlocks.json:1: is of another schema");
  refused("proof of interlocks", "shopping list", "is no proof of interlocks");
  refused("\"by_hand\"", "\"by_heart\"", "there is no method 'by_heart'");
  refused("\"stop_category\": 0", "\"stop_category\": 7", "stop_category is 7");
  refused("\"passed\": true,\n      \"remark\"", "\"passed\": false,\n      \"remark\"",
          "passed and has a remark, or neither");
  refused("\"calibration\": \"", "\"calibration\": \"x", "'calibration' is no digest");
}

}  // namespace
}  // namespace windwright::campaign
