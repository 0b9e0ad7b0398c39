// SPDX-License-Identifier: Apache-2.0
#include "base/errors.h"
#include "base/files.h"
#include "base/json.h"
#include "metrology/certificate.h"
#include "metrology/units.h"

#include <boost/json.hpp>
#include <fmt/format.h>

#include <cmath>
#include <cstddef>
#include <filesystem>
#include <limits>
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

json::object fit_json(const Fit& fit) {
  const std::size_t size = fit.coefficients.size();
  json::array covariance;
  for (std::size_t row = 0; row < size; ++row) {
    covariance.emplace_back(numbers(std::span(fit.covariance).subspan(row * size, size)));
  }
  return {{"coefficients", numbers(fit.coefficients)},
          {"standard_uncertainties", numbers(fit.standard_uncertainties)},
          {"covariance", covariance},
          {"residual_standard_deviation", fit.residual_standard_deviation},
          {"degrees_of_freedom", fit.degrees_of_freedom},
          {"chi_squared", fit.chi_squared},
          {"r_squared", fit.r_squared}};
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

  int count(std::string_view key) const {
    const double value = number(key);
    constexpr double most = 1e9;
    if (value < 1.0 || value > most || value != std::floor(value)) {
      throw base::BadInput(place(key), fmt::format("{}", value), "a whole number, 1 or more");
    }
    return static_cast<int>(value);
  }

  bool is_null(std::string_view key) const { return member(key).is_null(); }

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

Fit fit_from(const Object& object, std::size_t size) {
  Fit fit{.coefficients = object.row("coefficients", size),
          .standard_uncertainties = object.row("standard_uncertainties", size),
          .covariance = object.matrix("covariance", size),
          .residual_standard_deviation = object.not_negative("residual_standard_deviation"),
          .degrees_of_freedom = object.count("degrees_of_freedom"),
          .chi_squared = object.is_null("chi_squared") ? std::numeric_limits<double>::quiet_NaN()
                                                       : object.not_negative("chi_squared"),
          .r_squared = object.number("r_squared")};
  constexpr double rounding = 1e-9;
  for (std::size_t i = 0; i < size; ++i) {
    for (std::size_t j = 0; j <= i; ++j) {
      const double a = fit.covariance[i * size + j];
      const double b = fit.covariance[j * size + i];
      const double bound = std::sqrt(fit.covariance[i * size + i] * fit.covariance[j * size + j]);
      if (std::abs(a - b) <= rounding * bound && std::abs(a) <= (1.0 + rounding) * bound) continue;
      throw base::BadInput(object.place("covariance"), "is not a covariance matrix",
                           "symmetric, with variances on its diagonal");
    }
  }
  return fit;
}

void read_range(const Object& object, std::string_view key, double (&range)[2]) {
  const std::vector<double> ends = object.row(key, 2);
  if (!(ends[0] < ends[1])) {
    throw base::BadInput(object.place(key), "does not rise", "[lowest, highest]");
  }
  range[0] = ends[0];
  range[1] = ends[1];
}

}  // namespace

json::value to_json(const Certificate& certificate) {
  const LargestUncertainty largest = largest_uncertainty(certificate);
  return json::object{
      {"schema", 1},
      {"channel", certificate.channel},
      {"model", certificate.model},
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
      {"expanded_uncertainty",
       {{"value", largest.expanded}, {"coverage_factor", 2}, {"at_reference", largest.reference}}},
      {"date", base::utc_text(certificate.date)},
      {"valid_until", base::utc_text(certificate.valid_until)},
      {"environment", certificate.environment}};
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
  const auto size = static_cast<std::size_t>(degree_of_model(model, object.place("model"))) + 1;
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
  return certificate;
}

}  // namespace windwright::metrology
