// SPDX-License-Identifier: Apache-2.0
// What the guard process judges by, as the command makes it.
#include "bench/bench.h"
#include "bench/certificates.h"
#include "bench/device.h"
#include "campaign/bench_in_test.h"
#include "cli/guarded.h"
#include "fresh_folder.h"
#include "guard/guard_watch.h"
#include "metrology/certificate.h"
#include "twin/simulated_bench.h"

#include <gtest/gtest.h>

#include <optional>
#include <string>
#include <vector>

namespace windwright::cli {
namespace {

TEST(GuardJudge, KnowsWhatStandsAndWhatFollowedTheFirstCause) {
  const bench::Bench bench = bench::bench_from_file(campaign::copied_bench(fresh_folder()));
  campaign::certify(bench);
  std::vector<metrology::Certificate> certificates;
  for (const auto& found : bench::certificates_there_are(bench))
    certificates.push_back(*found);
  const guard::Judge judge = interlocks_of(bench, certificates);
  twin::SimulatedBench device(bench, twin::Pace::as_fast_as_possible);
  bench::SampleBlock block;
  const auto first_trip = [&] {
    std::optional<guard::Trip> trip;
    for (int i = 0; i < 100 && !trip; ++i) {
      device.read(block);
      trip = judge.judge(block);
    }
    return trip ? trip->interlock : std::string();
  };
  EXPECT_EQ(first_trip(), "");
  EXPECT_TRUE(judge.standing().empty());
  EXPECT_LT(judge.rotor_speed_rad_s(), 1.0);
  device.ask_for(bench::HandAction::open_fuse);
  EXPECT_EQ(first_trip(), "fuse blown");
  EXPECT_EQ(judge.followers(), "");
  device.ask_for(bench::HandAction::open_cover);
  first_trip();
  EXPECT_EQ(judge.followers(), "followed by cover open");
  EXPECT_GE(judge.standing().size(), 2U);
}

}  // namespace
}  // namespace windwright::cli
