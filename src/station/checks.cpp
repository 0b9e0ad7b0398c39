// SPDX-License-Identifier: Apache-2.0
#include "station/checks.h"

#include "base/errors.h"
#include "campaign/proof.h"
#include "guard/checklist.h"
#include "station/proofs.h"
#include "station/refusal.h"
#include "station/station.h"

#include <boost/json.hpp>
#include <fmt/format.h>

#include <algorithm>
#include <functional>
#include <mutex>
#include <optional>
#include <string>
#include <utility>
#include <vector>

namespace windwright::station {

namespace json = boost::json;

namespace {

// The cautions first: whoever begins a session has read them.
std::vector<guard::ChecklistStep> steps_of(const bench::Bench& bench) {
  std::vector<guard::ChecklistStep> steps = guard::start_of_session(bench);
  steps.insert(steps.begin(),
               {.id = "cautions",
                .what = "Read the cautions, and see that everybody here follows them",
                .why = "software is one layer of protection and never the last",
                .battery_only = false});
  return steps;
}

}  // namespace

void Checks::tick(const std::string& step, bool done, const std::string& person) {
  const auto steps = steps_of(station_.bench());
  const bool known =
      std::any_of(steps.begin(), steps.end(), [&](const auto& each) { return each.id == step; });
  if (!known) throw Refusal(404, fmt::format("there is no step '{}'", step), "one of the steps");
  const std::scoped_lock lock(mutex_);
  if (done) {
    ticks_[step] = {.person = person, .time = base::host_now()};
  } else {
    ticks_.erase(step);
  }
}

void Checks::measure(std::function<void(const std::string&)> finished) {
  station_.begin({.activity = "checking",
                  .drives = false,
                  .refused = finished,
                  .run = [this, finished = std::move(finished)](bench::Device& device,
                                                                const std::stop_token&) {
                    try {
                      campaign::Readiness readiness =
                          campaign::check_readiness(station_.bench(), device);
                      const std::scoped_lock lock(mutex_);
                      readiness_ = std::move(readiness);
                    } catch (const base::BadInput& refused) {
                      finished(refused.what());
                      return;
                    }
                    finished({});
                  }});
}

json::object Checks::document() const {
  const std::scoped_lock lock(mutex_);
  json::array steps;
  bool all = true;
  for (const guard::ChecklistStep& step : steps_of(station_.bench())) {
    const auto tick = ticks_.find(step.id);
    json::object entry{
        {"id", step.id}, {"what", step.what}, {"why", step.why}, {"done", tick != ticks_.end()}};
    if (tick != ticks_.end()) {
      entry["person"] = tick->second.person;
      entry["time"] = base::utc_text(tick->second.time);
    }
    all = all && tick != ticks_.end();
    steps.push_back(std::move(entry));
  }
  json::object document{{"steps", std::move(steps)}, {"readiness", nullptr}};
  std::optional<campaign::Readiness> readiness = readiness_;
  if (readiness) {
    readiness->interlocks_remark = proof_remark_now(station_);
    document["readiness"] = campaign::to_json(*readiness);
  }
  document["ready"] = all && readiness && readiness->ready();
  return document;
}

}  // namespace windwright::station
