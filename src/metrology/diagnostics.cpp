// SPDX-License-Identifier: Apache-2.0
#include "metrology/diagnostics.h"

#include "base/units.h"
#include "metrology/curve.h"
#include "metrology/law.h"
#include "metrology/student.h"
#include "metrology/two_samples.h"

#include <boost/json.hpp>
#include <boost/math/distributions/fisher_f.hpp>
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <iterator>
#include <map>
#include <optional>
#include <string>
#include <vector>

namespace windwright::metrology {

namespace json = boost::json;

namespace {

constexpr double level = 0.95;

std::vector<ResidualPoint> residuals(const Certificate& certificate, const Readings& readings) {
  const Curve curve(certificate);
  const double scatter = certificate.fit.residual_standard_deviation;
  std::vector<ResidualPoint> points;
  for (std::size_t i = 0; i < readings.reading.size(); ++i) {
    const double reference = readings.reference[i];
    const double reading = readings.reading[i];
    const double value = curve.value(reading);
    const double residual =
        curve.is_backward() ? reference - value : reading - curve.reading(reference);
    const double slope = curve.slope(curve.is_backward() ? reading : reference);
    const double u_x = readings.u_reference.empty() ? 0.0 : readings.u_reference[i];
    const double u_y = readings.u_reading.empty() ? 0.0 : readings.u_reading[i];
    const double stated =
        curve.is_backward() ? std::hypot(u_x, slope * u_y) : std::hypot(u_y, slope * u_x);
    const double by = stated > 0.0 ? stated : scatter;
    points.push_back({.reference = reference,
                      .reading = reading,
                      .residual = residual,
                      .standardised = by > 0.0 ? residual / by : 0.0,
                      .error = value - reference});
  }
  return points;
}

struct Group {
  double weight = 0.0;
  double weighted_sum = 0.0;
  double sum = 0.0;
  int count = 0;
};

// Readings by their reference.
std::map<double, Group> groups(const Readings& readings) {
  std::map<double, Group> result;
  for (std::size_t i = 0; i < readings.reading.size(); ++i) {
    Group& group = result[readings.reference[i]];
    const double weight = readings.u_reading.empty() ? 1.0 : std::pow(readings.u_reading[i], -2.0);
    group.weight += weight;
    group.weighted_sum += weight * readings.reading[i];
    group.sum += readings.reading[i];
    ++group.count;
  }
  return result;
}

std::optional<Repeatability> repeatability(const Readings& readings) {
  const auto by_reference = groups(readings);
  double squares = 0.0;
  for (std::size_t i = 0; i < readings.reading.size(); ++i) {
    const Group& group = by_reference.at(readings.reference[i]);
    squares += std::pow(readings.reading[i] - group.sum / group.count, 2);
  }
  const auto dof = static_cast<int>(readings.reading.size() - by_reference.size());
  if (dof == 0) return std::nullopt;
  return Repeatability{.standard_deviation = std::sqrt(squares / dof), .degrees_of_freedom = dof};
}

LackOfFitTest by_stated(const Fit& fit) {
  const double critical = chi_squared_quantile(level, fit.degrees_of_freedom);
  return {.by = "stated uncertainties",
          .statistic = fit.chi_squared,
          .dof = fit.degrees_of_freedom,
          .dof_of_scatter = 0,
          .critical = critical,
          .is_significant = fit.chi_squared > critical};
}

std::optional<LackOfFitTest> lack_of_fit(const Certificate& certificate, const Readings& readings,
                                         const std::vector<ResidualPoint>& points) {
  const Fit& fit = certificate.fit;
  if (!std::isnan(fit.chi_squared)) {
    if (fit.degrees_of_freedom == 0) return std::nullopt;
    return by_stated(fit);
  }
  const auto by_reference = groups(readings);
  const auto distinct = static_cast<int>(by_reference.size());
  const int between = distinct - static_cast<int>(fit.coefficients.size());
  const auto within = static_cast<int>(readings.reading.size()) - distinct;
  if (between < 1 || within < 1 || Curve(certificate).is_backward()) return std::nullopt;
  double whole = 0.0;
  double pure = 0.0;
  for (std::size_t i = 0; i < points.size(); ++i) {
    const Group& group = by_reference.at(readings.reference[i]);
    whole += std::pow(points[i].residual, 2);
    pure += std::pow(readings.reading[i] - group.sum / group.count, 2);
  }
  if (!(pure > 0.0)) return std::nullopt;
  const double statistic = std::max(0.0, whole - pure) / between / (pure / within);
  const double critical = boost::math::quantile(boost::math::fisher_f(between, within), level);
  return LackOfFitTest{.by = "repeats",
                       .statistic = statistic,
                       .dof = between,
                       .dof_of_scatter = within,
                       .critical = critical,
                       .is_significant = statistic > critical};
}

// Whether what is left of the falling readings differs from what is left of the rising ones.
void test_hysteresis(const ReadingsFile& file, const std::vector<ResidualPoint>& points,
                     Hysteresis& loop) {
  std::vector<double> rising;
  std::vector<double> falling;
  double largest = 0.0;
  for (std::size_t i = 0; i < points.size(); ++i) {
    (file.direction[i] == Direction::up ? rising : falling).push_back(points[i].residual);
    largest = std::max({largest, std::abs(points[i].reading), std::abs(points[i].reference)});
  }
  const TwoSampleTest test = welch_test(falling, rising);
  loop.p = test.p;
  constexpr double rounding = 1e-13;  // a loop of the last digit is none
  loop.is_significant = loop.p < 1.0 - level && std::abs(test.difference) > rounding * largest;
}

// By residuals, so that rising and falling readings need not stand at the same references: each
// reference come to from above with the nearest one come to from below.
std::optional<Hysteresis> hysteresis(const Certificate& certificate, const ReadingsFile& file,
                                     const std::vector<ResidualPoint>& points) {
  if (file.direction.empty()) return std::nullopt;
  std::map<double, Group> up;
  std::map<double, Group> down;
  for (std::size_t i = 0; i < file.direction.size(); ++i) {
    Group& group = (file.direction[i] == Direction::up ? up : down)[file.readings.reference[i]];
    group.sum += points[i].residual;
    ++group.count;
  }
  if (up.empty() || down.empty()) return std::nullopt;
  const bool backward = Curve(certificate).is_backward();
  const double range = certificate.reading_range[1] - certificate.reading_range[0];
  std::optional<Hysteresis> result;
  for (const auto& [reference, falling] : down) {
    auto nearest = up.lower_bound(reference);
    if (nearest == up.end() || (nearest != up.begin() &&
                                reference - std::prev(nearest)->first < nearest->first - reference))
      --nearest;
    const Group& rising = nearest->second;
    const double left = falling.sum / falling.count - rising.sum / rising.count;
    // A backward law's residual is the reference less the value.
    const double per_reading = sensitivity(certificate, reading_of(certificate, reference));
    const double in_reference = backward ? -left : left * per_reading;
    const double in_reading = backward ? -left / per_reading : left;
    if (result && std::abs(in_reading) <= std::abs(result->largest)) continue;
    result = {.largest = in_reading,
              .at_reference = reference,
              .in_reference = in_reference,
              .of_range_pct = 100.0 * std::abs(in_reading) / range,
              .p = 1.0,
              .is_significant = false};
  }
  test_hysteresis(file, points, *result);
  return result;
}

// What only some models can tell.
void warn_of_model(const Certificate& certificate, std::vector<std::string>& warnings) {
  const Fit& fit = certificate.fit;
  constexpr double least_correlation = 0.99995;
  if (certificate.model == "cup" && std::sqrt(std::max(0.0, fit.r_squared)) < least_correlation) {
    warnings.push_back(fmt::format(
        "the correlation coefficient is {:.6f}, below the 0.99995 that IEC 61400-12-1 asks of a "
        "cup anemometer's calibration",
        std::sqrt(std::max(0.0, fit.r_squared))));
  }
  const auto one_turn = speed_of_one_turn_a_second(certificate.reference_unit);
  if (certificate.model == "tachometer" && one_turn) {
    const double pulses = *one_turn * fit.coefficients[0];
    constexpr double whole = 0.01;
    if (std::abs(pulses - std::round(pulses)) > whole) {
      warnings.push_back(fmt::format(
          "{:.4f} pulses a turn is no whole number: pulses are lost or counted twice, or the "
          "reference slips",
          pulses));
    }
  }
}

void warn_of_scale(const Certificate& certificate, std::vector<std::string>& warnings) {
  const double low = certificate.reference_range[0];
  const double high = certificate.reference_range[1];
  const double largest = std::max(std::abs(low), std::abs(high));
  constexpr double narrow = 1e-3;
  if (high - low < narrow * largest) {
    warnings.push_back(fmt::format(
        "the references span only {:.2g} of their size: slope and offset hold each other up, and "
        "outside the range the curve says nothing",
        (high - low) / largest));
  }
  if (largest_uncertainty(certificate).expanded > high - low) {
    warnings.emplace_back(
        "the expanded uncertainty is wider than the calibrated range: the readings do not tell one "
        "value from another");
  }
  const std::vector<double>& u = certificate.fit.standard_uncertainties;
  const std::size_t last = u.size() - 1;
  if (std::abs(certificate.fit.coefficients[last]) < 2.0 * u[last] && u.size() > 2 &&
      certificate.model.starts_with("polynomial")) {
    warnings.push_back(
        fmt::format("the highest coefficient is not told from 0 by the readings: a lower degree "
                    "than {} may do",
                    last));
  }
}

// Readings that were computed, or shown with too few digits, tell nothing about the sensor.
void warn_of_rounding(const Certificate& certificate, const Diagnostics& diagnostics,
                      std::vector<std::string>& warnings) {
  const bool backward = Curve(certificate).is_backward();
  double largest = 0.0;
  for (const ResidualPoint& point : diagnostics.residuals)
    largest = std::max(largest, std::abs(backward ? point.reference : point.reading));
  constexpr double rounding = 1e-13;
  if (certificate.fit.degrees_of_freedom == 0 ||
      certificate.fit.residual_standard_deviation > rounding * largest)
    return;
  warnings.push_back(fmt::format(
      "the readings lie on the {} to the last digit: they were computed, or shown with too few "
      "digits to scatter, and {}",
      certificate.model,
      std::isnan(certificate.fit.chi_squared) ? "the uncertainty from their scatter means nothing"
                                              : "only the stated uncertainties count"));
}

std::vector<std::string> warnings_of(const Certificate& certificate,
                                     const Diagnostics& diagnostics) {
  std::vector<std::string> warnings;
  const Fit& fit = certificate.fit;
  if (diagnostics.lack_of_fit && diagnostics.lack_of_fit->is_significant) {
    const LackOfFitTest& test = *diagnostics.lack_of_fit;
    warnings.push_back(
        test.dof_of_scatter > 0
            ? fmt::format("the {} misses the readings by more than their repeats scatter (F {:.1f} "
                          "above {:.1f}): try another model",
                          certificate.model, test.statistic, test.critical)
            : fmt::format("the {} misses the readings by more than their stated uncertainties "
                          "explain (chi-squared {:.1f} for {} degrees of freedom): try a higher "
                          "degree, or look for what moved during the calibration",
                          certificate.model, test.statistic, test.dof));
  }
  if (diagnostics.hysteresis && diagnostics.hysteresis->is_significant) {
    warnings.push_back(fmt::format(
        "falling readings differ from rising ones by up to {:.2g}{} (Welch's test, p {:.2g}): the "
        "sensor remembers where it comes from",
        diagnostics.hysteresis->in_reference, base::spoken_unit(certificate.reference_unit),
        diagnostics.hysteresis->p));
  }
  if (fit.chi_squared < chi_squared_quantile(0.025, fit.degrees_of_freedom)) {
    warnings.push_back(fmt::format(
        "the readings lie closer to the {} than their stated uncertainties let expect (chi-squared "
        "{:.2g} for {} degrees of freedom): they may be stated too large",
        certificate.model, fit.chi_squared, fit.degrees_of_freedom));
  }
  if (fit.degrees_of_freedom == 0) {
    warnings.emplace_back(
        "as many readings as coefficients: the curve passes through all of them, and nothing tells "
        "whether it is the right one");
  }
  warn_of_model(certificate, warnings);
  warn_of_scale(certificate, warnings);
  warn_of_rounding(certificate, diagnostics, warnings);
  return warnings;
}

json::value residuals_json(const std::vector<ResidualPoint>& points) {
  json::array result;
  for (const ResidualPoint& point : points) {
    result.push_back(json::object{{"reference", point.reference},
                                  {"reading", point.reading},
                                  {"residual", point.residual},
                                  {"standardised", point.standardised},
                                  {"error", point.error}});
  }
  return result;
}

}  // namespace

Diagnostics diagnose(const Certificate& certificate, const ReadingsFile& file) {
  Diagnostics result{.residuals = residuals(certificate, file.readings),
                     .repeatability = repeatability(file.readings),
                     .lack_of_fit = std::nullopt,
                     .hysteresis = std::nullopt,
                     .warnings = {}};
  result.hysteresis = hysteresis(certificate, file, result.residuals);
  result.lack_of_fit = lack_of_fit(certificate, file.readings, result.residuals);
  result.warnings = warnings_of(certificate, result);
  return result;
}

json::value to_json(const Diagnostics& diagnostics) {
  json::object result{
      {"residuals", residuals_json(diagnostics.residuals)},
      {"repeatability", nullptr},
      {"lack_of_fit_test", nullptr},
      {"hysteresis", nullptr},
      {"warnings", json::array(diagnostics.warnings.begin(), diagnostics.warnings.end())}};
  if (const auto& scatter = diagnostics.repeatability) {
    result["repeatability"] = {{"standard_deviation", scatter->standard_deviation},
                               {"degrees_of_freedom", scatter->degrees_of_freedom}};
  }
  if (const auto& test = diagnostics.lack_of_fit) {
    result["lack_of_fit_test"] = {{"by", test->by},
                                  {"statistic", test->statistic},
                                  {"dof", test->dof},
                                  {"dof_of_scatter", test->dof_of_scatter},
                                  {"critical_95", test->critical},
                                  {"is_significant", test->is_significant}};
  }
  if (const auto& loop = diagnostics.hysteresis) {
    result["hysteresis"] = {{"largest", loop->largest},
                            {"at_reference", loop->at_reference},
                            {"in_reference", loop->in_reference},
                            {"of_range_pct", loop->of_range_pct},
                            {"p", loop->p},
                            {"is_significant", loop->is_significant}};
  }
  return result;
}

}  // namespace windwright::metrology
