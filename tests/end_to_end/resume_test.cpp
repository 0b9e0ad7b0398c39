// SPDX-License-Identifier: Apache-2.0
#include "base/json.h"
#include "base/random.h"
#include "campaign/conductor.h"
#include "campaign/small_campaign.h"
#include "end_to_end/program.h"
#include "recording/recording.h"

#include <boost/json.hpp>
#include <fcntl.h>
#include <fmt/format.h>
#include <gtest/gtest.h>
#include <sys/wait.h>
#include <unistd.h>

#include <chrono>
#include <csignal>
#include <cstdint>
#include <cstdlib>
#include <filesystem>
#include <string>
#include <thread>
#include <vector>

namespace windwright::end_to_end {
namespace {

namespace fs = std::filesystem;
using campaign::prepared;

// Starts the program, sends it a signal after a while, and waits for its end.
int end_after(const std::vector<std::string>& arguments, std::chrono::duration<double> delay,
              int signal) {
  const pid_t child = fork();
  if (child == 0) {
    const int nowhere = open("/dev/null", O_WRONLY);
    dup2(nowhere, STDOUT_FILENO);
    dup2(nowhere, STDERR_FILENO);
    std::vector<char*> argv;
    std::string program = PROGRAM;
    std::vector<std::string> copy = arguments;
    argv.push_back(program.data());
    for (std::string& argument : copy)
      argv.push_back(argument.data());
    argv.push_back(nullptr);
    execv(PROGRAM, argv.data());
    _exit(127);
  }
  std::this_thread::sleep_for(delay);
  kill(child, signal);
  int status = 0;
  waitpid(child, &status, 0);
  return WIFSIGNALED(status) ? -WTERMSIG(status) : WEXITSTATUS(status);
}

std::vector<std::string> conduct(const fs::path& folder, const std::string& into) {
  return {"conduct", (folder / "bench/campaign.toml").string(), "--into", (folder / into).string()};
}

std::vector<std::string> resume(const fs::path& folder, const std::string& into) {
  std::vector<std::string> arguments = conduct(folder, into);
  arguments.emplace_back("--resume");
  return arguments;
}

void expect_same_run(const fs::path& a, const fs::path& b) {
  for (const char* file : {"results.json", "points.csv", "curves.csv", "campaign.toml"})
    EXPECT_EQ(text_of(a / file), text_of(b / file)) << file << " of " << b;
  const campaign::Run first = campaign::run_from_folder(a);
  const campaign::Run second = campaign::run_from_folder(b);
  ASSERT_EQ(first.points.size(), second.points.size());
  for (std::size_t i = 0; i < second.points.size(); ++i) {
    EXPECT_EQ(second.points[i].number, static_cast<int>(i) + 1);
    EXPECT_EQ(second.points[i].first_sample, first.points[i].first_sample);
    EXPECT_EQ(second.points[i].samples, first.points[i].samples);
  }
  const recording::Recording one(first.recording);
  const recording::Recording other(second.recording);
  ASSERT_EQ(other.samples(), one.samples());
  for (const std::string& channel : one.channels())
    EXPECT_TRUE(one.counts(channel, 0, one.samples()) == other.counts(channel, 0, one.samples()))
        << channel;
}

// A channel whose samples in the file are each the mean of a second.
fs::path prepared_with_a_slow_channel() {
  const campaign::Prepared all = prepared();
  const std::string line = "long_name = \"air temperature in the jet\"\n";
  write_text(all.bench.file, campaign::with(all.bench.text, line, line + "sample_rate_hz = 1\n"));
  return all.folder;
}

// The wall time that a whole run takes here and now: kills are spread over it.
std::chrono::duration<double> conducted_whole(const fs::path& folder, const std::string& into) {
  const auto start = std::chrono::steady_clock::now();
  const Ended whole = windwright(conduct(folder, into), folder);
  EXPECT_LE(whole.exit_code, 1) << whole.err;
  return std::chrono::steady_clock::now() - start;
}

TEST(Resume, GivesTheSameRunAfterTwentyKillsAtRandomMoments) {
  const fs::path folder = prepared_with_a_slow_channel();
  const auto whole = conducted_whole(folder, "whole");
  const base::RandomStream random(20260302, "moments of kills");
  std::uint64_t drawn = 0;
  int kills = 0;
  for (int number = 1; kills < 20; ++number) {
    const std::string into = "run-" + std::to_string(number);
    int ended = -SIGKILL;
    while (ended == -SIGKILL && kills < 20) {
      ended = end_after(resume(folder, into), whole * (0.5 * random.uniform(drawn++)), SIGKILL);
      if (ended == -SIGKILL) ++kills;
      ASSERT_TRUE(ended == -SIGKILL || ended == 0 || ended == 1) << ended;
    }
    const Ended last = windwright(resume(folder, into), folder);
    ASSERT_LE(last.exit_code, 1) << last.err;
    expect_same_run(folder / "whole", folder / into);
  }
}

TEST(Resume, GivesTheSameRunTwiceFromOneSeed) {
  const fs::path folder = prepared().folder;
  conducted_whole(folder, "first");
  conducted_whole(folder, "second");
  expect_same_run(folder / "first", folder / "second");
}

TEST(Resume, GoesOnToTheSameRunWhenAFullDiskHasRoomAgain) {
  const fs::path folder = prepared().folder;
  conducted_whole(folder, "whole");
  // Room for the pyramid of all channels is kept ahead, so that more than the file's end is needed.
  const auto limit = fs::file_size(folder / "whole/recording.h5") + 2'200'000;
  std::string words = fmt::format("ulimit -f {}; exec '{}'", limit / 1024, PROGRAM);
  for (const std::string& word : conduct(folder, "run"))
    words += fmt::format(" '{}'", word);
  words += fmt::format(" 2> '{}'", (folder / "err").string());
  EXPECT_EQ(std::system(fmt::format("bash -c \"{}\"", words).c_str()), 3 * 256);
  const std::string err = text_of(folder / "err");
  EXPECT_NE(err.find("recording.h5: has no room to go on (File too large): make room, or use "
                     "another disk"),
            std::string::npos)
      << err;
  EXPECT_NE(text_of(folder / "run/logbook.jsonl").find("\"event\":\"fault\""), std::string::npos);
  const campaign::Run run = campaign::run_from_folder(folder / "run");
  EXPECT_GE(run.points.size(), 2U);
  EXPECT_LT(run.points.size(), 6U);
  EXPECT_LE(windwright(resume(folder, "run"), folder).exit_code, 1);
  expect_same_run(folder / "whole", folder / "run");
}

TEST(Resume, EndsInOrderWhenAskedToAndSaysHowToGoOn) {
  const fs::path folder = prepared().folder;
  std::vector<std::string> arguments = conduct(folder, "run");
  arguments.emplace_back("--real-time");
  EXPECT_EQ(end_after(arguments, std::chrono::seconds(3), SIGINT), 1);
  const campaign::Run run = campaign::run_from_folder(folder / "run");
  ASSERT_EQ(run.incidents.size(), 1U);
  EXPECT_EQ(run.incidents[0].event, "interruption");
  EXPECT_NE(run.incidents[0].text.find("go on with --resume"), std::string::npos);
}

TEST(Conduct, TellsTheRunInOneJsonDocument) {
  const fs::path folder = prepared().folder;
  std::vector<std::string> arguments = conduct(folder, "run");
  arguments.emplace_back("--json");
  const Ended ended = windwright(arguments, folder);
  const boost::json::value document = base::json_from_text(ended.out, "stdout");
  EXPECT_EQ(document.at("run").as_string(), (folder / "run").string());
  EXPECT_EQ(document.at("points").as_int64(), 6);
  EXPECT_EQ(document.at("exit").as_int64(), ended.exit_code);
  const boost::json::value& verdict = document.at("verdict");
  EXPECT_EQ(verdict.at("question").as_string(), "Which pitch?");
  EXPECT_EQ(verdict.at("significant").as_bool(), ended.exit_code == 0);
  EXPECT_GT(verdict.at("difference").at("u").as_double(), 0.0);
  for (const char* file :
       {"campaign.toml", "bench.toml", "recording.h5", "points.csv", "curves.csv", "results.json",
        "report.html", "report.pdf", "logbook.jsonl", "certificates/air_speed_m_s.json"}) {
    EXPECT_TRUE(fs::is_regular_file(folder / "run" / file)) << file;
  }
}

TEST(Conduct, EndsWithFourWhenAnInterlockTrips) {
  const campaign::Prepared all = prepared();
  write_text(all.bench.file, campaign::with(all.bench.text, "highest = 420", "highest = 40"));
  ASSERT_EQ(
      windwright({"ready", all.bench.file.string(), "--prove-interlocks"}, all.folder).exit_code,
      0);
  const Ended ended = windwright(conduct(all.folder, "run"), all.folder);
  EXPECT_EQ(ended.exit_code, 4);
  EXPECT_TRUE(ended.err.starts_with("interlock 'rotor overspeed': rotor_speed_rad_s is "))
      << ended.err;
  EXPECT_NE(text_of(all.folder / "run/logbook.jsonl").find("\"event\":\"trip\""),
            std::string::npos);
  EXPECT_FALSE(fs::exists(all.folder / "run/results.json"));
  EXPECT_EQ(windwright(resume(all.folder, "run"), all.folder).exit_code, 4) << "latched";
}

TEST(Conduct, NeedsANewFolder) {
  const fs::path folder = prepared().folder;
  fs::create_directories(folder / "run");
  write_text(folder / "run/notes.txt", "mine\n");
  const Ended ended = windwright(conduct(folder, "run"), folder);
  EXPECT_EQ(ended.exit_code, 2);
  EXPECT_EQ(ended.err, (folder / "run").string() +
                           ": is neither empty nor a run folder: a new folder, or the folder of a "
                           "run\n");
}

}  // namespace
}  // namespace windwright::end_to_end
