// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "metrology/certificate.h"

#include <optional>
#include <string_view>
#include <vector>

namespace windwright::metrology {

/// Where the scatter of new readings is taken from.
enum class Scatter {
  given,           // stated for the new reading
  of_calibration,  // stated with the calibration (Certificate::u_reading)
  of_residuals,    // nothing stated with the calibration: its residual standard deviation
  of_readings,     // the new readings' own, about their mean
  nowhere          // nothing tells it: not in the uncertainty
};
Scatter scatter_source(const Certificate& certificate, const std::vector<double>& readings,
                       std::optional<double> u_reading);

/// Value of one new reading, or of several of the same input, with everything that is uncertain.
///
/// - `u_reading` stated: it counts as it is (for the mean of several readings too). What the curve
///   does not follow counts only where the fit's chi-squared shows it, or where no uncertainties
///   were stated with the fit (ISO/TS 28037:2010, 6.5 and 11).
/// - not stated, fit with stated uncertainties of the readings: m readings scatter as those were
///   stated to, their mean by 1 / sqrt(m) of that, and all else as above; where they scatter by
///   more than twice that, their own scatter counts, with m - 1 degrees of freedom
/// - not stated, fit without stated uncertainties: each reading scatters like those of the
///   calibration; the mean of m has residual standard deviation / sqrt(m) (Draper and Smith, 3.2).
///   With a field adjustment that is the new part, and the residuals count as what the curve does
///   not follow too, none at the adjustment's points.
/// - not stated, several readings, fit with uncertainties of the references alone: the scatter of
///   their mean, if they scatter at all
/// - none of these (a single reading, a nominal curve): as estimate_of, without the reading's
/// scatter Inputs `<channel>:reading#1` is the new part.
/// @param readings  one or more
/// @throws BadInput  u_reading below 0 or not finite
Estimate value_of_readings(const Certificate& certificate, const std::vector<double>& readings,
                           std::optional<double> u_reading, std::string_view where);

/// What the sensor reads at a known input: the curve's mean there, and one new reading.
struct ExpectedReading {
  Estimate mean;  // uncertainty of the curve, its standard's counted (and of the reference)
  /// With what value_of_readings counts for one reading: its scatter, and what the curve does not
  /// follow there, under the same names, so that the one is the other seen from the other side.
  Estimate single;
};
/// Forward use; of a backward law through its inverse.
/// @param u_reference  standard uncertainty of the input, 0 or more
ExpectedReading expected_reading(const Certificate& certificate, double reference,
                                 double u_reference, std::string_view where);

/// A certificate that nobody measured: the nominal curve of a standard, with no uncertainty of its
/// own.
///
/// | model | coefficients |
/// | --- | --- |
/// | `pt100` | IEC 60751, -200 to 850 degC; `tolerance_class` AA A B C as u_drift is for the caller
/// | | `thermocouple:TYPE` | IEC 60584-1, rising branch | | `ntc` | a, b, c must be given | |
/// `pitot`, `pitot:STATIC_Pa` | zero 0, gain density / (2 factor^2), speeds up to 300 m/s, readings
/// in Pa; with a contraction, reading the wall pressure before it less that behind it, the gain is
/// (1 - 1 / contraction^2) of that (Bernoulli and continuity, so `pitot` alone) |
struct NominalSensor {
  std::string_view model;
  std::vector<double> coefficients = {};  // ntc
  double density_kg_m3 = 0.0;             // pitot
  double factor = 1.0;                    // pitot
  double contraction = 0.0;               // pitot: ratio of the areas, above 1; 0: a tube
};
/// @throws BadInput  a model that no standard gives
Certificate nominal_certificate(const NominalSensor& sensor, std::string_view where);

}  // namespace windwright::metrology
