// SPDX-License-Identifier: Apache-2.0
#include "base/errors.h"
#include "base/files.h"
#include "base/json.h"
#include "metrology/certificate.h"
#include "metrology/law.h"
#include "metrology/units.h"

#include <boost/json.hpp>
#include <fmt/format.h>

#include <cmath>
#include <cstddef>
#include <filesystem>
#include <limits>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::metrology {

namespace json = boost::json;

namespace {

json::array numbers(std::span<const double> values) {
  json::array array;
  for (const double value : values)
    array.emplace_back(value);
  return array;
}

json::array rows(std::span<const double> matrix, std::size_t size) {
  json::array result;
  for (std::size_t row = 0; row < size; ++row)
    result.emplace_back(numbers(matrix.subspan(row * size, size)));
  return result;
}

json::object fit_json(const Fit& fit) {
  const std::size_t size = fit.coefficients.size();
  json::object result{{"coefficients", numbers(fit.coefficients)},
                      {"standard_uncertainties", numbers(fit.standard_uncertainties)},
                      {"covariance", rows(fit.covariance, size)},
                      {"residual_standard_deviation", fit.residual_standard_deviation},
                      {"degrees_of_freedom", fit.degrees_of_freedom},
                      {"chi_squared", fit.chi_squared},
                      {"r_squared", fit.r_squared}};
  if (fit.scaled) {
    result["scaled_powers"] = {{"middle", fit.scaled->middle},
                               {"half_width", fit.scaled->half_width},
                               {"coefficients", numbers(fit.scaled->coefficients)},
                               {"covariance", rows(fit.scaled->covariance, size)}};
  }
  return result;
}

// One JSON object of a certificate, with its place for messages.
class Object {
 public:
  Object(const json::value& value, std::string where) : value_(value), where_(std::move(where)) {}

  Object object(std::string_view key) const { return {member(key), place(key)}; }

  std::string text(std::string_view key) const { return base::json_string(value_, key, where_); }

  double number(std::string_view key) const {
    return finite(base::json_number(value_, key, where_), place(key));
  }

  double not_negative(std::string_view key) const {
    const double value = number(key);
    if (value < 0.0) throw base::BadInput(place(key), fmt::format("{}", value), "0 or more");
    return value;
  }

  int count(std::string_view key, int least) const {
    const double value = number(key);
    constexpr double most = 1e9;
    if (value < least || value > most || value != std::floor(value)) {
      throw base::BadInput(place(key), fmt::format("{}", value),
                           fmt::format("a whole number, {} or more", least));
    }
    return static_cast<int>(value);
  }

  bool is_null(std::string_view key) const { return member(key).is_null(); }

  // Members that earlier certificates do not have.
  bool has(std::string_view key) const {
    const json::object* object = value_.if_object();
    return object != nullptr && object->contains(key);
  }
  std::optional<double> number_if_any(std::string_view key) const {
    if (!has(key) || is_null(key)) return std::nullopt;
    return number(key);
  }
  std::vector<Object> objects(std::string_view key) const {
    const json::array* entries = member(key).if_array();
    if (entries == nullptr) throw base::BadInput(place(key), "is not an array", "[...]");
    std::vector<Object> result;
    for (const json::value& entry : *entries)
      result.emplace_back(entry, place(key));
    return result;
  }

  std::vector<double> row(std::string_view key, std::size_t size) const {
    return row(member(key), size, place(key));
  }

  std::vector<double> matrix(std::string_view key, std::size_t size) const {
    const json::array& rows = array(member(key), size, place(key));
    std::vector<double> values;
    for (const json::value& entry : rows) {
      for (const double value : row(entry, size, place(key)))
        values.push_back(value);
    }
    return values;
  }

  base::UtcTime time(std::string_view key) const {
    return base::utc_from_text(text(key), place(key));
  }

  std::string place(std::string_view key) const { return fmt::format("{}: {}", where_, key); }

 private:
  const json::value& member(std::string_view key) const {
    return base::json_member(value_, key, where_);
  }

  static double finite(double value, std::string_view where) {
    if (!std::isfinite(value)) throw base::BadInput(where, "is not finite", "a finite number");
    return value;
  }

  static const json::array& array(const json::value& value, std::size_t size,
                                  std::string_view where) {
    const json::array* entries = value.if_array();
    if (entries == nullptr || entries->size() != size) {
      throw base::BadInput(where, "is not an array of the right length",
                           fmt::format("{} entries", size));
    }
    return *entries;
  }

  static std::vector<double> row(const json::value& value, std::size_t size,
                                 std::string_view where) {
    std::vector<double> values;
    for (const json::value& entry : array(value, size, where)) {
      if (!entry.is_number()) throw base::BadInput(where, "holds another kind", "numbers");
      values.push_back(finite(entry.to_number<double>(), where));
    }
    return values;
  }

  const json::value& value_;
  std::string where_;
};

void require_covariance(const std::vector<double>& covariance, std::size_t size,
                        const std::string& where) {
  constexpr double rounding = 1e-9;
  for (std::size_t i = 0; i < size; ++i) {
    for (std::size_t j = 0; j <= i; ++j) {
      const double a = covariance[i * size + j];
      const double b = covariance[j * size + i];
      const double bound = std::sqrt(covariance[i * size + i] * covariance[j * size + j]);
      if (std::abs(a - b) <= rounding * bound && std::abs(a) <= (1.0 + rounding) * bound) continue;
      throw base::BadInput(where, "is not a covariance matrix",
                           "symmetric, with variances on its diagonal");
    }
  }
}

Fit fit_from(const Object& object, std::size_t size) {
  Fit fit{.coefficients = object.row("coefficients", size),
          .standard_uncertainties = object.row("standard_uncertainties", size),
          .covariance = object.matrix("covariance", size),
          .residual_standard_deviation = object.not_negative("residual_standard_deviation"),
          // As many readings as coefficients are enough where their uncertainties were stated.
          .degrees_of_freedom =
              object.count("degrees_of_freedom", object.is_null("chi_squared") ? 1 : 0),
          .chi_squared = object.is_null("chi_squared") ? std::numeric_limits<double>::quiet_NaN()
                                                       : object.not_negative("chi_squared"),
          .r_squared = object.number("r_squared")};
  require_covariance(fit.covariance, size, object.place("covariance"));
  if (!object.has("scaled_powers")) return fit;
  const Object scaled = object.object("scaled_powers");
  fit.scaled = ScaledPowers{.middle = scaled.number("middle"),
                            .half_width = scaled.not_negative("half_width"),
                            .coefficients = scaled.row("coefficients", size),
                            .covariance = scaled.matrix("covariance", size)};
  if (fit.scaled->half_width == 0.0)
    throw base::BadInput(scaled.place("half_width"), "0", "above 0");
  require_covariance(fit.scaled->covariance, size, scaled.place("covariance"));
  if (!agrees_with_scaled(fit)) {
    throw base::BadInput(object.place("scaled_powers"),
                         "is another curve than coefficients and covariance",
                         "the certificate as it was issued, nothing changed by hand");
  }
  return fit;
}

// Earlier certificates have powers of the reference alone: refused where their covariance cancels
// so far that the uncertainty would be off by more than 1 %.
void require_digits(const Certificate& certificate, std::string_view where) {
  const Fit& fit = certificate.fit;
  if (degree_of(certificate.model) <= 0 || fit.scaled) return;
  const std::size_t size = fit.coefficients.size();
  const auto& [low, high] = certificate.reference_range;
  for (const double x : {low, 0.5 * (low + high), high}) {
    double variance = 0.0;
    double terms = 0.0;
    for (std::size_t i = 0; i < size; ++i) {
      for (std::size_t j = 0; j < size; ++j) {
        const double term = fit.covariance[i * size + j] * std::pow(x, static_cast<double>(i + j));
        variance += term;
        terms += std::abs(term);
      }
    }
    constexpr double of_variance = 0.02;  // 1 % of its root
    if (std::numeric_limits<double>::epsilon() * terms <= of_variance * variance) continue;
    throw base::BadInput(where,
                         "the covariance in powers of the reference has lost its digits, so the "
                         "uncertainty would be wrong",
                         "a certificate with scaled_powers: calibrate the readings again");
  }
}

void read_range(const Object& object, std::string_view key, double (&range)[2]) {
  const std::vector<double> ends = object.row(key, 2);
  if (!(ends[0] < ends[1])) {
    throw base::BadInput(object.place(key), "does not rise", "[lowest, highest]");
  }
  range[0] = ends[0];
  range[1] = ends[1];
}

json::array chain_json(const Certificate& certificate) {
  json::array chain;
  for (const TraceabilityLink& link : certificate.traceability) {
    chain.push_back(json::object{{"standard", link.standard},
                                 {"certificate", link.certificate},
                                 {"date", link.date},
                                 {"valid_until", link.valid_until}});
  }
  return chain;
}

json::value adjustment_json(const Certificate& certificate) {
  if (!certificate.adjustment) return nullptr;
  const FieldGain gain = field_gain(certificate);
  json::array points;
  for (const FieldPoint& point : certificate.adjustment->points) {
    points.push_back(json::object{{"reading", point.reading},
                                  {"reference", point.reference},
                                  {"u", point.u},
                                  {"as_found", base::or_null(point.as_found)},
                                  {"as_left", base::or_null(point.as_left)}});
  }
  return json::object{{"date", base::utc_text(certificate.adjustment->date)},
                      {"points", points},
                      {"gain", gain.gain},
                      {"offset", gain.offset}};
}

FieldPoint field_point(const Object& object) {
  return {.reading = object.number("reading"),
          .reference = object.number("reference"),
          .u = object.not_negative("u"),
          .as_found = object.number_if_any("as_found"),
          .as_left = object.number_if_any("as_left")};
}

// What was added to the format later, each only where it is there.
void read_additions(const Object& object, Certificate& certificate) {
  if (object.has("air")) {
    const Object air = object.object("air");
    certificate.air = {.temperature_C = air.number_if_any("temperature_C"),
                       .pressure_hPa = air.number_if_any("pressure_hPa"),
                       .humidity_pct = air.number_if_any("humidity_pct")};
  }
  if (object.has("traceability")) {
    for (const Object& link : object.objects("traceability")) {
      certificate.traceability.push_back({.standard = link.text("standard"),
                                          .certificate = link.text("certificate"),
                                          .date = link.text("date"),
                                          .valid_until = link.text("valid_until")});
    }
  }
  if (object.has("u_reading")) {
    const std::vector<double> ends = object.row("u_reading", 2);
    for (std::size_t end = 0; end < 2; ++end) {
      if (ends[end] < 0.0) {
        throw base::BadInput(object.place("u_reading"), "is negative",
                             "[at the lowest, at the highest reading], each 0 or more");
      }
      certificate.u_reading[end] = ends[end];
    }
  }
  if (!object.has("field_adjustment") || object.is_null("field_adjustment")) return;
  const Object adjustment = object.object("field_adjustment");
  const std::vector<Object> points = adjustment.objects("points");
  if (points.size() != 2) {
    throw base::BadInput(object.place("field_adjustment"), "has another number of points",
                         "two points");
  }
  certificate.adjustment = FieldAdjustment{
      .points = {field_point(points[0]), field_point(points[1])}, .date = adjustment.time("date")};
  require_adjustment(certificate, object.place("field_adjustment"));
}

}  // namespace

json::value to_json(const Certificate& certificate) {
  const LargestUncertainty largest = largest_uncertainty(certificate);
  const auto law = law_of_model(certificate.model, "model");
  json::array names;
  for (const std::string& name : law->names())
    names.emplace_back(name);
  return json::object{
      {"schema", 1},
      {"channel", certificate.channel},
      {"model", certificate.model},
      {"fit_of", law->is_backward() ? "reference over reading" : "reading over reference"},
      {"coefficient_names", names},
      {"unit", {{"reference", certificate.reference_unit}, {"reading", certificate.reading_unit}}},
      {"range",
       {{"reference", numbers(certificate.reference_range)},
        {"reading", numbers(certificate.reading_range)}}},
      {"fit", fit_json(certificate.fit)},
      {"lack_of_fit_standard_deviation", certificate.lack_of_fit},
      {"lack_of_fit_is_significant", lack_of_fit_is_significant(certificate.fit)},
      {"reference_standard",
       {{"name", certificate.standard.name},
        {"u", certificate.standard.u},
        {"u_relative", certificate.standard.u_relative}}},
      {"u_drift", certificate.u_drift},
      {"u_reading", numbers(certificate.u_reading)},
      {"expanded_uncertainty",
       {{"value", largest.expanded},
        {"coverage_factor", largest.coverage_factor},
        {"at_reference", largest.reference}}},
      {"date", base::utc_text(certificate.date)},
      {"valid_until", base::utc_text(certificate.valid_until)},
      {"environment", certificate.environment},
      {"air",
       {{"temperature_C", base::or_null(certificate.air.temperature_C)},
        {"pressure_hPa", base::or_null(certificate.air.pressure_hPa)},
        {"humidity_pct", base::or_null(certificate.air.humidity_pct)}}},
      {"traceability", chain_json(certificate)},
      {"field_adjustment", adjustment_json(certificate)}};
}

Certificate certificate_from_file(const std::filesystem::path& file) {
  return certificate_from_text(base::text_of_file(file), file.string());
}

Certificate certificate_from_text(std::string_view text, std::string_view file) {
  const json::value document = base::json_from_text(text, file);
  const Object object(document, fmt::format("{}:1", file));
  if (object.number("schema") != 1.0) {
    throw base::BadInput(object.place("schema"), "is another version", "1");
  }
  const std::string model = object.text("model");
  const auto size = law_of_model(model, object.place("model"))->names().size();
  const Object unit = object.object("unit");
  const Object standard = object.object("reference_standard");
  Certificate certificate{.channel = object.text("channel"),
                          .model = model,
                          .fit = fit_from(object.object("fit"), size),
                          .lack_of_fit = object.not_negative("lack_of_fit_standard_deviation"),
                          .reference_range = {},
                          .reading_range = {},
                          .reference_unit = unit.text("reference"),
                          .reading_unit = unit.text("reading"),
                          .date = object.time("date"),
                          .valid_until = object.time("valid_until"),
                          .standard = {.name = standard.text("name"),
                                       .u = standard.not_negative("u"),
                                       .u_relative = standard.not_negative("u_relative")},
                          .u_drift = object.not_negative("u_drift"),
                          .environment = object.text("environment")};
  const Object range = object.object("range");
  read_range(range, "reference", certificate.reference_range);
  read_range(range, "reading", certificate.reading_range);
  require_unit_syntax(certificate.reference_unit, unit.place("reference"));
  require_unit_syntax(certificate.reading_unit, unit.place("reading"));
  if (certificate.valid_until < certificate.date) {
    throw base::BadInput(object.place("valid_until"), "is before the date", "a later day");
  }
  require_one_to_one(certificate, fmt::format("{}:1", file));
  require_digits(certificate, object.object("fit").place("covariance"));
  read_additions(object, certificate);
  return certificate;
}

}  // namespace windwright::metrology
