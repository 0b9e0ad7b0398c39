// SPDX-License-Identifier: Apache-2.0
#include "base/errors.h"
#include "base/files.h"
#include "campaign/conductor.h"
#include "campaign/small_campaign.h"
#include "campaign/watched_bench.h"
#include "recording/recording.h"

#include <fmt/format.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <cstddef>
#include <filesystem>
#include <stop_token>
#include <string>
#include <vector>

namespace windwright::campaign {
namespace {

TEST(Conductor, StopsTheBenchWhenAnInterlockTripsAndKeepsItStopped) {
  Prepared all = prepared();
  const std::string lower = with(all.bench.text, "highest = 420", "highest = 40");
  base::write_whole(all.bench.file, lower);
  all.bench = bench::bench_from_file(all.bench.file);
  prove(all.bench);
  const auto folder = all.folder / "run";
  ConductOptions options = into(folder);
  {
    WatchedBench device(all.bench);
    const Outcome outcome = conduct(all.campaign, all.bench, device, options);
    EXPECT_EQ(outcome.ending, Ending::tripped);
    EXPECT_NE(outcome.cause.find("interlock 'rotor overspeed': rotor_speed_rad_s is 4"),
              std::string::npos)
        << outcome.cause;
    EXPECT_EQ(device.state["fan_pct"], 0.0);
  }
  options.resume = true;
  {
    WatchedBench device(all.bench);
    EXPECT_EQ(conduct(all.campaign, all.bench, device, options).ending, Ending::tripped);
    EXPECT_TRUE(device.commands.empty()) << "latched";
  }
  options.reason = "guard checked, load connected";
  WatchedBench device(all.bench);
  EXPECT_EQ(conduct(all.campaign, all.bench, device, options).ending, Ending::tripped);
  EXPECT_FALSE(device.commands.empty()) << "reset, tried again";
  const campaign::Run run = run_from_folder(folder);
  ASSERT_EQ(run.incidents.size(), 3U);
  EXPECT_EQ(run.incidents[0].event, "trip");
  EXPECT_EQ(run.incidents[1].event, "reset");
  EXPECT_EQ(run.incidents[1].text, options.reason);
  EXPECT_EQ(run.incidents[2].event, "trip");
  // No test point was done: the run began its recording anew, and the trip's own was kept.
  EXPECT_GT(recording::Recording(folder / "trip-001.h5").samples(), 1000);
  EXPECT_FALSE(std::filesystem::exists(folder / "trip-002.h5"));
}

// What a stop of each category does with the fan, the load and the power.
TEST(Conductor, StopsAsTheInterlocksCategorySays) {
  for (const int category : {0, 1, 2}) {
    Prepared all = prepared();
    base::write_whole(
        all.bench.file,
        with(all.bench.text, "highest = 420",
             fmt::format("highest = 40\nstop_category = {}\ncheck = \"the load\"", category)));
    all.bench = bench::bench_from_file(all.bench.file);
    prove(all.bench);
    WatchedBench device(all.bench);
    std::vector<bool> was_stopped;
    device.on_read = [&](bench::SampleBlock&) { was_stopped.push_back(device.stopped); };
    const auto folder = all.folder / "run";
    const Outcome outcome = conduct(all.campaign, all.bench, device, into(folder));
    EXPECT_EQ(outcome.ending, Ending::tripped);
    EXPECT_NE(outcome.cause.find("; next: the load"), std::string::npos) << outcome.cause;
    EXPECT_EQ(outcome.power_stays_on, category == 2);
    EXPECT_EQ(device.stopped, category != 2) << category;
    EXPECT_EQ(device.state["fan_pct"], 0.0);
    // A stop under control is read and recorded until the rotor stands; power goes only then.
    EXPECT_FALSE(std::any_of(was_stopped.begin(), was_stopped.end(), [](bool is) { return is; }));
    const campaign::Run run = run_from_folder(folder);
    ASSERT_EQ(run.incidents.size(), 1U);
    EXPECT_EQ(run.incidents[0].event, "trip");
    EXPECT_NE(
        run.incidents[0].text.find(fmt::format("; priority {}, respond ", category == 0   ? "high"
                                                                          : category == 1 ? "medium"
                                                                                          : "low")),
        std::string::npos)
        << run.incidents[0].text;
    const double still_rad_s = device.truth().at("rotor_speed_rad_s");
    if (category == 0) {
      EXPECT_GT(still_rad_s, 30.0);
    } else {
      EXPECT_LT(still_rad_s, 1.0);
    }
  }
}

TEST(Conductor, TripsWhenASensorStandsAtTheEndOfItsRange) {
  const Prepared all = prepared();
  WatchedBench device(all.bench);
  const std::size_t channel = all.bench.channel_index("dc_current_A");
  device.on_read = [&](bench::SampleBlock& block) {
    if (device.state["fan_pct"] == 0.0 || device.reads < 200) return;
    for (std::size_t i = 0; i < block.samples; ++i)
      block.counts[channel * block.samples + i] = 65535;
  };
  // Bound above what the converter can show: only the end of the range gives it away.
  const Outcome outcome = conduct(all.campaign, all.bench, device, into(all.folder / "run"));
  EXPECT_EQ(outcome.ending, Ending::tripped);
  EXPECT_NE(outcome.cause.find("dc_current_A stands at the upper end of its converter"),
            std::string::npos)
      << outcome.cause;
}

TEST(Conductor, ResetsNothingWhoseCauseStillStands) {
  const Prepared all = prepared();
  const auto folder = all.folder / "run";
  const std::size_t channel = all.bench.channel_index("dc_current_A");
  const auto stuck_at_the_end = [&](WatchedBench& device) {
    device.on_read = [&](bench::SampleBlock& block) {
      if (device.reads < 100) return;
      for (std::size_t i = 0; i < block.samples; ++i)
        block.counts[channel * block.samples + i] = 65535;
    };
  };
  ConductOptions options = into(folder);
  {
    WatchedBench device(all.bench);
    stuck_at_the_end(device);
    ASSERT_EQ(conduct(all.campaign, all.bench, device, options).ending, Ending::tripped);
  }
  options.resume = true;
  options.reason = "it will be all right";
  options.person = "somebody";
  {
    WatchedBench device(all.bench);
    device.reads = 1000;
    stuck_at_the_end(device);
    const Outcome outcome = conduct(all.campaign, all.bench, device, options);
    EXPECT_EQ(outcome.ending, Ending::tripped);
    EXPECT_NE(outcome.cause.find("not reset: the cause is not gone: DC over-current"),
              std::string::npos)
        << outcome.cause;
    EXPECT_TRUE(device.commands.empty());
  }
  WatchedBench device(all.bench);
  EXPECT_EQ(conduct(all.campaign, all.bench, device, options).ending, Ending::complete);
  std::vector<std::string> events;
  for (const Incident& incident : run_from_folder(folder).incidents)
    events.push_back(incident.event);
  EXPECT_EQ(events, (std::vector<std::string>{"trip", "refused reset", "reset"}));
  EXPECT_NE(base::text_of_file(folder / "logbook.jsonl").find("\"by\":\"somebody\""),
            std::string::npos);
}

TEST(Conductor, ComesDownUnderControlWhenItIsAskedToEnd) {
  const Prepared all = prepared();
  WatchedBench device(all.bench);
  std::stop_source source;
  bool powered_on_the_way_down = false;
  device.on_read = [&](const bench::SampleBlock&) {
    if (source.stop_requested()) powered_on_the_way_down |= !device.stopped;
    if (device.state["fan_pct"] > 0.0 && device.reads > 200) source.request_stop();
  };
  ConductOptions options = into(all.folder / "run");
  options.stop = source.get_token();
  EXPECT_EQ(conduct(all.campaign, all.bench, device, options).ending, Ending::interrupted);
  EXPECT_TRUE(powered_on_the_way_down);
  EXPECT_EQ(device.commands.back().first, "fan_pct");
  EXPECT_EQ(device.commands.back().second, 0.0);
  EXPECT_TRUE(device.stopped);
}

TEST(Conductor, LeavesTheBenchSafeWhenTheDeviceFails) {
  const Prepared all = prepared();
  const auto folder = all.folder / "run";
  ConductOptions options = into(folder);
  {
    WatchedBench device(all.bench);
    device.on_read = [&](const bench::SampleBlock&) {
      if (device.reads == 460) throw base::DeviceFault("test", "no answer", "the cable");
    };
    EXPECT_THROW(conduct(all.campaign, all.bench, device, options), base::DeviceFault);
    EXPECT_EQ(device.state["fan_pct"], 0.0);
  }
  EXPECT_EQ(run_from_folder(folder).incidents.back().event, "fault");
  // Lost while it was driven: that is a trip, which somebody has to look into.
  WatchedBench device(all.bench);
  options.resume = true;
  EXPECT_EQ(conduct(all.campaign, all.bench, device, options).ending, Ending::tripped);
  EXPECT_TRUE(device.commands.empty());
  options.reason = "cable replaced";
  options.person = "somebody";
  EXPECT_EQ(conduct(all.campaign, all.bench, device, options).ending, Ending::complete);
}

}  // namespace
}  // namespace windwright::campaign
