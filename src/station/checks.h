// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "base/clock.h"
#include "campaign/readiness.h"

#include <boost/json/fwd.hpp>

#include <functional>
#include <map>
#include <mutex>
#include <optional>
#include <stop_token>
#include <string>

namespace windwright::station {

class Station;

/// What is done before a session at one bench: the steps of guard/checklist.h, ticked off by name,
/// and the check standards, measured. Any thread may call.
class Checks {
 public:
  explicit Checks(Station& station) : station_(station) {}

  /// @throws Refusal  404: no such step
  void tick(const std::string& step, bool done, const std::string& person);
  /// Begins to measure the check standards. @throws Refusal  409
  /// @param finished  called on the device's thread with the outcome, or with why there is none
  void measure(std::function<void(const std::string& problem)> finished);
  /// docs/openapi.json, Checklist.
  boost::json::object document() const;

 private:
  struct Tick {
    std::string person;
    base::UtcTime time;
  };
  Station& station_;
  mutable std::mutex mutex_;
  std::map<std::string, Tick, std::less<>> ticks_;
  std::optional<campaign::Readiness> readiness_;
};

}  // namespace windwright::station
