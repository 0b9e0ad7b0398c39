// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "base/clock.h"
#include "metrology/estimate.h"

#include <boost/json/fwd.hpp>

#include <filesystem>
#include <string>
#include <vector>

namespace windwright::metrology {

/// How a fitted curve reading = f(reference) came out.
struct Fit {
  std::vector<double> coefficients;            // rising powers
  std::vector<double> standard_uncertainties;  // (coefficients)
  std::vector<double> covariance;              // coefficients x coefficients, row by row
  double residual_standard_deviation;          // in the reading's unit
  int degrees_of_freedom;
  double chi_squared;  // NaN without stated reading uncertainties
  double r_squared;
};

/// The standard that supplied the known inputs; its error is common to all readings.
struct ReferenceStandard {
  std::string name;
  double u = 0.0;           // standard uncertainty, absolute, in the reference's unit
  double u_relative = 0.0;  // standard uncertainty, relative to the reference value
};

struct Certificate {
  std::string channel;  // name of the calibrated channel, or of the readings file
  std::string model;    // "line" or "polynomial:N"
  Fit fit;
  double reference_range[2];
  double reading_range[2];
  std::string reference_unit;  // UDUNITS
  std::string reading_unit;
  base::UtcTime date;
  base::UtcTime valid_until;
  ReferenceStandard standard;
  double u_drift = 0.0;     // standard uncertainty from drift until valid_until, reference's unit
  std::string environment;  // air state and place, in words; may be empty
};

/// reading -> value in the reference's unit (inverse of the fit), without uncertainty. Readings
/// outside the certified range are carried on along the curve.
double value_of(const Certificate& certificate, double reading);

/// reading -> value with the certificate's systematic uncertainty: inputs
/// `<channel>:calibration-0..` (the fit's coefficients, decorrelated), `<channel>:residual`
/// (what the curve does not follow), `<channel>:standard`, `<channel>:standard-relative`,
/// `<channel>:drift`. A random part is for the caller to add.
Estimate estimate_of(const Certificate& certificate, double reading);

bool covers(const Certificate& certificate, double reading);

boost::json::value to_json(const Certificate& certificate);
/// @throws BadInput
Certificate certificate_from_file(const std::filesystem::path& file);

}  // namespace windwright::metrology
