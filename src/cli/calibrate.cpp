// SPDX-License-Identifier: Apache-2.0
#include "base/clock.h"
#include "base/errors.h"
#include "base/files.h"
#include "base/json.h"
#include "base/units.h"
#include "bench/bench.h"
#include "bench/device.h"
#include "campaign/readiness.h"
#include "cli/verbs.h"
#include "metrology/certificate.h"
#include "metrology/law.h"
#include "metrology/quantity.h"
#include "metrology/readings.h"
#include "twin/simulated_bench.h"

#include <CLI/CLI.hpp>
#include <boost/json.hpp>
#include <fmt/format.h>

#include <chrono>
#include <cmath>
#include <cstddef>
#include <cstdio>
#include <filesystem>
#include <memory>
#include <numeric>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::cli {

namespace {

struct CalibrateOptions {
  std::string file;
  std::string bench;
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
    base::require_unit(certificate.reference_unit, unit, readings.unit_where);
  }
  return certificate;
}

void calibrate_readings(const CalibrateOptions& options) {
  if (options.model.empty()) {
    throw base::BadInput("--model", "is missing", metrology::model_names());
  }
  if (options.model != "polynomial:auto") metrology::law_of_model(options.model, "--model");
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

// Readings and certificate of one channel, before anything is written.
struct Calibrated {
  std::filesystem::path readings_file;
  std::string readings_text;
  std::filesystem::path certificate_file;
  metrology::Certificate certificate;
};

Calibrated calibrate_on_bench(const bench::Bench& bench, std::size_t index, bench::Device& device) {
  std::vector<campaign::Reading> readings;
  const bench::Channel& channel = bench.channels[index];
  Calibrated result{
      .readings_file = bench.file.parent_path() / "readings" / (channel.name + ".csv"),
      .readings_text = {},
      .certificate_file = channel.certificate,
      .certificate = campaign::calibrate_channel(bench, index, device, readings)};
  metrology::ReadingsFile file{.readings = {},
                               .repeat = {},
                               .reference_unit = channel.unit,
                               .reading_unit = "V",
                               .where = {},
                               .unit_where = {}};
  for (const campaign::Reading& reading : readings) {
    file.readings.reference.push_back(reading.reference);
    file.readings.reading.push_back(reading.reading_V);
    file.readings.u_reading.push_back(reading.u_reading_V);
    file.repeat.push_back(reading.repeat);
  }
  const metrology::Certificate& certificate = result.certificate;
  result.readings_text = metrology::readings_csv(
      file, {fmt::format("{}, {}, {}", bench.name, device.name(), channel.long_name),
             fmt::format("{}, reference standard: {}", base::utc_text(certificate.date),
                         certificate.standard.name),
             "odd repeats go up, even ones down"});
  return result;
}

void print_bench(const std::vector<Calibrated>& all) {
  fmt::print("{:<20} {:<13} {:>22} {:>28}  {}\n", "channel", "model", "residual sd",
             "largest expanded (k = 2)", "valid until");
  bool any = false;
  for (const auto& [readings_file, text, file, certificate] : all) {
    fmt::print("{:<20} {:<13} {:>22} {:>28}  {}{}\n", certificate.channel, certificate.model,
               fmt::format("{:.3g} {}", certificate.fit.residual_standard_deviation,
                           certificate.reading_unit),
               fmt::format("{:.3g} {}", metrology::largest_uncertainty(certificate).expanded,
                           certificate.reference_unit),
               base::utc_text(certificate.valid_until).substr(0, 10),
               metrology::lack_of_fit_is_significant(certificate.fit) ? " *" : "");
    any |= metrology::lack_of_fit_is_significant(certificate.fit);
  }
  if (any) {
    fmt::print(
        "* the curve misses the readings by more than their scatter explains (chi-squared, 95 %); "
        "the lack of fit is in the expanded uncertainty\n");
  }
}

void calibrate_bench(const CalibrateOptions& options) {
  for (const auto& [option, given] :
       {std::pair("--model", !options.model.empty()), std::pair("--out", !options.out.empty()),
        std::pair("--date", !options.date.empty())}) {
    if (given) throw base::BadInput(option, "goes with readings", "the bench file says it");
  }
  const bench::Bench bench = bench::bench_from_file(options.bench);
  twin::SimulatedBench device(bench, twin::Pace::as_fast_as_possible);
  std::vector<std::size_t> chosen(bench.channels.size());
  std::iota(chosen.begin(), chosen.end(), std::size_t{0});
  if (!options.channel.empty()) chosen = {bench.channel_index(options.channel)};
  std::vector<Calibrated> all;
  for (const std::size_t index : chosen)
    all.push_back(calibrate_on_bench(bench, index, device));
  device.stop();
  boost::json::array certificates;
  for (const Calibrated& one : all) {
    certificates.push_back(metrology::to_json(one.certificate));
    std::filesystem::create_directories(one.readings_file.parent_path());
    std::filesystem::create_directories(one.certificate_file.parent_path());
    base::write_whole(one.readings_file, one.readings_text);
    base::write_whole(one.certificate_file, base::json_text(certificates.back()));
  }
  if (options.json) {
    fmt::print("{}", base::json_text(boost::json::object{{"certificates", certificates}}));
  } else {
    print_bench(all);
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

void run_calibrate(CalibrateOptions options) {
  if (options.bench.empty() && std::filesystem::path(options.file).extension() == ".toml") {
    std::swap(options.file, options.bench);
  }
  const int jobs = (options.file.empty() ? 0 : 1) + (options.bench.empty() ? 0 : 1) +
                   (options.certificate.empty() ? 0 : 1);
  if (jobs != 1) {
    throw base::BadInput("calibrate", "wants one thing to do",
                         "READINGS.csv --model M, BENCH.toml, or --certificate CERT.json "
                         "--reading X");
  }
  if (!options.file.empty()) calibrate_readings(options);
  if (!options.bench.empty()) calibrate_bench(options);
  if (!options.certificate.empty()) use_certificate(options);
}

}  // namespace

void add_calibrate(CLI::App& program, int& /*exit_code*/) {
  auto options = std::make_shared<CalibrateOptions>();  // shared: lives as long as the callback
  CLI::App* verb = program.add_subcommand(
      "calibrate", "Fit readings of known inputs and issue a certificate; or use one.");
  verb->add_option("file", options->file,
                   "READINGS.csv: reference,reading[,u_reference,...]; or BENCH.toml: take the "
                   "readings of its calibration plans on the simulated bench");
  verb->add_option("--bench", options->bench, "the same as BENCH.toml as file");
  verb->add_option("--model", options->model, "line, or polynomial:N (N 1 to 6)");
  verb->add_option("--out", options->out, "write the certificate here (JSON)");
  verb->add_option("--channel", options->channel,
                   "channel's name with its unit suffix; of a bench: this one only");
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
      "  windwright calibrate --certificate certificates/torque.json --reading 2.51\n"
      "  windwright calibrate examples/saltmarsh-college/bench.toml --channel air_speed_m_s");
  verb->callback([options] { run_calibrate(*options); });
}

}  // namespace windwright::cli
