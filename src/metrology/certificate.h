// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "base/clock.h"
#include "metrology/estimate.h"
#include "metrology/fit.h"

#include <boost/json/fwd.hpp>

#include <filesystem>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::metrology {

/// The standard that supplied the known inputs; its error is common to all readings.
struct ReferenceStandard {
  std::string name;
  double u = 0.0;           // standard uncertainty, absolute, in the reference's unit
  double u_relative = 0.0;  // standard uncertainty, relative to the reference value
};

/// One step of the chain that leads from this certificate to the national standards: the standard
/// used, then the standard that it was calibrated against, and so on.
struct TraceabilityLink {
  std::string standard;     // its name
  std::string certificate;  // number or file of its own certificate; may be empty
  std::string date;         // of that certificate, UTC; may be empty
  std::string valid_until;  // may be empty
};

/// Air where the calibration was done; not stated where empty.
struct CalibrationAir {
  std::optional<double> temperature_C;
  std::optional<double> pressure_hPa;
  std::optional<double> humidity_pct;
};

/// Two known inputs met in the field, and what the sensor read at them: gain and offset of the
/// certified value are set so that both come out right.
struct FieldPoint {
  double reading;  // raw, in the reading's unit
  double reference;
  double u;  // standard uncertainty of reference and reading together, in the reference's unit
  /// Value at this input by the certificate as it was, and by the adjusted one where the input was
  /// laid on again; empty where nobody looked.
  std::optional<double> as_found = {};
  std::optional<double> as_left = {};
};
struct FieldAdjustment {
  FieldPoint points[2];
  base::UtcTime date;
};

/// Result of a calibration: the curve from known input to reading, and how far it can be trusted.
struct Certificate {
  std::string channel;  // name of the calibrated channel, or of the readings file
  std::string model;    // a name that law_of_model knows
  Fit fit;
  /// Standard deviation of what the curve does not follow, in the unit of the law's value (the
  /// reading's, or the reference's of a backward law): the residual standard deviation, less the
  /// readings' own scatter where it is stated.
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
  CalibrationAir air = {};
  std::vector<TraceabilityLink> traceability = {};  // nearest first
  std::optional<FieldAdjustment> adjustment = {};
  /// Standard uncertainty of one reading as stated with the calibration, at both ends of
  /// reading_range, in the reading's unit; 0 where none was stated.
  double u_reading[2] = {0.0, 0.0};
};

/// Fits the model of a certificate to readings and fills in fit, lack of fit and ranges; everything
/// else is kept as it is.
/// @param where  for the message: readings file or channel
/// A model "polynomial:auto" becomes "polynomial:N". References of 0 where the law has no slope
/// (pitot, king) count in the fit, but the range starts at the first above.
/// @throws BadInput  unknown model; readings that fit_polynomial or fit_law refuse; a curve that
///                   turns within the range, so that a reading would belong to two values; units
///                   other than the law's
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
/// The reading that belongs to a value: the fitted curve itself, carried on like its inverse.
double reading_of(const Certificate& certificate, double reference);

/// reading -> value with the certificate's systematic uncertainty: inputs
/// `<channel>:calibration-0..` (the fit's coefficients, decorrelated), `<channel>:residual-0..`
/// (what the curve does not follow, by stretches of the range: nearby readings share it, distant
/// ones do not), `<channel>:standard`, `<channel>:standard-relative`, `<channel>:drift`; those that
/// are 0 are left out. A random part is for the caller to add.
///
/// Degrees of freedom: those of the fit for the residual, and for the coefficients where their
/// covariance was scaled by the residual variance; the rest is taken as known. The lack of fit
/// counts whole: averaging many samples of one reading does not make a curve follow better.
/// After a field adjustment, what calibration and field points have in common cancels; the points
/// add `<channel>:field-a` and `<channel>:field-b`.
Estimate estimate_of(const Certificate& certificate, double reading);

/// Standard uncertainty that the calibration states for one such reading: between the ends of the
/// range a straight line over the law's value (over the reading; of a backward law over the value,
/// and in its unit), beyond them that of the end. 0: none was stated.
double stated_u_reading(const Certificate& certificate, double reading);

/// Whether a reading lies within the readings of the calibration.
bool covers(const Certificate& certificate, double reading);

/// The largest expanded uncertainty (95 %, Student's t) over the certified range, and where.
struct LargestUncertainty {
  double expanded;         // in the reference's unit
  double coverage_factor;  // used there: 1.96 with many degrees of freedom, 12.7 with one
  double reference;        // where
};
LargestUncertainty largest_uncertainty(const Certificate& certificate);

boost::json::value to_json(const Certificate& certificate);
/// @throws BadInput  names file and member: not JSON, missing or of another kind, not finite, not
///                   of one size, not a unit, a curve that turns within its range
Certificate certificate_from_file(const std::filesystem::path& file);
/// The same from a certificate's text, as a recording keeps it.
/// @param file  where it stands, for the message
Certificate certificate_from_text(std::string_view text, std::string_view file);

/// The field adjustment as gain and offset of the certified value; 1 and 0 without one.
struct FieldGain {
  double gain;
  double offset;  // in the reference's unit
};
FieldGain field_gain(const Certificate& certificate);

/// Refuses a field adjustment whose points do not belong together: the same place twice, a gain
/// that turns the sensor round, or one that is off by more than a factor of 2 (a wrong unit).
/// @throws BadInput
void require_adjustment(const Certificate& certificate, std::string_view where);

/// Refuses a curve that turns within the range.
/// @throws BadInput
void require_one_to_one(const Certificate& certificate, std::string_view where);

}  // namespace windwright::metrology
