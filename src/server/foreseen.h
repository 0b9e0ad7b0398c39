// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "bench/bench.h"
#include "campaign/campaign.h"

#include <boost/json.hpp>

#include <map>
#include <string>

namespace windwright::server {

/// docs/openapi.json, Foreseen: where a bench settles with such settings; null where theory cannot
/// say. @param settings  of actuators, by name
boost::json::value foreseen_json(const bench::Bench& bench,
                                 const std::map<std::string, double>& settings);

/// What theory expects at the points of one campaign, each setting worked out once.
class Foresight {
 public:
  Foresight(const bench::Bench& bench, const campaign::Campaign& campaign);
  /// docs/openapi.json, Foreseen; null where theory cannot say.
  boost::json::value at(const campaign::PlannedPoint& point);

 private:
  const bench::Bench& bench_;
  std::map<std::string, double> constants_;
  std::map<std::map<std::string, double>, boost::json::value> known_;
};

}  // namespace windwright::server
