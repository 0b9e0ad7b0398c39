// SPDX-License-Identifier: Apache-2.0
#include "server/checks.h"

#include "base/errors.h"
#include "guard/checklist.h"
#include "server/exchange.h"
#include "server/station.h"

#include <boost/json.hpp>
#include <fmt/format.h>

#include <algorithm>
#include <functional>
#include <mutex>
#include <string>
#include <utility>

namespace windwright::server {

namespace json = boost::json;

void Checks::tick(const std::string& step, bool done, const std::string& person) {
  const auto steps = guard::start_of_session(station_.bench());
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
  for (const guard::ChecklistStep& step : guard::start_of_session(station_.bench())) {
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
  if (readiness_) document["readiness"] = campaign::to_json(*readiness_);
  document["ready"] = all && readiness_ && readiness_->ready();
  return document;
}

}  // namespace windwright::server
