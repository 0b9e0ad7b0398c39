// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "metrology/certificate.h"

#include <boost/json/fwd.hpp>

#include <string_view>
#include <vector>

namespace windwright::metrology {

/// One reading of a known input before anything was adjusted, judged by the certificate that was in
/// force.
struct AsFoundPoint {
  double reference;
  double value;      // by the certificate
  double deviation;  // value less reference
  double expanded;   // 95 %, Student's t: certificate, standard and reading together
  double en;         // deviation over the root sum of squares of both expanded uncertainties
};

/// State of a sensor when it came in (as found) or when it leaves (as left).
struct SensorState {
  std::vector<AsFoundPoint> points;
  double largest_deviation;  // signed
  double largest_en;         // size
  bool agrees;               // largest_en up to 1
};

/// @param certificate  that was in force (as found), or the new one (as left)
/// @param standard     of these readings
/// Source: ISO/IEC 17025:2017, 7.8.4.1; E_n of ISO/IEC 17043:2010, B.3.1.3 e).
SensorState sensor_state(const Certificate& certificate, const Readings& readings,
                         const ReferenceStandard& standard);

/// How far a later certificate moved from an earlier one.
struct DriftPoint {
  double reference;
  double difference;  // value by the later less value by the earlier, of one reading
  double expanded;    // 95 %, Student's t, of the difference
};
struct Drift {
  std::vector<DriftPoint> points;  // 11 over the range that both cover
  double largest;                  // signed
  double at_reference;
  double per_year;  // of the largest; 0 within a day
  double en;        // size, of the largest E_n
  bool is_significant;
};

/// Calibrations are taken as independent, except where both used the standard of one name: its
/// uncertainty then cancels.
/// @throws BadInput  units or ranges that have nothing in common
Drift drift_between(const Certificate& earlier, const Certificate& later, std::string_view where);

boost::json::value to_json(const SensorState& state);
boost::json::value to_json(const Drift& drift);

}  // namespace windwright::metrology
