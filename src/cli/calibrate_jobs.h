// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "metrology/certificate.h"

#include <cstddef>
#include <optional>
#include <string>
#include <vector>

namespace windwright::cli {

/// What the verb `calibrate` was asked for; one job at a time.
struct CalibrateOptions {
  std::string file;   // readings
  std::string bench;  // or a bench
  std::string model;
  std::string out;
  std::string channel;
  metrology::ReferenceStandard standard;
  double u_standard_pct = 0.0;
  std::string standard_certificate;  // file of our own, or a number
  std::string standard_valid_until;
  double u_drift = 0.0;
  int valid_days = 365;
  std::string date;
  std::string environment;
  metrology::CalibrationAir air;
  std::string covariance;
  std::string previous;  // certificate in force before
  std::string as_found;  // readings before an adjustment
  std::string plot;
  int pulses_per_turn = 0;
  std::string certificate;
  std::vector<double> readings;
  std::optional<double> u_reading;
  std::optional<double> reference;
  double u_reference = 0.0;
  std::vector<std::string> field_points;
  std::vector<double> field_references;  // known inputs on a bench
  double u_field = 0.0;
  std::vector<double> coefficients;  // of a nominal thermistor
  double density_kg_m3 = 0.0;
  double tube_factor = 1.0;
  double contraction = 0.0;
  std::string tolerance_class;
  double cold_junction_C = 0.0;
  std::string control_chart;
  std::size_t baseline = 0;
  std::optional<double> centre;
  std::optional<double> spread;
  double smoothing = 0.2;
  bool json = false;
  std::vector<std::string> given;  // names of the options on the command line, without dashes
};

/// Readings -> certificate, with residuals, as-found state and drift.
/// @return  exit code
int calibrate_readings(const CalibrateOptions& options);
/// The channels of a bench, through the device.
int calibrate_bench(const CalibrateOptions& options);
/// A certificate, or a standard's nominal curve, in use: value of a reading, reading of a value,
/// field adjustment.
int use_certificate(const CalibrateOptions& options);
/// Control chart of a check standard; 1 where the newest point is out of control.
int chart_checks(const CalibrateOptions& options);

/// Writes a file whole; a folder that is not there becomes a message.
/// @throws BadInput  names the option
void write_output(const std::string& option, const std::string& file, const std::string& text);
void require_not_negative(double value, const std::string& option);

}  // namespace windwright::cli
