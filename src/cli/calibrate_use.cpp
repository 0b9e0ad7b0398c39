// SPDX-License-Identifier: Apache-2.0
#include "base/clock.h"
#include "base/errors.h"
#include "base/json.h"
#include "base/text.h"
#include "base/units.h"
#include "cli/calibrate_jobs.h"
#include "cli/verbs.h"
#include "metrology/certificate.h"
#include "metrology/control_chart.h"
#include "metrology/curve_use.h"
#include "metrology/law.h"
#include "metrology/quantity.h"
#include "metrology/reference_functions.h"
#include "report/calibration_charts.h"

#include <boost/json.hpp>
#include <fmt/format.h>

#include <chrono>
#include <cmath>
#include <cstddef>
#include <numeric>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::cli {

namespace json = boost::json;

namespace {

metrology::Certificate certificate_in_use(const CalibrateOptions& options) {
  if (!options.certificate.empty()) return metrology::certificate_from_file(options.certificate);
  return metrology::nominal_certificate({.model = options.model,
                                         .coefficients = options.coefficients,
                                         .density_kg_m3 = options.density_kg_m3,
                                         .factor = options.tube_factor,
                                         .contraction = options.contraction},
                                        "--model");
}

json::object with_interval(const metrology::Estimate& estimate, const std::string& unit) {
  json::object result = metrology::quantity(estimate, unit).as_object();
  const double expanded = estimate.expanded();
  result["expanded_95"] = expanded;
  result["interval_95"] = json::array{estimate.value() - expanded, estimate.value() + expanded};
  return result;
}

json::array contributions(const metrology::Estimate& estimate) {
  json::array result;
  for (const auto& [input, contribution] : estimate.contributions()) {
    result.push_back(json::object{{"input", input}, {"u", contribution.u}});
  }
  return result;
}

// The readings as against a junction at 0 degC; the class of a platinum thermometer as a limit.
void take_nominal(const CalibrateOptions& options, const metrology::Certificate& certificate,
                  std::vector<double>& readings, metrology::Certificate& with_tolerance) {
  if (options.cold_junction_C != 0.0) {
    if (!certificate.model.starts_with("thermocouple:")) {
      throw base::BadInput("--cold-junction-C",
                           fmt::format("goes with a thermocouple, not with {}", certificate.model),
                           "thermocouple:TYPE");
    }
    const double cold = metrology::reading_of(certificate, options.cold_junction_C);
    for (double& reading : readings)
      reading += cold;
  }
  if (options.tolerance_class.empty()) return;
  const double mean =
      std::accumulate(readings.begin(), readings.end(), 0.0) / static_cast<double>(readings.size());
  const double limit = metrology::platinum_tolerance_K(options.tolerance_class,
                                                       metrology::value_of(certificate, mean));
  if (!certificate.model.starts_with("pt100") || std::isnan(limit)) {
    throw base::BadInput("--tolerance-class", fmt::format("'{}'", options.tolerance_class),
                         "AA, A, B or C, with --model pt100");
  }
  with_tolerance.u_drift = limit / std::sqrt(3.0);  // rectangular, JCGM 100:2008 4.3.7
}

// Where the scatter of the reading comes from, for JSON.
std::string_view name_of(metrology::Scatter scatter) {
  switch (scatter) {
    case metrology::Scatter::given:
      return "--u-reading";
    case metrology::Scatter::of_calibration:
      return "u_reading of the calibration";
    case metrology::Scatter::of_residuals:
      return "residuals of the calibration";
    case metrology::Scatter::of_readings:
      return "these readings";
    case metrology::Scatter::nowhere:
      break;
  }
  return "not in the uncertainty";
}

void print_scatter(const metrology::Certificate& certificate, double reading,
                   metrology::Scatter scatter) {
  if (scatter == metrology::Scatter::of_calibration) {
    fmt::print(
        "the reading is taken to scatter by {:.2g}{}, as stated at the calibration: "
        "--u-reading if it does not\n",
        metrology::stated_u_reading(certificate, reading),
        base::spoken_unit(certificate.reading_unit));
  } else if (scatter == metrology::Scatter::nowhere) {
    fmt::print(
        "warning: the reading's own scatter is not in this uncertainty, as nothing states "
        "it: give --u-reading, or several readings\n");
  }
}

int show_value(const CalibrateOptions& options, metrology::Certificate certificate) {
  std::vector<double> readings = options.readings;
  for (const double reading : readings) {
    if (!std::isfinite(reading))
      throw base::BadInput("--reading", "is missing or not finite", "--reading X");
  }
  take_nominal(options, certificate, readings, certificate);
  const metrology::Estimate value =
      metrology::value_of_readings(certificate, readings, options.u_reading, "--u-reading");
  const metrology::Scatter scatter =
      metrology::scatter_source(certificate, readings, options.u_reading);
  bool covered = true;
  for (const double reading : readings)
    covered &= metrology::covers(certificate, reading);
  const std::string& unit = certificate.reference_unit;
  if (options.json) {
    json::object result = with_interval(value, unit);
    result["covered"] = covered;
    result["contributions"] = contributions(value);
    result["reading_scatter"] = name_of(scatter);
    if (options.certificate.empty()) result["nominal"] = true;
    fmt::print("{}", base::json_text(result));
    return done;
  }
  fmt::print("{:.6g}{}, standard uncertainty {:.2g}, expanded (95 %) {:.2g}\n", value.value(),
             base::spoken_unit(unit), value.u(), value.expanded());
  print_scatter(certificate, readings.front(), scatter);
  if (options.certificate.empty()) {
    fmt::print("nominal curve, {}: what this sensor deviates from it is {}\n", options.model,
               options.tolerance_class.empty() ? "not in the uncertainty" : "taken from its class");
  }
  if (!covered) {
    fmt::print("warning: reading {:.6g}{} is outside the calibrated {:.6g} to {:.6g}\n",
               readings.front(), base::spoken_unit(certificate.reading_unit),
               certificate.reading_range[0], certificate.reading_range[1]);
  }
  return done;
}

int show_reading(const CalibrateOptions& options, const metrology::Certificate& certificate) {
  const double reference = *options.reference;
  if (!std::isfinite(reference))
    throw base::BadInput("--reference", fmt::format("is {}", reference), "a finite number");
  const metrology::ExpectedReading expected =
      metrology::expected_reading(certificate, reference, options.u_reference, "--u-reference");
  const bool covered =
      reference >= certificate.reference_range[0] && reference <= certificate.reference_range[1];
  const std::string& unit = certificate.reading_unit;
  if (options.json) {
    fmt::print("{}", base::json_text(json::object{{"mean", with_interval(expected.mean, unit)},
                                                  {"single", with_interval(expected.single, unit)},
                                                  {"covered", covered}}));
    return done;
  }
  fmt::print("reading {:.6g}{}: mean known to {:.2g} (95 %), a single one expected within {:.2g}\n",
             expected.mean.value(), base::spoken_unit(unit), expected.mean.expanded(),
             expected.single.expanded());
  if (!covered) {
    fmt::print("warning: {:.6g}{} is outside the calibrated {:.6g} to {:.6g}\n", reference,
               base::spoken_unit(certificate.reference_unit), certificate.reference_range[0],
               certificate.reference_range[1]);
  }
  return done;
}

metrology::FieldPoint field_point(const std::string& text, double u) {
  const auto equals = text.find('=');
  const auto reading = base::number_from_text(text.substr(0, equals));
  const auto reference =
      equals == std::string::npos ? std::nullopt : base::number_from_text(text.substr(equals + 1));
  if (!reading || !reference) {
    throw base::BadInput("--field-point",
                         fmt::format("'{}' is not a reading and its reference", text),
                         "READING=REFERENCE, for example 0.512=0");
  }
  return {.reading = *reading, .reference = *reference, .u = u};
}

// Raw reading and values side by side, before and after.
void print_adjustment(const metrology::Certificate& before, const metrology::Certificate& after) {
  const auto [gain, offset] = metrology::field_gain(after);
  fmt::print("{}: gain {:.6g}, offset {:.4g}{}\n", after.channel, gain, offset,
             base::spoken_unit(after.reference_unit));
  fmt::print("  {:>16} {:>16} {:>16} {:>16}\n", base::with_unit("reading", after.reading_unit),
             base::with_unit("before", after.reference_unit),
             base::with_unit("after", after.reference_unit), "reference");
  for (const metrology::FieldPoint& point : after.adjustment->points) {
    fmt::print("  {:>16.6g} {:>16.6g} {:>16.6g} {:>16.6g}\n", point.reading,
               metrology::value_of(before, point.reading),
               metrology::value_of(after, point.reading), point.reference);
  }
}

int adjust(const CalibrateOptions& options, metrology::Certificate certificate) {
  if (options.certificate.empty() || options.field_points.size() != 2) {
    throw base::BadInput("--field-point", "wants a certificate and two points",
                         "--certificate CERT.json --field-point READING=REFERENCE twice");
  }
  require_not_negative(options.u_field, "--u-field");
  const metrology::Certificate before = certificate;
  certificate.adjustment = metrology::FieldAdjustment{
      .points = {field_point(options.field_points[0], options.u_field),
                 field_point(options.field_points[1], options.u_field)},
      .date = options.date.empty() ? std::chrono::floor<std::chrono::seconds>(base::host_now())
                                   : base::utc_from_text(options.date, "--date")};
  metrology::require_adjustment(certificate, "--field-point");
  for (metrology::FieldPoint& point : certificate.adjustment->points)
    point.as_found = metrology::value_of(before, point.reading);
  const std::string text = base::json_text(metrology::to_json(certificate));
  if (!options.out.empty()) write_output("--out", options.out, text);
  if (options.json) {
    fmt::print("{}", text);
  } else {
    print_adjustment(before, certificate);
  }
  return done;
}

}  // namespace

int use_certificate(const CalibrateOptions& options) {
  const metrology::Certificate certificate = certificate_in_use(options);
  if (!options.field_points.empty()) return adjust(options, certificate);
  if (options.reference) return show_reading(options, certificate);
  if (options.readings.empty())
    throw base::BadInput("--reading", "is missing or not finite", "--reading X");
  return show_value(options, certificate);
}

int chart_checks(const CalibrateOptions& options) {
  const metrology::CheckMeasurements measurements =
      metrology::check_measurements_from_file(options.control_chart);
  const metrology::ControlChart chart = metrology::control_chart(measurements,
                                                                 {.baseline = options.baseline,
                                                                  .centre = options.centre,
                                                                  .spread = options.spread,
                                                                  .smoothing = options.smoothing},
                                                                 options.control_chart + ":1");
  if (!options.plot.empty())
    write_output("--plot", options.plot, report::control_chart_drawing(chart, measurements.unit));
  if (options.json) {
    fmt::print("{}", base::json_text(metrology::to_json(chart, measurements.unit)));
  } else {
    fmt::print("centre {:.6g}{}, spread {:.3g}, limits {:.6g} to {:.6g}, of the average +-{:.3g}\n",
               chart.centre, base::spoken_unit(measurements.unit), chart.spread, chart.lower,
               chart.upper, chart.average_limit);
    for (const metrology::ChartPoint& point : chart.points) {
      fmt::print("  {}  {:>12.6g}  average {:>12.6g}{}{}\n",
                 base::utc_text(point.date).substr(0, 10), point.value, point.average,
                 point.is_out ? "  out of its limits" : "",
                 point.average_is_out ? "  average out: a shift that lasts" : "");
    }
    for (const std::string& warning : chart.warnings)
      fmt::print("warning: {}\n", warning);
    fmt::print("newest point {}\n",
               chart.in_control
                   ? "in control"
                   : "out of control: do not use the sensor before the cause is found");
  }
  return chart.in_control ? done : negative_verdict;
}

}  // namespace windwright::cli
