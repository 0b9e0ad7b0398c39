// SPDX-License-Identifier: Apache-2.0
#include "base/errors.h"
#include "cli/calibrate_jobs.h"
#include "cli/verbs.h"
#include "metrology/law.h"

#include <CLI/CLI.hpp>
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <memory>
#include <string>
#include <string_view>
#include <utility>

namespace windwright::cli {

namespace {

// What each job looks at, by name.
constexpr std::string_view of_readings =
    " file model out channel standard u-standard u-standard-pct standard-certificate "
    "standard-valid-until u-drift valid-days date environment temperature-C pressure-hPa "
    "humidity-pct covariance previous as-found plot pulses-per-turn density ";
constexpr std::string_view of_bench = " file bench model out date channel ";
constexpr std::string_view of_bench_adjustment =
    " file bench model out date channel field-reference u-field ";
constexpr std::string_view of_adjustment = " certificate field-point u-field date out ";
constexpr std::string_view of_reading = " certificate reading u-reading cold-junction-C ";
constexpr std::string_view of_reference = " certificate reference u-reference ";
constexpr std::string_view of_nominal_reading =
    " model reading u-reading coefficients density tube-factor contraction tolerance-class "
    "cold-junction-C ";
constexpr std::string_view of_nominal_reference =
    " model reference u-reference coefficients density tube-factor contraction ";
constexpr std::string_view of_chart = " control-chart baseline centre spread smoothing plot ";

struct Job {
  std::string_view what;
  std::string_view looks_at;
};

Job job_of(const CalibrateOptions& options) {
  if (!options.file.empty()) return {"the calibration of readings", of_readings};
  if (!options.bench.empty()) {
    if (options.field_references.empty()) return {"the calibration of a bench", of_bench};
    return {"the adjustment of a channel", of_bench_adjustment};
  }
  if (!options.control_chart.empty()) return {"a control chart", of_chart};
  const bool nominal = options.certificate.empty();
  if (!options.field_points.empty()) return {"an adjustment by two points", of_adjustment};
  if (options.reference) {
    return {"the reading at a reference", nominal ? of_nominal_reference : of_reference};
  }
  return {"the value of a reading", nominal ? of_nominal_reading : of_reading};
}

bool is_given(const CalibrateOptions& options, std::string_view name) {
  return std::find(options.given.begin(), options.given.end(), name) != options.given.end();
}

// An option without effect would let its author think that it had one.
void require_looked_at(const CalibrateOptions& options) {
  const Job job = job_of(options);
  for (const std::string& given : options.given) {
    if (job.looks_at.find(" " + given + " ") != std::string_view::npos) continue;
    throw base::BadInput("--" + given, fmt::format("says nothing to {}", job.what), "leave it out");
  }
  struct OfModel {
    const char* option;
    const char* model;
    bool with_number = false;  // `pitot:STATIC_Pa` too
  };
  for (const auto& [option, model, with_number] :
       {OfModel{"density", "pitot", true}, OfModel{"tube-factor", "pitot", true},
        OfModel{"contraction", "pitot"}, OfModel{"coefficients", "ntc"},
        OfModel{"pulses-per-turn", "cup"}}) {
    if (!is_given(options, option) || options.model == model) continue;
    if (with_number && options.model.starts_with(std::string(model) + ":")) continue;
    throw base::BadInput(std::string("--") + option,
                         fmt::format("says nothing to model '{}'", options.model),
                         fmt::format("leave it out, or --model {}", model));
  }
  if (is_given(options, "baseline") && options.centre && options.spread) {
    throw base::BadInput("--baseline", "says nothing where centre and spread are stated",
                         "leave it out, or one of them");
  }
}

void require_above_zero(const CalibrateOptions& options, const char* option, double value) {
  if (!is_given(options, option) || (std::isfinite(value) && value > 0.0)) return;
  throw base::BadInput(std::string("--") + option, fmt::format("is {}", value),
                       "a finite number above 0");
}

int run_calibrate(CalibrateOptions options) {
  if (options.bench.empty() && std::filesystem::path(options.file).extension() == ".toml") {
    std::swap(options.file, options.bench);
  }
  const bool nominal = options.file.empty() && options.certificate.empty() &&
                       !options.model.empty() && (!options.readings.empty() || options.reference);
  const int jobs = (options.file.empty() ? 0 : 1) + (options.bench.empty() ? 0 : 1) +
                   (options.certificate.empty() ? 0 : 1) + (nominal ? 1 : 0) +
                   (options.control_chart.empty() ? 0 : 1);
  if (jobs != 1) {
    throw base::BadInput("calibrate", "wants one thing to do",
                         "READINGS.csv --model M, BENCH.toml, --certificate CERT.json "
                         "--reading X, --model pt100 --reading X, or --control-chart CHECKS.csv");
  }
  require_looked_at(options);
  require_above_zero(options, "density", options.density_kg_m3);
  require_above_zero(options, "tube-factor", options.tube_factor);
  if (is_given(options, "contraction") &&
      !(options.contraction > 1.0 && options.contraction < 1e6)) {
    throw base::BadInput("--contraction", fmt::format("is {}", options.contraction),
                         "area of the settling chamber over that of the test section, above 1");
  }
  if (!options.file.empty()) return calibrate_readings(options);
  if (!options.bench.empty()) return calibrate_bench(options);
  if (!options.control_chart.empty()) return chart_checks(options);
  return use_certificate(options);
}

void add_description_options(CLI::App& verb, CalibrateOptions& options) {
  verb.add_option("--channel", options.channel,
                  "channel's name with its unit suffix; of a bench: this one only");
  verb.add_option("--standard", options.standard.name, "name of the reference standard");
  verb.add_option("--u-standard", options.standard.u,
                  "its standard uncertainty, in the reference's unit");
  verb.add_option("--u-standard-pct", options.u_standard_pct,
                  "its standard uncertainty, in percent of the reference");
  verb.add_option("--standard-certificate", options.standard_certificate,
                  "the standard's own certificate: a file of calibrate, whose uncertainty and "
                  "chain are taken over, or a number");
  verb.add_option("--standard-valid-until", options.standard_valid_until,
                  "until when that certificate holds");
  verb.add_option("--u-drift", options.u_drift,
                  "standard uncertainty from drift while the certificate is valid");
  verb.add_option("--valid-days", options.valid_days, "how long the certificate holds")
      ->check(CLI::Range(1, 36500))
      ->capture_default_str();
  verb.add_option("--date", options.date, "date of the calibration, UTC; now if not given");
  verb.add_option("--environment", options.environment, "air state and place, in words");
  verb.add_option("--temperature-C", options.air.temperature_C, "of the air at the calibration");
  verb.add_option("--pressure-hPa", options.air.pressure_hPa, "of the air at the calibration");
  verb.add_option("--humidity-pct", options.air.humidity_pct, "of the air at the calibration");
  verb.add_option("--covariance", options.covariance,
                  "CSV with the covariance of all readings, or of references and readings");
  verb.add_option("--previous", options.previous,
                  "the certificate in force before: as-found state and drift");
  verb.add_option("--as-found", options.as_found,
                  "readings taken before an adjustment, judged by --previous");
  verb.add_option("--pulses-per-turn", options.pulses_per_turn, "of a cup anemometer")
      ->check(CLI::Range(1, 100000));
  verb.add_option("--plot", options.plot, "write the residual plot or control chart here (SVG)");
}

void add_use_options(CLI::App& verb, CalibrateOptions& options) {
  verb.add_option("--certificate", options.certificate, "use this certificate");
  verb.add_option("--reading", options.readings,
                  "reading to turn into a value; several of the same input, with commas")
      ->delimiter(',')
      ->allow_extra_args(false);
  verb.add_option(
      "--u-reading", options.u_reading,
      "standard uncertainty of that reading; as stated at the calibration if not given");
  verb.add_option("--reference", options.reference, "value whose reading is wanted");
  verb.add_option("--u-reference", options.u_reference, "standard uncertainty of that value");
  verb.add_option("--field-point", options.field_points,
                  "READING=REFERENCE, twice: adjust gain and offset so that both come out right")
      ->allow_extra_args(false);
  verb.add_option("--field-reference", options.field_references,
                  "twice, with BENCH.toml and --channel: lay this known input on, show raw and "
                  "corrected side by side, and adjust")
      ->allow_extra_args(false);
  verb.add_option("--u-field", options.u_field, "standard uncertainty of each of these points");
  verb.add_option("--coefficients", options.coefficients, "a,b,c of a thermistor")
      ->delimiter(',')
      ->allow_extra_args(false);
  verb.add_option("--density", options.density_kg_m3, "of the air at a pitot tube, kg/m3");
  verb.add_option("--tube-factor", options.tube_factor, "of a pitot tube")->capture_default_str();
  verb.add_option("--contraction", options.contraction,
                  "of a tunnel whose wall pressures before and behind it are read instead of a "
                  "tube's: ratio of the areas");
  verb.add_option("--tolerance-class", options.tolerance_class, "of a Pt100: AA, A, B or C");
  verb.add_option("--cold-junction-C", options.cold_junction_C,
                  "temperature of a thermocouple's cold junction")
      ->capture_default_str();
  verb.add_option("--control-chart", options.control_chart,
                  "CHECKS.csv (date,measured[,reference]): chart of a check standard");
  verb.add_option("--baseline", options.baseline,
                  "first measurements that set centre and spread; all if not given");
  verb.add_option("--centre", options.centre, "instead of the baseline's mean");
  verb.add_option("--spread", options.spread, "instead of its standard deviation");
  verb.add_option("--smoothing", options.smoothing, "weight of the newest in the moving average")
      ->capture_default_str();
}

}  // namespace

void add_calibrate(CLI::App& program, int& exit_code) {
  auto options = std::make_shared<CalibrateOptions>();  // shared: lives as long as the callback
  CLI::App* verb = program.add_subcommand(
      "calibrate", "Fit readings of known inputs and issue a certificate; or use one");
  verb->add_option("file", options->file,
                   "READINGS.csv: reference,reading[,u_reference,...]; or BENCH.toml: take the "
                   "readings of its calibration plans on the simulated bench");
  verb->add_option("--bench", options->bench, "the same as BENCH.toml as file");
  verb->add_option("--model", options->model, std::string(metrology::model_names()));
  verb->add_option("--out", options->out, "write the certificate here (JSON)");
  add_description_options(*verb, *options);
  add_use_options(*verb, *options);
  verb->add_flag("--json", options->json, "one JSON document on stdout");
  verb->footer(
      "Example:\n"
      "  windwright calibrate readings/torque.csv --model line --channel shaft_torque_N_m \\\n"
      "    --standard \"weights, class M1\" --u-standard-pct 0.02 --out certificates/torque.json\n"
      "  windwright calibrate --certificate certificates/torque.json --reading 2.51 --u-reading "
      "0.01\n"
      "  windwright calibrate --model thermocouple:K --reading 4.096\n"
      "  windwright calibrate examples/saltmarsh-college/bench.toml --channel air_speed_m_s");
  verb->callback([options, verb, &exit_code] {
    for (const CLI::Option* option : verb->get_options()) {
      const std::string name = option->get_single_name();
      if (option->count() > 0 && name != "json") options->given.push_back(name);
    }
    exit_code = run_calibrate(*options);
  });
}

}  // namespace windwright::cli
