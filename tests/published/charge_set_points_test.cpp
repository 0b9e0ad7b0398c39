// SPDX-License-Identifier: Apache-2.0
#include "base/json.h"
#include "physics/charge_controller.h"

#include <boost/json.hpp>
#include <gtest/gtest.h>

#include <string>

namespace windwright::physics {
namespace {

namespace json = boost::json;

// Common practice, no source: ranges for a 12 V lead-acid battery at 25 degC.
TEST(PublishedChargeSetPoints, DefaultsLieInTheRangesOfPractice) {
  const json::value file =
      base::json_from_file(SOURCE_FOLDER "/tests/published/data/lead_acid_charge_setpoints.json");
  const auto inside = [&](const std::string& pointer, double value) {
    const json::value& range = file.at_pointer(pointer);
    const double a = range.at(0).to_number<double>();
    const double b = range.at(1).to_number<double>();
    EXPECT_GE(value, std::min(a, b)) << pointer;
    EXPECT_LE(value, std::max(a, b)) << pointer;
  };
  const struct {
    BatteryKind kind;
    std::string name;
  } kinds[] = {
      {BatteryKind::flooded, "/flooded"}, {BatteryKind::agm, "/agm"}, {BatteryKind::gel, "/gel"}};
  for (const auto& [kind, name] : kinds) {
    const ChargeSetPoints points = common_set_points(kind);
    inside(name + "/absorption", 6.0 * points.absorption_V);
    inside(name + "/float", 6.0 * points.float_V);
    EXPECT_EQ(points.equalise_V.has_value(), kind == BatteryKind::flooded);
    if (points.equalise_V) inside(name + "/equalise", 6.0 * *points.equalise_V);
    inside("/low_voltage_disconnect", 6.0 * points.low_voltage_disconnect_V);
    inside("/low_voltage_reconnect", 6.0 * points.low_voltage_reconnect_V);
    inside("/temperature_compensation_per_cell", points.temperature_compensation_V_K);
    EXPECT_NEAR(6.0 * points.temperature_compensation_V_K,
                file.at("temperature_compensation_12V_typical").to_number<double>(), 1e-12);
  }
}

}  // namespace
}  // namespace windwright::physics
