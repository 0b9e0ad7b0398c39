// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "base/clock.h"

#include <boost/json/fwd.hpp>

#include <cstddef>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

namespace windwright::metrology {

/// The check standard of one sensor, measured again and again: CSV with header `date,measured`,
/// optional `reference` (then measured less reference is charted); `# unit: ...` names the unit.
struct CheckMeasurements {
  std::vector<base::UtcTime> date;  // rising
  std::vector<double> value;
  std::string unit;  // UDUNITS; "1" where the file does not say
};
/// @throws BadInput  with file and line: columns, numbers, dates that do not rise
CheckMeasurements check_measurements_from_file(const std::filesystem::path& file);

struct ChartOptions {
  std::size_t baseline = 0;      // first measurements that set centre and spread; 0: all
  std::optional<double> centre;  // instead of the baseline's mean
  std::optional<double> spread;  // instead of its standard deviation
  double smoothing = 0.2;        // weight of the newest in the moving average, in (0, 1]
  double factor = 3.0;           // of the limits
};

struct ChartPoint {
  base::UtcTime date;
  double value;
  double average;        // exponentially weighted, up to this one
  double average_limit;  // distance from the centre that the average may reach
  bool is_out;           // value beyond its limits
  bool average_is_out;   // average beyond its limits: a small shift that lasts
};

struct ControlChart {
  double centre;
  double spread;
  double lower;  // limits of single values
  double upper;
  double average_limit;  // in the long run, distance from the centre
  std::vector<ChartPoint> points;
  bool in_control;                    // the newest point: neither value nor average out
  std::size_t out;                    // points out, of all
  std::vector<std::string> warnings;  // earlier points out; outliers among the baseline
};

/// Shewhart chart of single values with an exponentially weighted moving average: Z_i = L x_i +
/// (1 - L) Z_(i-1), Z_0 the centre, limits factor * spread * sqrt(L / (2 - L) (1 - (1 - L)^(2 i))).
/// Source: NIST/SEMATECH e-Handbook of Statistical Methods, 2.3.5 (check standards) and 6.3.2.4.
/// Checked in tests/published/control_chart_test.cpp. An outlier in the baseline (outliers.h, 1 %)
/// widens the limits: a warning names it, nothing is removed.
/// @param where  for the message
/// @throws BadInput  fewer than 5 baseline values without centre and spread, no scatter in them,
///                   smoothing or factor outside their domains
ControlChart control_chart(const CheckMeasurements& measurements, const ChartOptions& options,
                           const std::string& where);

boost::json::value to_json(const ControlChart& chart, const std::string& unit);

}  // namespace windwright::metrology
