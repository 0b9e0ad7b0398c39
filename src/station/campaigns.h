// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "campaign/conductor.h"
#include "guard/interlocks.h"

#include <boost/json/fwd.hpp>

#include <filesystem>
#include <functional>
#include <mutex>
#include <optional>
#include <string>
#include <string_view>
#include <thread>
#include <vector>

namespace windwright::station {

class Station;

/// A campaign of a bench's folder by its file's name.
/// @throws Refusal  404: a name with anything but letters, digits, '-', '_' and one `.toml`
std::filesystem::path campaign_file(const bench::Bench& bench, const std::string& name);

/// docs/openapi.json, PlannedPoint without what theory foresees.
boost::json::object point_json(const campaign::PlannedPoint& point);

/// What whoever keeps the logbook and the catalogue is told, on the device's thread.
struct CampaignListener {
  std::function<void(std::string_view event, boost::json::object members)> on_event;
  /// A run folder has come to an end of any kind, or to a further point.
  std::function<void(const std::filesystem::path& run)> enter;
  /// A run is over: a consent for one run ends.
  std::function<void()> run_ended;
};

/// The campaign that a bench conducts: campaign::conduct on the device's thread, paused, resumed
/// and ended from here, then reduced and reported on a thread of its own, so that the bench is
/// watched meanwhile. Any thread may call.
class Campaigns {
 public:
  /// @param runs  folder of this bench's runs
  Campaigns(Station& station, std::filesystem::path runs, CampaignListener listener);
  ~Campaigns();

  struct Start {
    std::string campaign;  // file name in the bench's folder; empty: the run's own
    std::string run;       // name of an interrupted run's folder; empty: a new run
    std::string reason;
    bool at_bench;  // whoever starts it, for what only they may do
  };
  /// @throws BadInput  campaign and bench do not fit; Refusal  404, 409
  void start(const Start& start, const std::string& person);
  void pause(const std::string& person);
  void resume(const std::string& reason, const std::string& person, bool at_bench);
  void end(const std::string& person);

  /// docs/openapi.json, Progress.
  boost::json::object document() const;
  /// Id of the run that is conducted now; empty: none.
  std::string conducted() const;

 private:
  enum class State { none, conducting, paused, reporting, ended };
  void conduct(bench::Device& device, const std::stop_token& stop);
  void progress(const campaign::Progress& now);
  void finish(const campaign::Outcome& outcome);
  void fail(const std::string& why);
  void report();
  void begin();  // with the mutex held
  std::string run_id(const std::filesystem::path& folder) const;
  std::string next() const;  // in words; with the mutex held

  Station& station_;
  const std::filesystem::path runs_;
  const CampaignListener listener_;
  mutable std::mutex mutex_;
  State state_ = State::none;
  bool pausing_ = false;
  std::optional<campaign::Campaign> campaign_;
  std::vector<campaign::PlannedPoint> plan_;
  std::filesystem::path folder_;  // of the run
  bool resumes_ = false;
  std::string reason_;
  std::string person_;
  bool at_bench_ = false;
  campaign::Progress progress_{.done = 0, .total = 0, .seconds_left = 0.0, .phase = {}};
  std::string ending_;
  std::string cause_;
  std::optional<guard::Trip> trip_;  // that ended it
  std::jthread reporter_;
};

}  // namespace windwright::station
