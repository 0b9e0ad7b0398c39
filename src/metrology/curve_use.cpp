// SPDX-License-Identifier: Apache-2.0
#include "metrology/curve_use.h"

#include "base/errors.h"
#include "metrology/curve.h"
#include "metrology/law.h"
#include "metrology/reference_functions.h"

#include <fmt/format.h>

#include <cmath>
#include <cstddef>
#include <limits>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::metrology {

namespace {

constexpr double known = std::numeric_limits<double>::infinity();

void require_u(double u, std::string_view where) {
  if (std::isfinite(u) && u >= 0.0) return;
  throw base::BadInput(where, fmt::format("a standard uncertainty of {}", u),
                       "a finite number, 0 or more");
}

struct Sample {
  double mean = 0.0;
  double variance = 0.0;  // of one
  double dof = 0.0;
};
Sample sample_of(const std::vector<double>& readings) {
  Sample sample;
  const auto size = static_cast<double>(readings.size());
  for (const double reading : readings)
    sample.mean += reading / size;
  for (const double reading : readings)
    sample.variance += std::pow(reading - sample.mean, 2) / std::max(1.0, size - 1.0);
  sample.dof = size - 1.0;
  return sample;
}

}  // namespace

Scatter scatter_source(const Certificate& certificate, const std::vector<double>& readings,
                       std::optional<double> u_reading) {
  if (u_reading) return Scatter::given;
  if (std::isnan(certificate.fit.chi_squared)) return Scatter::of_residuals;
  const Sample sample = sample_of(readings);
  const double stated = stated_u_reading(certificate, sample.mean);
  // A few readings may agree by chance, or because the display is coarse. Two scatter by more than
  // twice what is right in 5 of 100 cases.
  if (stated > 0.0 && sample.variance <= 4.0 * stated * stated) return Scatter::of_calibration;
  return sample.variance > 0.0 ? Scatter::of_readings : Scatter::nowhere;
}

namespace {

// What new readings bring: their own scatter, in the reading's unit, and the certificate with as
// much lack of fit as counts beside it.
struct NewReadings {
  Contribution scatter{.u = 0.0, .dof = known};
  Certificate curve;
};

// Scatter of a reading about the curve, as far as its own uncertainty does not explain it.
double residual_scatter(const Certificate& certificate, double reading) {
  const Curve curve(certificate);
  return std::abs(certificate.lack_of_fit * curve.value_per_residual(reading) /
                  curve.value_per_reading(reading));
}

NewReadings new_readings(const Certificate& certificate, const std::vector<double>& readings,
                         std::optional<double> u_reading) {
  const Sample sample = sample_of(readings);
  const auto size = static_cast<double>(readings.size());
  NewReadings result{.curve = certificate};
  Certificate& curve = result.curve;
  switch (scatter_source(certificate, readings, u_reading)) {
    case Scatter::given:
    case Scatter::of_calibration:
      result.scatter.u =
          u_reading.value_or(stated_u_reading(certificate, sample.mean) / std::sqrt(size));
      if (!std::isnan(curve.fit.chi_squared) && !lack_of_fit_is_significant(curve.fit))
        curve.lack_of_fit = 0.0;
      break;
    case Scatter::of_residuals:
      if (curve.adjustment) {
        // Its points take away what the curve does not follow there, not the scatter of a reading.
        // Nothing tells the one from the other: both count, and means lessen the scatter alone.
        result.scatter = {.u = residual_scatter(curve, sample.mean) / std::sqrt(size),
                          .dof = static_cast<double>(curve.fit.degrees_of_freedom)};
      } else {
        // The scatter of the calibration, shared by the coefficients: one estimate of variance.
        curve.lack_of_fit /= std::sqrt(size);
      }
      break;
    case Scatter::of_readings:
      result.scatter = {.u = std::sqrt(sample.variance / size), .dof = sample.dof};
      break;
    case Scatter::nowhere:
      break;
  }
  return result;
}

}  // namespace

Estimate value_of_readings(const Certificate& certificate, const std::vector<double>& readings,
                           std::optional<double> u_reading, std::string_view where) {
  if (u_reading) require_u(*u_reading, where);
  const double mean = sample_of(readings).mean;
  const auto [scatter, curve] = new_readings(certificate, readings, u_reading);
  Estimate value = estimate_of(curve, mean);
  const double slope = sensitivity(certificate, mean);
  if (scatter.u != 0.0)
    value.add(certificate.channel + ":reading#1", {slope * scatter.u, scatter.dof});
  return value;
}

ExpectedReading expected_reading(const Certificate& certificate, double reference,
                                 double u_reference, std::string_view where) {
  require_u(u_reference, where);
  const double reading = reading_of(certificate, reference);
  const double per_value = 1.0 / sensitivity(certificate, reading);
  const auto [scatter, curve] = new_readings(certificate, {reading}, std::nullopt);
  // Of the value at that reading, carried over to the reading itself.
  const Estimate value = estimate_of(curve, reading);
  Estimate mean(reading);
  Estimate residual(0.0);
  for (const auto& [input, contribution] : value.contributions()) {
    Estimate& part = input.find(":residual-") != std::string::npos ? residual : mean;
    part.add(input, {-per_value * contribution.u, contribution.dof});
  }
  if (u_reference > 0.0)
    mean.add(certificate.channel + ":reference#1", {per_value * u_reference, known});
  Estimate single = mean + residual;
  if (scatter.u != 0.0) single.add(certificate.channel + ":reading#1", scatter);
  return {.mean = mean, .single = single};
}

namespace {

double pitot_gain(const NominalSensor& sensor) {
  const double tube = sensor.density_kg_m3 / (2.0 * sensor.factor * sensor.factor);
  return sensor.contraction > 0.0 ? tube * (1.0 - std::pow(sensor.contraction, -2)) : tube;
}

}  // namespace

Certificate nominal_certificate(const NominalSensor& sensor, std::string_view where) {
  Certificate certificate{.channel = "nominal",
                          .model = std::string(sensor.model),
                          .fit = {},
                          .reference_range = {},
                          .reading_range = {},
                          .reference_unit = "degC",
                          .reading_unit = "ohm",
                          .date = {},
                          .valid_until = {},
                          .standard = {},
                          .u_drift = 0.0,
                          .environment = {}};
  const auto set_range = [&certificate](double low, double high) {
    certificate.reference_range[0] = low;
    certificate.reference_range[1] = high;
  };
  if (sensor.model == "pt100" || sensor.model == "pt100:4") {
    certificate.model = "pt100:4";
    certificate.fit.coefficients = {100.0, platinum_a, platinum_b, platinum_c};
    set_range(-200.0, 850.0);
  } else if (sensor.model.starts_with("thermocouple:")) {
    law_of_model(sensor.model, where);
    const char type = sensor.model.back();
    certificate.fit.coefficients = {0.0, 1.0};
    certificate.reading_unit = "mV";
    constexpr double rises_from_of_b_C = 50.0;  // below, one emf belongs to two temperatures
    const TemperatureRange range = thermocouple_range(type);
    set_range(type == 'B' ? rises_from_of_b_C : range.lowest_C, range.highest_C);
  } else if (sensor.model == "ntc" && sensor.coefficients.size() == 3) {
    certificate.fit.coefficients = sensor.coefficients;
    certificate.reading_range[0] = 10.0;
    certificate.reading_range[1] = 1e7;
  } else if ((sensor.model == "pitot" || sensor.model.starts_with("pitot:")) &&
             sensor.density_kg_m3 > 0.0 && sensor.factor > 0.0) {
    law_of_model(sensor.model, where);
    certificate.fit.coefficients = {0.0, pitot_gain(sensor)};
    certificate.reference_unit = "m s-1";
    certificate.reading_unit = "Pa";
    constexpr double slow = 1e-3;
    constexpr double fast = 300.0;
    set_range(slow, fast);
  } else {
    throw base::BadInput(where, fmt::format("'{}' has no curve without readings", sensor.model),
                         "pt100, thermocouple:TYPE, ntc with --coefficients A,B,C or pitot with "
                         "--density, or a file of readings");
  }
  const std::size_t size = certificate.fit.coefficients.size();
  certificate.fit.standard_uncertainties.assign(size, 0.0);
  certificate.fit.covariance.assign(size * size, 0.0);
  certificate.fit.r_squared = 1.0;
  const Curve curve(certificate);
  if (curve.is_backward()) {
    set_range(curve.value(certificate.reading_range[1]), curve.value(certificate.reading_range[0]));
  } else {
    certificate.reading_range[0] = curve.reading(certificate.reference_range[0]);
    certificate.reading_range[1] = curve.reading(certificate.reference_range[1]);
  }
  return certificate;
}

}  // namespace windwright::metrology
