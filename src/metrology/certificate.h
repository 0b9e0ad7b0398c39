// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "base/clock.h"
#include "metrology/estimate.h"
#include "metrology/fit.h"

#include <boost/json/fwd.hpp>

#include <filesystem>
#include <span>
#include <string>
#include <string_view>

namespace windwright::metrology {

/// The standard that supplied the known inputs; its error is common to all readings.
struct ReferenceStandard {
  std::string name;
  double u = 0.0;           // standard uncertainty, absolute, in the reference's unit
  double u_relative = 0.0;  // standard uncertainty, relative to the reference value
};

/// Result of a calibration: the curve from known input to reading, and how far it can be trusted.
struct Certificate {
  std::string channel;  // name of the calibrated channel, or of the readings file
  std::string model;    // "line" or "polynomial:N"
  Fit fit;
  /// Standard deviation of what the curve does not follow, in the reading's unit: the residual
  /// standard deviation, less the readings' own scatter where `u_reading` states it.
  double lack_of_fit = 0.0;
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

/// Degree of "line" (1) or "polynomial:N" (N, 1 to 6).
/// @throws BadInput  another model
int degree_of_model(std::string_view model, std::string_view where);

/// Fits the model of a certificate to readings and fills in fit, lack of fit and ranges; everything
/// else is kept as it is.
/// @param where  for the message: readings file or channel
/// @throws BadInput  unknown model; readings that fit_polynomial refuses; a curve that turns within
///                   the range, so that a reading would belong to two values
Certificate calibrate(Certificate certificate, const Readings& readings, std::string_view where);

/// True where chi-squared exceeds its 95 % point: the curve misses the readings by more than their
/// stated uncertainties explain. False without stated uncertainties.
bool lack_of_fit_is_significant(const Fit& fit);

/// reading -> value in the reference's unit (inverse of the fit), without uncertainty. Beyond the
/// certified range the curve is carried on along its tangent.
double value_of(const Certificate& certificate, double reading);
/// The same for many readings; `values` as long as `readings`, and may be the same memory.
void values_of(const Certificate& certificate, std::span<const double> readings,
               std::span<double> values);
/// Change of the value per change of the reading, at a reading.
double sensitivity(const Certificate& certificate, double reading);

/// reading -> value with the certificate's systematic uncertainty: inputs
/// `<channel>:calibration-0..` (the fit's coefficients, decorrelated), `<channel>:residual`
/// (what the curve does not follow), `<channel>:standard`, `<channel>:standard-relative`,
/// `<channel>:drift`; those that are 0 are left out. A random part is for the caller to add.
///
/// Degrees of freedom: those of the fit for the residual, and for the coefficients where their
/// covariance was scaled by the residual variance; the rest is taken as known. The lack of fit
/// counts whole: averaging many samples of one reading does not make a curve follow better.
Estimate estimate_of(const Certificate& certificate, double reading);

/// Whether a reading lies within the readings of the calibration.
bool covers(const Certificate& certificate, double reading);

/// The largest expanded uncertainty (k = 2) over the certified range, and where.
struct LargestUncertainty {
  double expanded;   // in the reference's unit
  double reference;  // where
};
LargestUncertainty largest_uncertainty(const Certificate& certificate);

boost::json::value to_json(const Certificate& certificate);
/// @throws BadInput  names file and member: not JSON, missing or of another kind, not finite, not
///                   of one size, not a unit, a curve that turns within its range
Certificate certificate_from_file(const std::filesystem::path& file);
/// The same from a certificate's text, as a recording keeps it.
/// @param file  where it stands, for the message
Certificate certificate_from_text(std::string_view text, std::string_view file);

/// Refuses a curve that turns within the range.
/// @throws BadInput
void require_one_to_one(const Certificate& certificate, std::string_view where);

}  // namespace windwright::metrology
