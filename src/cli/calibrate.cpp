// SPDX-License-Identifier: Apache-2.0
#include "base/clock.h"
#include "base/errors.h"
#include "base/files.h"
#include "base/json.h"
#include "base/units.h"
#include "cli/verbs.h"
#include "metrology/certificate.h"
#include "metrology/quantity.h"
#include "metrology/readings.h"

#include <CLI/CLI.hpp>
#include <boost/json.hpp>
#include <fmt/format.h>

#include <chrono>
#include <cmath>
#include <cstdio>
#include <filesystem>
#include <memory>
#include <optional>
#include <string>
#include <string_view>

namespace windwright::cli {

namespace {

struct CalibrateOptions {
  std::string file;
  std::string model;
  std::string out;
  std::string channel;
  metrology::ReferenceStandard standard;
  double u_standard_pct = 0.0;
  double u_drift = 0.0;
  int valid_days = 365;
  std::string date;
  std::string environment;
  std::string certificate;
  std::optional<double> reading;
  bool json = false;
};

// A channel's name becomes part of the names of its uncertainty inputs.
void require_channel_name(const std::string& name, std::string_view where) {
  if (!name.empty() && name.find_first_of("#:,/\"\\ ") == std::string::npos) return;
  throw base::BadInput(where, fmt::format("'{}' is not a channel name", name),
                       "letters, digits, _ and - (--channel NAME)");
}

void require_not_negative(double value, std::string_view option) {
  if (std::isfinite(value) && value >= 0.0) return;
  throw base::BadInput(option, fmt::format("is {}", value), "a finite number, 0 or more");
}

void print_certificate(const metrology::Certificate& certificate) {
  const metrology::Fit& fit = certificate.fit;
  fmt::print("{}: {}, {} degrees of freedom\n", certificate.channel, certificate.model,
             fit.degrees_of_freedom);
  for (std::size_t i = 0; i < fit.coefficients.size(); ++i) {
    fmt::print("  coefficient {}                 {:.8g}, standard uncertainty {:.2g}\n", i,
               fit.coefficients[i], fit.standard_uncertainties[i]);
  }
  const std::string& unit = certificate.reference_unit;
  const std::string& reading_unit = certificate.reading_unit;
  const auto largest = metrology::largest_uncertainty(certificate);
  fmt::print("  residual standard deviation   {:.3g} {}\n", fit.residual_standard_deviation,
             reading_unit);
  fmt::print("  expanded uncertainty (k = 2)  up to {:.3g} {}, at {:.4g} {}\n", largest.expanded,
             unit, largest.reference, unit);
  fmt::print("  range                         {:.6g} to {:.6g} {}, readings {:.6g} to {:.6g} {}\n",
             certificate.reference_range[0], certificate.reference_range[1], unit,
             certificate.reading_range[0], certificate.reading_range[1], reading_unit);
  fmt::print("  valid until                   {}\n",
             base::utc_text(certificate.valid_until).substr(0, 10));
  if (metrology::lack_of_fit_is_significant(fit)) {
    fmt::print(
        "warning: the {} misses the readings by more than their stated uncertainties explain "
        "(chi-squared {:.1f} for {} degrees of freedom): try a higher degree, or look for what "
        "moved during the calibration\n",
        certificate.model, fit.chi_squared, fit.degrees_of_freedom);
  }
}

void write_certificate(const std::filesystem::path& file, const std::string& text) {
  try {
    base::write_whole(file, text);
  } catch (const std::filesystem::filesystem_error& error) {
    throw base::BadInput(
        "--out", fmt::format("{} cannot be written ({})", file.string(), error.code().message()),
        "a file in a folder that exists and that you may write to");
  }
}

// Everything of the certificate but what the fit gives.
metrology::Certificate description(const CalibrateOptions& options,
                                   const metrology::ReadingsFile& readings) {
  metrology::Certificate certificate{
      .channel = options.channel.empty() ? std::filesystem::path(options.file).stem().string()
                                         : options.channel,
      .model = options.model,
      .fit = {},
      .reference_range = {},
      .reading_range = {},
      .reference_unit = readings.reference_unit,
      .reading_unit = readings.reading_unit,
      .date = options.date.empty() ? std::chrono::floor<std::chrono::seconds>(base::host_now())
                                   : base::utc_from_text(options.date, "--date"),
      .valid_until = {},
      .standard = options.standard,
      .u_drift = options.u_drift,
      .environment = options.environment};
  require_channel_name(certificate.channel, options.channel.empty() ? options.file : "--channel");
  constexpr double percent = 0.01;
  certificate.standard.u_relative = percent * options.u_standard_pct;
  certificate.valid_until = certificate.date + std::chrono::days(options.valid_days);
  const std::string unit = base::unit_of_name(options.channel);
  if (unit != "1") {
    if (readings.reference_unit == "1") certificate.reference_unit = unit;
    base::require_unit(certificate.reference_unit, unit,
                       fmt::format("{}: # unit: reference", options.file));
  }
  return certificate;
}

void calibrate_readings(const CalibrateOptions& options) {
  if (options.model.empty()) {
    throw base::BadInput("--model", "is missing", "line, or polynomial:1 to 6");
  }
  metrology::degree_of_model(options.model, "--model");
  require_not_negative(options.standard.u, "--u-standard");
  require_not_negative(options.u_standard_pct, "--u-standard-pct");
  require_not_negative(options.u_drift, "--u-drift");
  const metrology::ReadingsFile readings = metrology::readings_from_file(options.file);
  const metrology::Certificate certificate =
      metrology::calibrate(description(options, readings), readings.readings, readings.where);
  const std::string text = base::json_text(metrology::to_json(certificate));
  if (!options.out.empty()) write_certificate(options.out, text);
  if (options.json) {
    fmt::print("{}", text);
  } else {
    print_certificate(certificate);
  }
}

void use_certificate(const CalibrateOptions& options) {
  if (!options.reading || !std::isfinite(*options.reading)) {
    throw base::BadInput("--reading", "is missing or not finite", "--reading X");
  }
  const metrology::Certificate certificate = metrology::certificate_from_file(options.certificate);
  const metrology::Estimate value = metrology::estimate_of(certificate, *options.reading);
  const bool covered = metrology::covers(certificate, *options.reading);
  if (options.json) {
    boost::json::value quantity = metrology::quantity(value, certificate.reference_unit);
    quantity.as_object()["covered"] = covered;
    fmt::print("{}", base::json_text(quantity));
    return;
  }
  fmt::print("{:.6g} {}, standard uncertainty {:.2g}, expanded (95 %) {:.2g}\n", value.value(),
             certificate.reference_unit, value.u(), value.expanded());
  if (!covered) {
    fmt::print("warning: reading {:.6g} {} is outside the calibrated {:.6g} to {:.6g}\n",
               *options.reading, certificate.reading_unit, certificate.reading_range[0],
               certificate.reading_range[1]);
  }
}

void run_calibrate(const CalibrateOptions& options) {
  if (options.file.empty() == options.certificate.empty()) {
    throw base::BadInput("calibrate", "wants one of two",
                         "READINGS.csv --model M, or --certificate CERT.json --reading X");
  }
  if (!options.certificate.empty()) return use_certificate(options);
  calibrate_readings(options);
}

}  // namespace

void add_calibrate(CLI::App& program, int& /*exit_code*/) {
  auto options = std::make_shared<CalibrateOptions>();  // shared: lives as long as the callback
  CLI::App* verb = program.add_subcommand(
      "calibrate", "Fit readings of known inputs and issue a certificate; or use one.");
  verb->add_option("file", options->file, "READINGS.csv: reference,reading[,u_reference,...]");
  verb->add_option("--model", options->model, "line, or polynomial:N (N 1 to 6)");
  verb->add_option("--out", options->out, "write the certificate here (JSON)");
  verb->add_option("--channel", options->channel, "channel's name with its unit suffix");
  verb->add_option("--standard", options->standard.name, "name of the reference standard");
  verb->add_option("--u-standard", options->standard.u,
                   "its standard uncertainty, in the reference's unit");
  verb->add_option("--u-standard-pct", options->u_standard_pct,
                   "its standard uncertainty, in percent of the reference");
  verb->add_option("--u-drift", options->u_drift,
                   "standard uncertainty from drift while the certificate is valid");
  verb->add_option("--valid-days", options->valid_days, "how long the certificate holds")
      ->check(CLI::Range(1, 36500))
      ->capture_default_str();
  verb->add_option("--date", options->date, "date of the calibration, UTC; now if not given");
  verb->add_option("--environment", options->environment, "air state and place, in words");
  verb->add_option("--certificate", options->certificate, "use this certificate");
  verb->add_option("--reading", options->reading, "reading to turn into a value");
  verb->add_flag("--json", options->json, "one JSON document on stdout");
  verb->footer(
      "Example:\n"
      "  windwright calibrate readings/torque.csv --model line --channel shaft_torque_N_m \\\n"
      "    --standard \"weights, class M1\" --u-standard-pct 0.02 --out certificates/torque.json\n"
      "  windwright calibrate --certificate certificates/torque.json --reading 2.51");
  verb->callback([options] { run_calibrate(*options); });
}

}  // namespace windwright::cli
