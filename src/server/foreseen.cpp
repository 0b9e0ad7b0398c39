// SPDX-License-Identifier: Apache-2.0
#include "server/foreseen.h"

#include "analysis/foresight.h"
#include "base/json.h"

#include <boost/json.hpp>

#include <map>
#include <optional>
#include <string>
#include <utility>

namespace windwright::server {

namespace json = boost::json;

namespace {

constexpr std::size_t most_worked_out =
    400;  // a plan may be of 100 000 points; each costs about 1 ms

}  // namespace

json::value foreseen_json(const bench::Bench& bench,
                          const std::map<std::string, double>& settings) {
  const auto foreseen = analysis::foresee(bench, settings);
  if (!foreseen) return nullptr;
  return json::object{{"air_speed_m_s", foreseen->air_speed_m_s},
                      {"rotor_speed_rad_s", base::or_null(foreseen->rotor_speed_rad_s)},
                      {"tip_speed_ratio", base::or_null(foreseen->tip_speed_ratio)},
                      {"dc_power_W", base::or_null(foreseen->dc_power_W)},
                      {"cp", base::or_null(foreseen->cp)},
                      {"below_cut_in", foreseen->below_cut_in},
                      {"trips", json::value_from(foreseen->trips)},
                      {"code", foreseen->code},
                      {"remark", foreseen->remark}};
}

Foresight::Foresight(const bench::Bench& bench, const campaign::Campaign& campaign)
    : bench_(bench) {
  for (const campaign::Setting& setting : campaign.constants)
    constants_[setting.actuator] = campaign::commanded_value(setting, bench);
}

json::value Foresight::at(const campaign::PlannedPoint& point) {
  std::map<std::string, double> settings = constants_;
  for (const campaign::Setting& setting : point.settings)
    settings[setting.actuator] = campaign::commanded_value(setting, bench_);
  const auto found = known_.find(settings);
  if (found != known_.end()) return found->second;
  if (known_.size() >= most_worked_out) return nullptr;
  json::value value = foreseen_json(bench_, settings);
  return known_.emplace(settings, std::move(value)).first->second;
}

}  // namespace windwright::server
