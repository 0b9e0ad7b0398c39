// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "metrology/certificate.h"
#include "metrology/readings.h"

#include <boost/json/fwd.hpp>

#include <optional>
#include <string>
#include <vector>

namespace windwright::metrology {

/// What one reading leaves.
struct ResidualPoint {
  double reference;
  double reading;
  double residual;      // value less the law's value, in the unit of that (reading, or reference)
  double standardised;  // over its stated uncertainty, or over the residual standard deviation
  double error;         // value of the reading by the certificate less the reference
};

/// Scatter of repeated readings of one reference about their mean, pooled.
struct Repeatability {
  double standard_deviation;  // in the reading's unit
  int degrees_of_freedom;
};

/// Whether the model follows the readings, as far as their own scatter can tell.
struct LackOfFitTest {
  const char* by;      // "repeats" (F) or "stated uncertainties" (chi-squared)
  double statistic;    // F, or chi-squared
  int dof;             // of the numerator
  int dof_of_scatter;  // 0 where the scatter is stated
  double critical;     // 95 % point
  bool is_significant;
};

/// Readings that were reached from below against those reached from above.
struct Hysteresis {
  double largest;  // residuals down less up, mean of each, as a change of the reading, signed;
                   // each reference of a falling reading with the nearest of a rising one
  double at_reference;
  double in_reference;  // the same as a change of the value
  double of_range_pct;  // of the readings' range, size only
  double p;             // Welch's test of all falling against all rising residuals
  bool is_significant;  // p below 5 %
};

struct Diagnostics {
  std::vector<ResidualPoint> residuals;  // in the readings' order
  std::optional<Repeatability> repeatability;
  std::optional<LackOfFitTest> lack_of_fit;
  std::optional<Hysteresis> hysteresis;
  std::vector<std::string> warnings;  // one sentence each
};

/// Looks at the readings behind a certificate.
///
/// Lack of fit by repeats: F = ((S - P) / (m - k)) / (P / (n - m)), S and P the sums of squares
/// about the curve and about the means of the m distinct references, weighted where uncertainties
/// of the readings are stated. Not for backward laws, nor with uncertainties of the references.
/// Source: Draper and Smith, Applied Regression Analysis, 3rd ed. (1998), 2.1 and 2.2.
Diagnostics diagnose(const Certificate& certificate, const ReadingsFile& file);

boost::json::value to_json(const Diagnostics& diagnostics);

}  // namespace windwright::metrology
