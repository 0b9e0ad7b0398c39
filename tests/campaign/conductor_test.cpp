// SPDX-License-Identifier: Apache-2.0
#include "campaign/conductor.h"

#include "base/errors.h"
#include "base/files.h"
#include "campaign/small_campaign.h"
#include "campaign/watched_bench.h"
#include "recording/recording.h"
#include "twin/simulated_bench.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstdint>
#include <filesystem>
#include <map>
#include <numeric>
#include <stop_token>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::campaign {
namespace {

// What no interruption may change.
std::string essence(const Run& run) {
  std::string text;
  for (const TestPoint& point : run.points) {
    text += fmt::format("{} {} {} {} {} {} {}", point.number, point.block, point.settle_s,
                        point.settled, point.on_target, point.first_sample, point.samples);
    for (const Setting& setting : point.settings)
      text += fmt::format(" {}={}", setting.actuator, setting.value);
    text += '\n';
  }
  const recording::Recording recording(run.recording);
  text += fmt::format("{} samples\n", recording.samples());
  for (const std::string& channel : recording.channels()) {
    std::uint64_t sum = 0;
    for (const std::int32_t count : recording.counts(channel, 0, recording.samples()))
      sum = sum * 31 + static_cast<std::uint64_t>(count);
    text += fmt::format("{} {}\n", channel, sum);
  }
  return text;
}

TEST(Conductor, ConductsEveryPlannedPoint) {
  const Prepared all = prepared();
  WatchedBench device(all.bench);
  std::vector<Progress> told;
  ConductOptions options = into(all.folder / "run");
  options.progress = [&told](const Progress& progress) { told.push_back(progress); };
  const Outcome outcome = conduct(all.campaign, all.bench, device, options);
  ASSERT_EQ(outcome.ending, Ending::complete) << outcome.cause;
  EXPECT_EQ(outcome.points, 6);
  EXPECT_TRUE(device.stopped);
  EXPECT_EQ(device.state["fan_pct"], 0.0);

  const campaign::Run run = run_from_folder(all.folder / "run");
  const auto planned = plan(all.campaign);
  ASSERT_EQ(run.points.size(), planned.size());
  const recording::Recording recording(run.recording);
  std::int64_t end = 0;
  for (std::size_t i = 0; i < planned.size(); ++i) {
    const TestPoint& point = run.points[i];
    EXPECT_EQ(point.number, planned[i].number);
    for (std::size_t k = 0; k < planned[i].settings.size(); ++k) {
      EXPECT_EQ(point.settings[k].actuator, planned[i].settings[k].actuator);
      EXPECT_EQ(point.settings[k].value, planned[i].settings[k].value);
    }
    EXPECT_GE(point.first_sample, end);
    EXPECT_GE(point.samples, 1000);
    EXPECT_LE(point.samples, 2000);
    end = point.first_sample + point.samples;
  }
  EXPECT_GT(recording.samples(), end) << "the way down is recorded too";
  EXPECT_EQ(run.software_version, "test");
  EXPECT_TRUE(run.readiness.ready());
  EXPECT_EQ(run.certificates.size(), all.bench.channels.size());
  EXPECT_EQ(run.reason, "");
  EXPECT_TRUE(run.incidents.empty());
  ASSERT_FALSE(told.empty());
  EXPECT_EQ(told.front().done, 0);
  EXPECT_GT(told.front().seconds_left, 0.0);
  EXPECT_EQ(told.back().done, 6);
}

TEST(Conductor, ChangesByHandOnlyWithTheFanOffAndTheRotorAtRest) {
  const Prepared all = prepared();
  WatchedBench device(all.bench);
  conduct(all.campaign, all.bench, device, into(all.folder / "run"));
  std::map<std::string, double> state;
  int by_hand = 0;
  for (std::size_t i = 0; i < device.commands.size(); ++i) {
    const auto& [actuator, value] = device.commands[i];
    if (all.bench.actuator(actuator).manual) {
      ++by_hand;
      EXPECT_EQ(state.at("fan_pct"), 0.0) << actuator;
      EXPECT_LT(device.speed_at_command[i], 2.0) << actuator;
    }
    if (actuator == "fan_pct" && value > 0.0) {
      EXPECT_EQ(state.at("load_selector"), 1.0) << "load on before the wind comes";
    }
    EXPECT_FALSE(state.contains(actuator) && state[actuator] == value) << "nothing to change";
    state[actuator] = value;
  }
  EXPECT_EQ(by_hand, 3);  // the blades once, the pitch twice
}

TEST(Conductor, RunsTheRotorUpUnderTheLoadThatTheCampaignNames) {
  const Prepared all =
      prepared(with(small_campaign, "[pace]", "[run_up]\nrheostat_ohm = 60\n[pace]"));
  WatchedBench device(all.bench);
  conduct(all.campaign, all.bench, device, into(all.folder / "run"));
  double rheostat_ohm = 0.0;
  int starts = 0;
  for (const auto& [actuator, value] : device.commands) {
    if (actuator == "rheostat_ohm") rheostat_ohm = value;
    if (actuator != "fan_pct" || value == 0.0) continue;
    ++starts;
    EXPECT_EQ(rheostat_ohm, 60.0);
  }
  EXPECT_EQ(starts, 2);
}

// What the demo bench does under a heavy load: the rotor slows down, first hardly, then all the
// way.
TEST(Conductor, TakesNoPointWhileTheRotorStalls) {
  const Prepared all = prepared(with(with(small_campaign, "[8, 15, 30]", "[5.4, 5.6, 5.8, 60]"),
                                     "longest_settle_s = 8", "longest_settle_s = 40"));
  WatchedBench device(all.bench);
  ASSERT_EQ(conduct(all.campaign, all.bench, device, into(all.folder / "run")).ending,
            Ending::complete);
  const campaign::Run run = run_from_folder(all.folder / "run");
  const recording::Recording recording(run.recording);
  const std::size_t channel = all.bench.channel_index("rotor_speed_rad_s");
  for (const TestPoint& point : run.points) {
    if (!point.settled) continue;
    const auto mean_speed = [&](std::int64_t from) {
      const auto counts = recording.counts("rotor_speed_rad_s", from, point.samples / 4);
      const double mean =
          std::accumulate(counts.begin(), counts.end(), 0.0) / static_cast<double>(counts.size());
      return metrology::value_of(run.certificates[channel],
                                 bench::volts(all.bench.channels[channel].converter, mean));
    };
    const double first = mean_speed(point.first_sample);
    const double last = mean_speed(point.first_sample + point.samples - point.samples / 4);
    EXPECT_NEAR(last, first, 0.1 * std::abs(first) + 0.2) << point.number;
  }
}

TEST(Conductor, ComesToTheSameAfterAnyInterruption) {
  const Prepared all = prepared();
  {
    WatchedBench device(all.bench);
    conduct(all.campaign, all.bench, device, into(all.folder / "whole"));
  }
  const std::string whole = essence(run_from_folder(all.folder / "whole"));
  ConductOptions options = into(all.folder / "run");
  options.resume = true;
  Outcome outcome{};
  int sessions = 0;
  do {
    WatchedBench device(all.bench);
    std::stop_source source;
    const int last_read = sessions == 0 ? 170 : 40 + 15 * sessions;
    device.on_read = [&](const bench::SampleBlock&) {
      if (device.reads > last_read) source.request_stop();
    };
    options.stop = source.get_token();
    outcome = conduct(all.campaign, all.bench, device, options);
    EXPECT_EQ(device.state["fan_pct"], 0.0);
    ASSERT_LT(++sessions, 40);
  } while (outcome.ending == Ending::interrupted);
  ASSERT_EQ(outcome.ending, Ending::complete) << outcome.cause;
  EXPECT_GT(sessions, 2);
  const campaign::Run run = run_from_folder(all.folder / "run");
  EXPECT_EQ(essence(run), whole);
  EXPECT_EQ(static_cast<int>(run.incidents.size()), sessions - 1);
}

TEST(Conductor, TakesUpARunThatNeverGotToItsFirstBookmark) {
  const Prepared all = prepared();
  const auto folder = all.folder / "run";
  {
    WatchedBench device(all.bench);
    std::stop_source source;
    source.request_stop();
    ConductOptions options = into(folder);
    options.stop = source.get_token();
    ASSERT_EQ(conduct(all.campaign, all.bench, device, options).ending, Ending::interrupted);
  }
  std::filesystem::remove(folder / "bookmark.json");
  base::write_whole(folder / "logbook.jsonl", "{\"time\": \"20");
  WatchedBench device(all.bench);
  ConductOptions options = into(folder);
  EXPECT_THROW(conduct(all.campaign, all.bench, device, options), base::BadInput);
  options.resume = true;
  ASSERT_EQ(conduct(all.campaign, all.bench, device, options).ending, Ending::complete);
  EXPECT_EQ(run_from_folder(folder).points.size(), 6U);
}

TEST(Conductor, DoesAPointAgainThatWasNotedButNotBookmarked) {
  const Prepared all = prepared();
  const auto folder = all.folder / "run";
  WatchedBench first(all.bench);
  conduct(all.campaign, all.bench, first, into(folder));
  const std::string whole = essence(run_from_folder(folder));
  // As if the end had come between the third point's line and its bookmark: the bookmark of two.
  ConductOptions options = into(all.folder / "two");
  std::string after_two;
  WatchedBench device(all.bench);
  options.progress = [&](const Progress& progress) {
    if (progress.done == 2 && after_two.empty()) {
      after_two = base::text_of_file(all.folder / "two" / "bookmark.json");
    }
  };
  conduct(all.campaign, all.bench, device, options);
  base::write_whole(all.folder / "two" / "bookmark.json", after_two);
  WatchedBench again(all.bench);
  options.progress = {};
  options.resume = true;
  ASSERT_EQ(conduct(all.campaign, all.bench, again, options).ending, Ending::complete);
  EXPECT_EQ(essence(run_from_folder(all.folder / "two")), whole);
}

TEST(Conductor, RefusesABenchThatIsNotReadyUnlessToldWhy) {
  const Prepared all = prepared();
  const auto& channel = all.bench.channels[0];
  metrology::Certificate old = metrology::certificate_from_file(channel.certificate);
  old.date -= std::chrono::days(500);
  old.valid_until -= std::chrono::days(500);
  base::write_whole(channel.certificate, base::json_text(metrology::to_json(old)));
  const auto folder = all.folder / "run";
  {
    WatchedBench device(all.bench);
    const Outcome outcome = conduct(all.campaign, all.bench, device, into(folder));
    EXPECT_EQ(outcome.ending, Ending::not_ready);
    EXPECT_NE(outcome.cause.find("air_temperature_C: the certificate was valid until"),
              std::string::npos)
        << outcome.cause;
    EXPECT_TRUE(device.commands.empty());
    EXPECT_FALSE(std::filesystem::exists(folder));
  }
  WatchedBench device(all.bench);
  ConductOptions options = into(folder);
  options.reason = "the calibration laboratory is closed this week";
  EXPECT_EQ(conduct(all.campaign, all.bench, device, options).ending, Ending::complete);
  EXPECT_EQ(run_from_folder(folder).reason, options.reason);
}

TEST(Conductor, TakesNoReasonInsteadOfACertificate) {
  const Prepared all = prepared();
  std::filesystem::remove(all.bench.channels[0].certificate);
  WatchedBench device(all.bench);
  ConductOptions options = into(all.folder / "run");
  options.reason = "in a hurry";
  EXPECT_EQ(conduct(all.campaign, all.bench, device, options).ending, Ending::not_ready);
  EXPECT_TRUE(device.commands.empty());
}
TEST(Conductor, StartsADwellAgainWhenSamplesAreMissed) {
  const Prepared all =
      prepared(with(small_campaign, "settle_drift_pct = 5", "settle_drift_pct = 50"));
  const auto folder = all.folder / "run";
  WatchedBench device(all.bench);
  bool dwelling = false;
  int blocks = 0;
  bool missed = false;
  device.on_read = [&](bench::SampleBlock& block) {
    blocks = dwelling ? blocks + 1 : 0;
    if (blocks == 5 && !missed) block.gap_before = missed = true;
  };
  ConductOptions options = into(folder);
  options.progress = [&](const Progress& p) { dwelling = p.done == 1 && p.phase == "dwelling"; };
  ASSERT_EQ(conduct(all.campaign, all.bench, device, options).ending, Ending::complete);
  const campaign::Run run = run_from_folder(folder);
  ASSERT_EQ(run.incidents.size(), 1U);
  EXPECT_EQ(run.incidents[0].event, "gap");
  EXPECT_NE(run.incidents[0].text.find("test point 2;"), std::string::npos);
  const auto gaps = recording::Recording(run.recording).gaps();
  const auto inside = [&](const TestPoint& point) {
    return std::any_of(gaps.begin(), gaps.end(), [&](const recording::Gap& gap) {
      return gap.before_sample > point.first_sample &&
             gap.before_sample < point.first_sample + point.samples;
    });
  };
  for (const TestPoint& point : run.points)
    EXPECT_FALSE(inside(point)) << point.number;
  EXPECT_TRUE(std::any_of(gaps.begin(), gaps.end(), [&](const recording::Gap& gap) {
    return gap.before_sample == run.points[1].first_sample;
  }));
}

TEST(Conductor, RefusesAFolderThatIsNotItsOwn) {
  const Prepared all = prepared();
  WatchedBench device(all.bench);
  ConductOptions options = into(all.folder / "run");
  options.resume = true;
  base::write_whole(all.folder / "notes.txt", "mine\n");
  options.into = all.folder;
  EXPECT_THROW(conduct(all.campaign, all.bench, device, options), base::BadInput);
  EXPECT_TRUE(std::filesystem::exists(all.folder / "notes.txt"));

  options.into = all.folder / "run";
  ASSERT_EQ(conduct(all.campaign, all.bench, device, options).ending, Ending::complete);
  base::write_whole(all.campaign.file, with(small_campaign, "seed = 11", "seed = 12"));
  const Campaign other = campaign_from_file(all.campaign.file);
  EXPECT_THROW(conduct(other, all.bench, device, options), base::BadInput);
  EXPECT_THROW(run_from_folder(all.folder), base::BadInput);
}

}  // namespace
}  // namespace windwright::campaign
