// SPDX-License-Identifier: Apache-2.0
#include "station/campaigns.h"

#include "base/clock.h"
#include "base/errors.h"
#include "campaign/campaign.h"
#include "guard/interlocks.h"
#include "report/run_products.h"
#include "station/refusal.h"
#include "station/station.h"
#include "station/trip_json.h"
#include "station/version.h"

#include <boost/json.hpp>
#include <fmt/format.h>

#include <array>
#include <filesystem>
#include <mutex>
#include <optional>
#include <stop_token>
#include <string>
#include <string_view>
#include <utility>

namespace windwright::station {

namespace json = boost::json;
namespace fs = std::filesystem;

namespace {

const char* name_of(campaign::Ending ending) {
  constexpr std::array names{"complete", "interrupted", "tripped", "not_ready"};
  return names[static_cast<std::size_t>(ending)];
}

fs::path new_folder(const fs::path& runs) {
  for (int number = 1;; ++number) {
    fs::path folder = runs / fmt::format("{:03}", number);
    if (!fs::exists(folder)) return folder;
  }
}

}  // namespace

fs::path campaign_file(const bench::Bench& bench, const std::string& name) {
  constexpr std::string_view ending = ".toml";
  const bool ends = name.size() > ending.size() && name.ends_with(ending);
  const std::string stem = ends ? name.substr(0, name.size() - ending.size()) : std::string();
  const bool plain =
      !stem.empty() && stem.size() <= 64 && std::all_of(stem.begin(), stem.end(), [](char letter) {
        return std::isalnum(static_cast<unsigned char>(letter)) != 0 || letter == '-' ||
               letter == '_';
      });
  const fs::path file = bench.file.parent_path() / name;
  // A campaign beside the bench must not take the place of what describes the bench.
  if (!plain || name == bench.file.filename() || name == bench.rotor_file.filename()) {
    throw Refusal(404, fmt::format("'{}' is no name of a campaign", name),
                  "letters, digits, '-' and '_', ending in .toml");
  }
  return file;
}

json::object point_json(const campaign::PlannedPoint& point) {
  json::object settings;
  for (const campaign::Setting& setting : point.settings)
    settings[setting.actuator] = setting.value;
  return {{"number", point.number},
          {"block", point.block},
          {"repeat", point.repeat},
          {"settings", std::move(settings)}};
}

std::string Campaigns::run_id(const fs::path& folder) const {
  return fmt::format("{}.{}", station_.id(), folder.filename().string());
}

Campaigns::Campaigns(Station& station, fs::path runs, CampaignListener listener)
    : station_(station), runs_(std::move(runs)), listener_(std::move(listener)) {}

Campaigns::~Campaigns() = default;

void Campaigns::start(const Start& start, const std::string& person) {
  const bench::Bench& bench = station_.bench();
  const fs::path folder =
      start.run.empty() ? new_folder(runs_) : runs_ / fs::path(start.run).filename();
  if (!start.run.empty() && !fs::exists(folder / "campaign.toml")) {
    throw Refusal(404, fmt::format("there is no run '{}' of this bench", start.run),
                  "an interrupted run");
  }
  if (start.run.empty() && start.campaign.empty()) {
    throw Refusal(422, "neither campaign nor run is given", "one of the two");
  }
  const fs::path file =
      start.run.empty() ? campaign_file(bench, start.campaign) : folder / "campaign.toml";
  campaign::Campaign campaign = campaign::campaign_from_file(file, bench.file);
  campaign::require_fits(campaign, bench);
  std::vector<campaign::PlannedPoint> plan = campaign::plan(campaign);
  const std::scoped_lock lock(mutex_);
  if (state_ == State::conducting || state_ == State::reporting) {
    throw Refusal(409, "a campaign is under way", "pause or end it first").as("campaign_runs");
  }
  begin();  // the one before stays where this is refused
  campaign_ = std::move(campaign);
  plan_ = std::move(plan);
  folder_ = folder;
  resumes_ = !start.run.empty();
  reason_ = start.reason;
  person_ = person;
  at_bench_ = start.at_bench;
  progress_ = {.done = 0,
               .total = static_cast<int>(plan_.size()),
               .seconds_left = 0.0,
               .phase = "beginning"};
}

void Campaigns::resume(const std::string& reason, const std::string& person, bool at_bench) {
  const std::scoped_lock lock(mutex_);
  if (!campaign_ || state_ == State::conducting || state_ == State::reporting) {
    throw Refusal(409, "no campaign is paused", "start one").as("no_campaign");
  }
  begin();
  if (!reason.empty()) reason_ = reason;
  person_ = person;
  at_bench_ = at_bench;
}

// What it conducts is looked at behind the mutex.
void Campaigns::begin() {
  station_.begin({.activity = "conducting",
                  .drives = true,
                  .refused = [this](const std::string& why) { fail(why); },
                  .run = [this](bench::Device& device,
                                const std::stop_token& stop) { conduct(device, stop); }});
  state_ = State::conducting;
  pausing_ = false;
  ending_.clear();
  cause_.clear();
  trip_.reset();
}

void Campaigns::pause(const std::string& person) {
  {
    const std::scoped_lock lock(mutex_);
    if (state_ != State::conducting)
      throw Refusal(409, "no campaign is under way", "start one").as("no_campaign");
    pausing_ = true;
  }
  listener_.on_event("campaign", {{"text", "paused"}, {"person", person}});
  station_.end_task();
}

void Campaigns::end(const std::string& person) {
  bool conducting = false;
  {
    const std::scoped_lock lock(mutex_);
    if (state_ != State::conducting && state_ != State::paused) {
      throw Refusal(409, "no campaign is under way", "start one").as("no_campaign");
    }
    conducting = state_ == State::conducting;
    pausing_ = false;
  }
  listener_.on_event("campaign", {{"text", "ended"}, {"person", person}});
  if (conducting) {
    station_.end_task();
  } else {
    report();
  }
}

void Campaigns::progress(const campaign::Progress& now) {
  bool point = false;
  {
    const std::scoped_lock lock(mutex_);
    point = now.done > progress_.done;
    progress_ = now;
  }
  if (!point) return;
  listener_.on_event("point", {{"points_done", now.done}, {"points", now.total}});
  listener_.enter(folder_);
}

void Campaigns::conduct(bench::Device& device, const std::stop_token& stop) {
  fs::path folder;
  campaign::Campaign campaign;
  campaign::ConductOptions options;
  {
    const std::scoped_lock lock(mutex_);
    folder = folder_;
    campaign = *campaign_;
    options = {.into = folder,
               .resume = resumes_,
               .reason = reason_,
               .software_version = version,
               .progress = [this](const campaign::Progress& now) { progress(now); },
               .stop = stop,
               .person = person_,
               .at_bench = at_bench_,
               .guard_process = station_.guard_process()};
  }
  fs::create_directories(runs_);
  listener_.on_event("campaign", {{"text", options.resume ? "resumed" : "started"},
                                  {"campaign", campaign.title},
                                  {"run", run_id(folder)},
                                  {"person", person_}});
  try {
    finish(campaign::conduct(campaign, station_.bench(), device, options));
  } catch (const base::DeviceFault& fault) {
    fail(fault.what());
    throw;
  } catch (const std::exception& error) {  // the campaign's own: disk, files
    device.stop();
    fail(error.what());
  }
}

void Campaigns::fail(const std::string& why) {
  {
    const std::scoped_lock lock(mutex_);
    state_ = State::paused;
    resumes_ = true;
    ending_ = "fault";
    cause_ = why;
    trip_.reset();
  }
  listener_.on_event("campaign", {{"text", why}, {"ending", "fault"}});
  if (fs::exists(folder_ / "campaign.toml")) listener_.enter(folder_);
  listener_.run_ended();
}

void Campaigns::finish(const campaign::Outcome& outcome) {
  bool to_report = false;
  {
    const std::scoped_lock lock(mutex_);
    ending_ = name_of(outcome.ending);
    cause_ = outcome.cause;
    trip_ = outcome.trip;
    // A run that never began is begun anew.
    resumes_ = outcome.ending != campaign::Ending::not_ready || resumes_;
    reason_.clear();
    using enum campaign::Ending;
    const bool ended_by_person = outcome.ending == interrupted && !pausing_;
    to_report = outcome.ending == complete || (ended_by_person && outcome.points > 0);
    state_ = to_report                                    ? State::reporting
             : outcome.ending == interrupted && !pausing_ ? State::ended
                                                          : State::paused;
  }
  // Whatever tripped it, its own interlocks or the guard process, holds for the bench.
  if (outcome.ending == campaign::Ending::tripped) {
    station_.trip(outcome.trip.value_or(guard::Trip{.interlock = "run",
                                                    .stop_category = 0,
                                                    .cause = outcome.cause,
                                                    .check = {},
                                                    .time = base::host_now()}));
  }
  listener_.on_event("campaign", {{"text", outcome.cause}, {"ending", name_of(outcome.ending)}});
  listener_.run_ended();
  if (to_report) {
    report();
  } else {
    listener_.enter(folder_);
  }
}

// Minutes of arithmetic and a PDF must not hold up the device's thread.
void Campaigns::report() {
  {
    const std::scoped_lock lock(mutex_);
    state_ = State::reporting;
  }
  reporter_ = std::jthread([this, folder = folder_] {
    std::string problem;
    try {
      const campaign::Run run = campaign::run_from_folder(folder);
      const analysis::Results results = report::reduce_run(run);
      problem = report::report_run(run, results, true).value_or("");
    } catch (const std::exception& error) {  // the top of this thread
      problem = error.what();
    }
    listener_.enter(folder);
    {
      const std::scoped_lock lock(mutex_);
      state_ = State::ended;
      if (!problem.empty()) cause_ += cause_.empty() ? problem : "\n" + problem;
    }
    listener_.on_event("campaign", {{"text", problem.empty() ? "the report is there" : problem},
                                    {"run", run_id(folder)}});
  });
}

std::string Campaigns::conducted() const {
  const std::scoped_lock lock(mutex_);
  return state_ == State::conducting ? run_id(folder_) : std::string();
}

std::string Campaigns::next() const {
  switch (state_) {
    case State::none:
      return "plan a campaign and start it";
    case State::conducting:
      return progress_.phase == "waiting for a change by hand"
                 ? "change by hand what the bench asks for, with the fan off and the rotor still"
                 : "nothing: the bench goes on by itself; stay with it";
    case State::paused:
      if (ending_ == "tripped") return "find and remove the cause, reset the trip, then resume";
      if (ending_ == "not_ready") return "put right what is not ready, then resume";
      if (ending_ == "fault") return "look at the device, then resume";
      return "resume the campaign, or end it";
    case State::reporting:
      return "wait: the results are worked out";
    case State::ended:
      return "read the results";
  }
  return {};
}

json::object Campaigns::document() const {
  constexpr std::array names{"none", "conducting", "paused", "reporting", "ended"};
  const std::scoped_lock lock(mutex_);
  json::object document{{"state", names[static_cast<std::size_t>(state_)]},
                        {"points_done", progress_.done},
                        {"points", progress_.total},
                        {"seconds_left", progress_.seconds_left},
                        {"phase", progress_.phase},
                        {"point", nullptr},
                        {"ending", ending_},
                        {"cause", cause_},
                        {"trip", nullptr},
                        {"next", next()}};
  if (trip_) document["trip"] = trip_json(*trip_);
  if (!campaign_) return document;
  document["campaign"] = campaign_->file.filename().string();
  document["title"] = campaign_->title;
  document["run"] = run_id(folder_);
  const auto done = static_cast<std::size_t>(progress_.done);
  if (done < plan_.size()) document["point"] = point_json(plan_[done]);
  return document;
}

}  // namespace windwright::station
