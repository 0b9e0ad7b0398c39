// SPDX-License-Identifier: Apache-2.0
#include "base/clock.h"
#include "base/errors.h"
#include "base/files.h"
#include "base/json.h"
#include "base/units.h"
#include "cli/calibrate_jobs.h"
#include "cli/verbs.h"
#include "metrology/certificate.h"
#include "metrology/curve.h"
#include "metrology/diagnostics.h"
#include "metrology/drift.h"
#include "metrology/law.h"
#include "metrology/law_fit.h"
#include "metrology/readings.h"
#include "metrology/student.h"
#include "report/calibration_charts.h"

#include <boost/json.hpp>
#include <fmt/format.h>

#include <chrono>
#include <cmath>
#include <cstddef>
#include <filesystem>
#include <limits>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::cli {

namespace json = boost::json;

namespace {

constexpr std::string_view automatic = "polynomial:auto";

// A channel's name becomes part of the names of its uncertainty inputs.
void require_channel_name(const std::string& name, std::string_view where) {
  if (!name.empty() && name.find_first_of("#:,/\"\\ ") == std::string::npos) return;
  throw base::BadInput(where, fmt::format("'{}' is not a channel name", name),
                       "letters, digits, _ and - (--channel NAME)");
}

void take_units(metrology::Certificate& certificate, const metrology::ReadingsFile& readings,
                const CalibrateOptions& options) {
  const std::string unit = base::unit_of_name(options.channel);
  if (unit != "1") {
    if (readings.reference_unit == "1") certificate.reference_unit = unit;
    base::require_unit(certificate.reference_unit, unit, readings.unit_where);
  }
  if (certificate.model == automatic) return;
  const auto law = metrology::law_of_model(certificate.model, "--model");
  if (!law->reference_unit().empty()) {
    if (readings.reference_unit == "1" && unit == "1")
      certificate.reference_unit = law->reference_unit();
    base::require_unit(certificate.reference_unit, law->reference_unit(), readings.unit_where);
  }
  if (!law->reading_unit().empty()) {
    if (readings.reading_unit == "1") certificate.reading_unit = law->reading_unit();
    base::require_unit(certificate.reading_unit, law->reading_unit(), readings.unit_where);
  }
}

// The standard by its own certificate: a file of ours gives name, uncertainty and chain.
void take_standard(metrology::Certificate& certificate, const CalibrateOptions& options) {
  metrology::TraceabilityLink link{.standard = certificate.standard.name,
                                   .certificate = options.standard_certificate,
                                   .date = {},
                                   .valid_until = options.standard_valid_until};
  std::vector<metrology::TraceabilityLink> further;
  base::UtcTime end = certificate.date;
  if (!options.standard_valid_until.empty())
    end = base::utc_from_text(options.standard_valid_until, "--standard-valid-until");
  if (std::filesystem::path(options.standard_certificate).extension() == ".json") {
    const metrology::Certificate of_standard =
        metrology::certificate_from_file(options.standard_certificate);
    base::require_unit(of_standard.reference_unit, certificate.reference_unit,
                       options.standard_certificate + ":1: unit");
    if (link.standard.empty()) link.standard = of_standard.channel;
    certificate.standard.name = link.standard;
    if (certificate.standard.u == 0.0 && certificate.standard.u_relative == 0.0)
      // Its degrees of freedom do not travel along: the 95 % are kept, over k = 2.
      certificate.standard.u = 0.5 * metrology::largest_uncertainty(of_standard).expanded;
    link.date = base::utc_text(of_standard.date);
    link.valid_until = base::utc_text(of_standard.valid_until);
    end = of_standard.valid_until;
    further = of_standard.traceability;
    if (further.empty() && !of_standard.standard.name.empty())
      further.push_back({of_standard.standard.name, "", "", ""});
  }
  if (end < certificate.date) {
    throw base::BadInput(options.standard_certificate.empty() ? "--standard-valid-until"
                                                              : options.standard_certificate + ":1",
                         fmt::format("the standard's certificate ended on {}, before the "
                                     "calibration on {}",
                                     base::utc_text(end).substr(0, 10),
                                     base::utc_text(certificate.date).substr(0, 10)),
                         "a standard whose own certificate is in date");
  }
  if (link.standard.empty() && link.certificate.empty()) return;
  certificate.traceability.push_back(link);
  certificate.traceability.insert(certificate.traceability.end(), further.begin(), further.end());
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
  certificate.air = options.air;
  require_channel_name(certificate.channel, options.channel.empty() ? options.file : "--channel");
  constexpr double percent = 0.01;
  certificate.standard.u_relative = percent * options.u_standard_pct;
  certificate.valid_until = certificate.date + std::chrono::days(options.valid_days);
  take_units(certificate, readings, options);
  take_standard(certificate, options);
  return certificate;
}

// Further members of the fit: intervals, Student's t, what the coefficients mean.
void add_to_fit(json::object& fit, const metrology::Certificate& certificate) {
  const metrology::Fit& from = certificate.fit;
  const bool scaled = std::isnan(from.chi_squared);
  const double factor = metrology::student_factor(
      0.95, scaled ? from.degrees_of_freedom : std::numeric_limits<double>::infinity());
  json::array intervals;
  json::array t;
  for (std::size_t k = 0; k < from.coefficients.size(); ++k) {
    const double u = from.standard_uncertainties[k];
    const double c = from.coefficients[k];
    intervals.push_back(json::array{c - factor * u, c + factor * u});
    t.push_back(u > 0.0 ? json::value(c / u) : json::value(nullptr));
  }
  fit["intervals_95"] = intervals;
  fit["t_statistics"] = t;
  fit["residual_sum_of_squares"] =
      std::pow(from.residual_standard_deviation, 2) * from.degrees_of_freedom;
}

json::value derived(const metrology::Certificate& certificate, const CalibrateOptions& options) {
  json::object result;
  const std::vector<double>& c = certificate.fit.coefficients;
  const std::vector<double>& u = certificate.fit.standard_uncertainties;
  const auto one_turn = metrology::speed_of_one_turn_a_second(certificate.reference_unit);
  if (certificate.model == "tachometer" && one_turn)
    result["pulses_per_turn"] = {{"value", *one_turn * c[0]}, {"u", *one_turn * u[0]}};
  if (certificate.model == "cup" && options.pulses_per_turn > 0) {
    result["metres_per_turn"] = {{"value", options.pulses_per_turn * c[1]},
                                 {"u", options.pulses_per_turn * u[1]}};
  }
  if (certificate.model.starts_with("pitot") && options.density_kg_m3 > 0.0 && c[1] > 0.0) {
    const double factor = std::sqrt(options.density_kg_m3 / (2.0 * c[1]));
    result["tube_factor"] = {{"value", factor}, {"u", 0.5 * factor * u[1] / c[1]}};
  }
  return result;
}

json::value document(const metrology::Certificate& certificate,
                     const metrology::Diagnostics& diagnostics, const CalibrateOptions& options,
                     const metrology::ReadingsFile& readings) {
  json::value whole = metrology::to_json(certificate);
  json::object& object = whole.as_object();
  add_to_fit(object["fit"].as_object(), certificate);
  if (json::value more = derived(certificate, options); !more.as_object().empty())
    object["derived"] = more;
  if (options.model == automatic) {
    json::array tried;
    for (const auto& [degree, criterion] :
         metrology::degrees_tried(readings.readings, 6, readings.where)) {
      tried.push_back(json::object{{"degree", degree}, {"aicc", criterion}});
    }
    object["degrees_tried"] = tried;
  }
  object["diagnostics"] = metrology::to_json(diagnostics);
  object["next_due"] = base::utc_text(certificate.valid_until);
  return whole;
}

// How the sensor came in, how it leaves, how far it moved since the certificate before.
struct History {
  std::optional<metrology::SensorState> as_found;
  std::optional<metrology::SensorState> as_left;
  std::optional<metrology::Drift> drift;
};

History history(const CalibrateOptions& options, const metrology::Certificate& certificate,
                const metrology::ReadingsFile& readings) {
  if (options.previous.empty()) {
    if (options.as_found.empty()) return {};
    throw base::BadInput("--as-found", "wants the certificate that was in force",
                         "--previous CERT.json beside it");
  }
  const metrology::Certificate previous = metrology::certificate_from_file(options.previous);
  base::require_unit(previous.reference_unit, certificate.reference_unit,
                     options.previous + ":1: unit");
  const metrology::ReadingsFile before =
      options.as_found.empty() ? readings : metrology::readings_from_file(options.as_found);
  History result{
      .as_found = metrology::sensor_state(previous, before.readings, certificate.standard),
      .as_left = metrology::sensor_state(certificate, readings.readings, certificate.standard),
      .drift = std::nullopt};
  // After an adjustment the certificates differ by it, not by drift.
  if (options.as_found.empty())
    result.drift = metrology::drift_between(previous, certificate, options.previous);
  return result;
}

void add_history(json::object& object, const History& past) {
  if (!past.as_found) return;
  object["as_found"] = metrology::to_json(*past.as_found);
  object["as_left"] = metrology::to_json(*past.as_left);
  object["drift"] = past.drift ? metrology::to_json(*past.drift) : json::value(nullptr);
}

void print_history(const History& past, const metrology::Certificate& certificate) {
  if (!past.as_found) return;
  const std::string unit = base::spoken_unit(certificate.reference_unit);
  for (const auto& [name, state] :
       {std::pair("as found", &*past.as_found), std::pair("as left", &*past.as_left)}) {
    fmt::print("  {:<29} largest deviation {:.3g}{}, largest E_n {:.2f}: {}\n", name,
               state->largest_deviation, unit, state->largest_en,
               state->agrees ? "agrees with its certificate" : "does not agree");
  }
  if (!past.drift) return;
  fmt::print("  {:<29} {:.3g}{} at {:.4g}{}, {:.3g} a year, E_n {:.2f}{}\n", "drift",
             past.drift->largest, unit, past.drift->at_reference, unit, past.drift->per_year,
             past.drift->en, past.drift->is_significant ? ": significant" : "");
}

void print_certificate(const metrology::Certificate& certificate,
                       const metrology::Diagnostics& diagnostics) {
  const metrology::Fit& fit = certificate.fit;
  const auto law = metrology::law_of_model(certificate.model, "model");
  const std::vector<std::string> names = law->names();
  const bool powers = metrology::degree_of(certificate.model) > 0;
  fmt::print("{}: {}, {} degrees of freedom\n", certificate.channel, certificate.model,
             fit.degrees_of_freedom);
  for (std::size_t i = 0; i < fit.coefficients.size(); ++i) {
    fmt::print("  coefficient {:<17} {:.8g}, standard uncertainty {:.2g}\n",
               powers ? std::to_string(i) : names[i], fit.coefficients[i],
               fit.standard_uncertainties[i]);
  }
  const std::string unit = base::spoken_unit(certificate.reference_unit);
  const std::string reading_unit = base::spoken_unit(certificate.reading_unit);
  const auto largest = metrology::largest_uncertainty(certificate);
  fmt::print("  residual standard deviation   {:.3g}{}\n", fit.residual_standard_deviation,
             law->is_backward() ? unit : reading_unit);
  if (diagnostics.repeatability) {
    fmt::print("  repeatability                 {:.3g}{}, {} degrees of freedom\n",
               diagnostics.repeatability->standard_deviation, reading_unit,
               diagnostics.repeatability->degrees_of_freedom);
  }
  if (diagnostics.hysteresis) {
    fmt::print("  hysteresis                    {:.3g}{} at {:.4g}{}, {:.2g} % of the range\n",
               diagnostics.hysteresis->largest, reading_unit, diagnostics.hysteresis->at_reference,
               unit, diagnostics.hysteresis->of_range_pct);
  }
  fmt::print("  expanded uncertainty (95 %)   up to {:.3g}{}, at {:.4g}{} (k = {:.2f})\n",
             largest.expanded, unit, largest.reference, unit, largest.coverage_factor);
  fmt::print("  range                         {:.6g} to {:.6g}{}, readings {:.6g} to {:.6g}{}\n",
             certificate.reference_range[0], certificate.reference_range[1], unit,
             certificate.reading_range[0], certificate.reading_range[1], reading_unit);
  fmt::print("  valid until                   {}\n",
             base::utc_text(certificate.valid_until).substr(0, 10));
}

// The limits of the verb air.
void require_air(const metrology::CalibrationAir& air) {
  const auto require = [](const char* option, const std::optional<double>& value, double lowest,
                          double highest) {
    if (!value || (*value >= lowest && *value <= highest)) return;
    throw base::BadInput(option, fmt::format("is {}", *value),
                         fmt::format("from {} to {}", lowest, highest));
  };
  require("--temperature-C", air.temperature_C, -60.0, 80.0);
  require("--pressure-hPa", air.pressure_hPa, 300.0, 1200.0);
  require("--humidity-pct", air.humidity_pct, 0.0, 100.0);
}

void require_model(const CalibrateOptions& options) {
  if (options.model.empty()) {
    throw base::BadInput("--model", "is missing", metrology::model_names());
  }
  if (options.model != automatic) metrology::law_of_model(options.model, "--model");
  if (!options.covariance.empty() && options.model == automatic) {
    throw base::BadInput("--covariance", "goes with a model of a known degree",
                         "polynomial:N instead of polynomial:auto");
  }
}

}  // namespace

void require_not_negative(double value, const std::string& option) {
  if (std::isfinite(value) && value >= 0.0) return;
  throw base::BadInput(option, fmt::format("is {}", value), "a finite number, 0 or more");
}

void write_output(const std::string& option, const std::string& file, const std::string& text) {
  try {
    base::write_whole(file, text);
  } catch (const std::filesystem::filesystem_error& error) {
    throw base::BadInput(option,
                         fmt::format("{} cannot be written ({})", file, error.code().message()),
                         "a file in a folder that exists and that you may write to");
  }
}

int calibrate_readings(const CalibrateOptions& options) {
  require_model(options);
  require_not_negative(options.standard.u, "--u-standard");
  require_not_negative(options.u_standard_pct, "--u-standard-pct");
  require_not_negative(options.u_drift, "--u-drift");
  require_air(options.air);
  metrology::ReadingsFile readings = metrology::readings_from_file(options.file);
  if (!options.covariance.empty()) {
    readings.readings.covariance =
        metrology::covariance_from_file(options.covariance, readings.readings.reading.size());
  }
  const metrology::Certificate certificate =
      metrology::calibrate(description(options, readings), readings.readings, readings.where);
  const metrology::Diagnostics diagnostics = metrology::diagnose(certificate, readings);
  const History past = history(options, certificate, readings);
  json::value whole = document(certificate, diagnostics, options, readings);
  add_history(whole.as_object(), past);
  const std::string text = base::json_text(whole);
  if (!options.plot.empty()) {
    write_output("--plot", options.plot,
                 report::residual_chart(certificate, readings, diagnostics));
  }
  if (!options.out.empty()) write_output("--out", options.out, text);
  if (options.json) {
    fmt::print("{}", text);
    return done;
  }
  print_certificate(certificate, diagnostics);
  print_history(past, certificate);
  for (const std::string& warning : diagnostics.warnings)
    fmt::print("warning: {}\n", warning);
  return done;
}

}  // namespace windwright::cli
