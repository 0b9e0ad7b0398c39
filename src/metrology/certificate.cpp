// SPDX-License-Identifier: Apache-2.0
#include "metrology/certificate.h"

#include "base/errors.h"
#include "metrology/correlated.h"
#include "metrology/curve.h"
#include "metrology/law.h"
#include "metrology/law_fit.h"
#include "metrology/student.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <numbers>
#include <numeric>
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::metrology {

namespace {

constexpr double known = std::numeric_limits<double>::infinity();
constexpr double level = 0.95;

void add_if_any(Estimate& estimate, const std::string& input, Contribution contribution) {
  if (contribution.u != 0.0) estimate.add(input, contribution);
}

constexpr std::string_view automatic = "polynomial:auto";
constexpr int highest_degree = 6;

// Readings of tiny size leave variances that a double cannot hold: never a silent 0 or infinity.
// (Tables end at 1e60, so that large ones do not come here.)
void require_representable(const Fit& fit, std::string_view where) {
  const std::size_t size = fit.coefficients.size();
  bool holds = std::isfinite(fit.residual_standard_deviation);
  for (std::size_t k = 0; k < size; ++k) {
    const double variance = fit.covariance[k * size + k];
    holds &= std::isfinite(fit.coefficients[k]) && std::isfinite(variance) &&
             (variance > 0.0 || fit.standard_uncertainties[k] == 0.0);
  }
  if (holds) return;
  throw base::BadInput(
      where,
      "readings or references are so small that the squares of their uncertainties "
      "cannot be held",
      "other units, with numbers above 1e-100");
}

// With a whole covariance, over the mapped references, where powers keep their digits.
Fit fit_polynomial_jointly(const Law& law, Readings readings, std::string_view where) {
  require_columns(readings, where);
  const std::size_t size = readings.reference.size();
  const auto [low, high] =
      std::minmax_element(readings.reference.begin(), readings.reference.end());
  if (size == 0 || !(*low < *high)) return fit_law(law, readings, where);
  const double middle = 0.5 * (*low + *high);
  const double half_width = 0.5 * (*high - *low);
  for (double& reference : readings.reference)
    reference = (reference - middle) / half_width;
  const std::size_t rows = 2 * size;
  if (readings.covariance.size() == rows * rows) {
    for (std::size_t i = 0; i < rows; ++i) {
      for (std::size_t j = 0; j < rows; ++j) {
        const double factor = (i < size ? half_width : 1.0) * (j < size ? half_width : 1.0);
        readings.covariance[i * rows + j] /= factor;
      }
    }
  }
  return in_powers_of_reference(fit_law(law, readings, where), middle, half_width);
}

// Standard uncertainties stated for one row, in a column or a covariance; 0 where they are not.
struct StatedUncertainties {
  double reference;
  double reading;
};
StatedUncertainties stated(const Readings& readings, std::size_t row) {
  const std::size_t size = readings.reading.size();
  const std::size_t joint = 2 * size;
  const std::vector<double>& covariance = readings.covariance;
  if (covariance.size() == joint * joint) {
    const std::size_t below = row + size;
    return {.reference = std::sqrt(covariance[row * joint + row]),
            .reading = std::sqrt(covariance[below * joint + below])};
  }
  if (!covariance.empty())
    return {.reference = 0.0, .reading = std::sqrt(covariance[row * size + row])};
  return {.reference = readings.u_reference.empty() ? 0.0 : readings.u_reference[row],
          .reading = readings.u_reading.empty() ? 0.0 : readings.u_reading[row]};
}

// What readings and references scatter by themselves, in the law's value: mean of the variances.
double own_variance(const Certificate& certificate, const Readings& readings) {
  const Curve curve(certificate);
  const std::size_t size = readings.reading.size();
  double own = 0.0;
  for (std::size_t i = 0; i < size; ++i) {
    const auto [u_reference, u_reading] = stated(readings, i);
    const bool backward = curve.is_backward();
    const double slope = curve.slope(backward ? readings.reading[i] : readings.reference[i]);
    const double moved = slope * (backward ? u_reading : u_reference);
    const double stays = backward ? u_reference : u_reading;
    own += (stays * stays + moved * moved) / static_cast<double>(size);
  }
  return own;
}

// Where the law has no slope at its lowest argument, the range starts at the first above.
void take_ranges(Certificate& certificate, const Readings& readings, const Law& law) {
  double range[2][2];
  const std::vector<double>* columns[2] = {&readings.reference, &readings.reading};
  for (int column = 0; column < 2; ++column) {
    const auto [low, high] = std::minmax_element(columns[column]->begin(), columns[column]->end());
    range[column][0] = *low;
    range[column][1] = *high;
  }
  if (!law.is_backward() && range[0][0] <= law.lowest_argument()) {
    const double end = range[0][0];
    range[0][0] = range[0][1];
    range[1][0] = std::numeric_limits<double>::infinity();
    for (std::size_t i = 0; i < readings.reference.size(); ++i) {
      if (readings.reference[i] <= end) continue;
      range[0][0] = std::min(range[0][0], readings.reference[i]);
      range[1][0] = std::min(range[1][0], readings.reading[i]);
    }
  }
  std::copy(range[0], range[0] + 2, certificate.reference_range);
  std::copy(range[1], range[1] + 2, certificate.reading_range);
}

// Where a reading stands on the axis of the law's value, and how long a step of it is there.
struct OnLaw {
  double place;
  double per_reading;  // above 0
};
OnLaw on_law(const Curve& curve, double reading) {
  if (!curve.is_backward()) return {.place = reading, .per_reading = 1.0};
  return {.place = curve.value(reading), .per_reading = std::abs(curve.value_per_reading(reading))};
}

// The least-squares line of the stated uncertainties, at the ends of the range and within what is
// stated: exact where they are all the same or go with the reading.
void take_u_reading(Certificate& certificate, const Readings& readings) {
  const Curve curve(certificate);
  std::vector<double> places;
  std::vector<double> scatter;
  for (std::size_t i = 0; i < readings.reading.size(); ++i) {
    const OnLaw at = on_law(curve, readings.reading[i]);
    places.push_back(at.place);
    scatter.push_back(at.per_reading * stated(readings, i).reading);
  }
  const auto size = static_cast<double>(places.size());
  const double middle = std::accumulate(places.begin(), places.end(), 0.0) / size;
  const double mean = std::accumulate(scatter.begin(), scatter.end(), 0.0) / size;
  double squares = 0.0;
  double products = 0.0;
  for (std::size_t i = 0; i < places.size(); ++i) {
    squares += std::pow(places[i] - middle, 2);
    products += (places[i] - middle) * (scatter[i] - mean);
  }
  const auto [least, most] = std::minmax_element(scatter.begin(), scatter.end());
  for (int end = 0; end < 2; ++end) {
    const OnLaw at = on_law(curve, certificate.reading_range[end]);
    const double line = squares > 0.0 ? mean + products / squares * (at.place - middle) : mean;
    certificate.u_reading[end] = std::clamp(line, *least, *most) / at.per_reading;
  }
}

// What the curve does not follow is smooth: nearby readings share it, distant ones do not. A fit of
// p coefficients leaves at least p changes of sign, so p + 1 arches, over the range. Independent
// inputs stand half an arch apart, and a reading has part in the two next to it, as cosine and sine
// of its place between them: the variance is the same everywhere, the correlation falls from 1 to
// 0 over half to a whole arch.
void add_residual(const Certificate& certificate, const Curve& curve, double reading,
                  Estimate& estimate) {
  const auto& [low, high] = certificate.reference_range;
  const auto steps = static_cast<double>(2 * (certificate.fit.coefficients.size() + 1));
  const double share = high > low ? (curve.value(reading) - low) / (high - low) : 0.0;
  const double place = std::clamp(share, 0.0, 1.0) * steps;
  const double before = std::min(std::floor(place), steps - 1.0);
  const double angle = 0.5 * std::numbers::pi * (place - before);
  const double u = certificate.lack_of_fit * curve.value_per_residual(reading);
  const auto dof = static_cast<double>(certificate.fit.degrees_of_freedom);
  const auto add = [&](double number, double part) {
    add_if_any(estimate, fmt::format("{}:residual-{:.0f}", certificate.channel, number),
               {part * u, dof});
  };
  add(before, std::cos(angle));
  add(before + 1.0, std::sin(angle));
}

// Value and systematic parts without field adjustment, and without drift, which an adjustment does
// not take away.
Estimate certified(const Certificate& certificate, double reading) {
  const Curve curve(certificate);
  const double value = curve.value(reading);
  const Fit& fit = certificate.fit;
  const std::size_t size = fit.coefficients.size();
  const bool scaled_by_residuals = std::isnan(fit.chi_squared);
  const double fit_dof = fit.degrees_of_freedom;
  Estimate estimate(value);
  const std::vector<double> lower = decorrelated(curve.covariance(), size);
  const std::vector<double> gradient = curve.value_per_coefficient(reading);
  for (std::size_t input = 0; input < size; ++input) {
    double sum = 0.0;
    for (std::size_t k = input; k < size; ++k)
      sum += gradient[k] * lower[k * size + input];
    add_if_any(estimate, fmt::format("{}:calibration-{}", certificate.channel, input),
               {sum, scaled_by_residuals ? fit_dof : known});
  }
  add_if_any(estimate, certificate.channel + ":standard", {certificate.standard.u, known});
  add_if_any(estimate, certificate.channel + ":standard-relative",
             {certificate.standard.u_relative * value, known});
  add_residual(certificate, curve, reading, estimate);
  return estimate;
}

// A polynomial whose slope no higher power can turn anywhere in its range, nor bring near the
// rounding of its readings: sum k |c_k| of them, t from -1 to 1, stays below that of the line.
bool rises_as_its_line(const Certificate& certificate) {
  const auto& scaled = certificate.fit.scaled;
  if (!scaled || scaled->coefficients.size() < 2) return false;
  for (const double end : certificate.reference_range) {
    if (!(std::abs(end - scaled->middle) <= scaled->half_width * (1.0 + 1e-9))) return false;
  }
  const std::vector<double>& c = scaled->coefficients;
  double others = 0.0;
  for (std::size_t k = 2; k < c.size(); ++k)
    others += static_cast<double>(k) * std::abs(c[k]);
  constexpr double plainly = 1e-6;
  return std::abs(c[1]) - others > plainly * (std::abs(c[0]) + std::abs(c[1]));
}

}  // namespace

void require_one_to_one(const Certificate& certificate, std::string_view where) {
  if (rises_as_its_line(certificate)) return;
  const Curve curve(certificate);
  const auto& range = curve.is_backward() ? certificate.reading_range : certificate.reference_range;
  const double first_slope = curve.slope(range[0]);
  const auto refuse = [&](double at) {
    throw base::BadInput(
        where,
        fmt::format("the {} is level or turns at {} {:.4g}, so a reading belongs to more than one "
                    "value",
                    certificate.model, curve.is_backward() ? "reading" : "reference", at),
        "a lower degree, more readings, or a smaller range");
  };
  // The other laws turn once at most.
  const int places = degree_of(certificate.model) > 0 ? 1000 : 50;
  for (int i = 0; i <= places; ++i) {
    const double at = range[0] + (range[1] - range[0]) * i / places;
    if (!(curve.slope(at) * first_slope > 0.0)) refuse(at);
  }
  // A change within the rounding of the readings is none.
  const double from = curve.is_backward() ? curve.value(range[0]) : curve.reading(range[0]);
  const double to = curve.is_backward() ? curve.value(range[1]) : curve.reading(range[1]);
  constexpr double rounding = 1e-13;
  if (std::abs(to - from) <= rounding * (std::abs(from) + std::abs(to))) refuse(range[0]);
}

Certificate calibrate(Certificate certificate, const Readings& readings, std::string_view where) {
  if (certificate.model == automatic) {
    certificate.model =
        fmt::format("polynomial:{}", chosen_degree(degrees_tried(readings, highest_degree, where)));
  }
  const auto law = law_of_model(certificate.model, where);
  const int degree = degree_of(certificate.model);
  if (degree > 0) {
    certificate.fit = readings.covariance.empty() ? fit_polynomial(readings, degree, where)
                                                  : fit_polynomial_jointly(*law, readings, where);
  } else {
    certificate.fit = fit_law(*law, readings, where);
  }
  require_representable(certificate.fit, where);
  take_ranges(certificate, readings, *law);
  take_u_reading(certificate, readings);
  require_one_to_one(certificate, where);
  const double residual = certificate.fit.residual_standard_deviation;
  certificate.lack_of_fit =
      std::sqrt(std::max(0.0, residual * residual - own_variance(certificate, readings)));
  return certificate;
}

bool lack_of_fit_is_significant(const Fit& fit) {
  return chi_squared_tail(fit.chi_squared, fit.degrees_of_freedom) < 1.0 - level;
}

FieldGain field_gain(const Certificate& certificate) {
  if (!certificate.adjustment) return {.gain = 1.0, .offset = 0.0};
  const Curve curve(certificate);
  const auto& [a, b] = certificate.adjustment->points;
  const double at_a = curve.value(a.reading);
  const double gain = (b.reference - a.reference) / (curve.value(b.reading) - at_a);
  return {.gain = gain, .offset = a.reference - gain * at_a};
}

void require_adjustment(const Certificate& certificate, std::string_view where) {
  if (!certificate.adjustment) return;
  const auto& [a, b] = certificate.adjustment->points;
  if (a.reading == b.reading || a.reference == b.reference) {
    throw base::BadInput(where, "both points of the field adjustment are the same",
                         "two points as far apart as the sensor is used");
  }
  const double gain = field_gain(certificate).gain;
  constexpr double most = 2.0;
  if (gain > 1.0 / most && gain < most) return;
  throw base::BadInput(where, fmt::format("the field adjustment has a gain of {:.4g}", gain),
                       "a gain between 0.5 and 2: look for a mistaken unit or exchanged points");
}

double value_of(const Certificate& certificate, double reading) {
  const double value = Curve(certificate).value(reading);
  const FieldGain field = field_gain(certificate);
  return certificate.adjustment ? field.offset + field.gain * value : value;
}

void values_of(const Certificate& certificate, std::span<const double> readings,
               std::span<double> values) {
  const Curve curve(certificate);
  const FieldGain field = field_gain(certificate);
  for (std::size_t i = 0; i < readings.size(); ++i) {
    const double value = curve.value(readings[i]);
    values[i] = certificate.adjustment ? field.offset + field.gain * value : value;
  }
}

double sensitivity(const Certificate& certificate, double reading) {
  return field_gain(certificate).gain * Curve(certificate).value_per_reading(reading);
}

double reading_of(const Certificate& certificate, double reference) {
  const Curve curve(certificate);
  if (!certificate.adjustment) return curve.reading(reference);
  const FieldGain field = field_gain(certificate);
  return curve.reading((reference - field.offset) / field.gain);
}

Estimate estimate_of(const Certificate& certificate, double reading) {
  const std::string& name = certificate.channel;
  Estimate estimate = certified(certificate, reading);
  if (certificate.adjustment) {
    // What all three have from the calibration cancels as far as it is the same for them; what the
    // curve does not follow is none at the two points and grows beyond them.
    const auto& [a, b] = certificate.adjustment->points;
    const Estimate low(a.reference, {{name + ":field-a", {a.u, known}}});
    const Estimate high(b.reference, {{name + ":field-b", {b.u, known}}});
    const Estimate at_low = certified(certificate, a.reading);
    const Estimate at_high = certified(certificate, b.reading);
    estimate = low + (estimate - at_low) * (high - low) / (at_high - at_low);
  }
  add_if_any(estimate, name + ":drift", {certificate.u_drift, known});
  return estimate;
}

double stated_u_reading(const Certificate& certificate, double reading) {
  const auto& [at_low, at_high] = certificate.u_reading;
  if (at_low == 0.0 && at_high == 0.0) return 0.0;
  const Curve curve(certificate);
  const OnLaw low = on_law(curve, certificate.reading_range[0]);
  const OnLaw high = on_law(curve, certificate.reading_range[1]);
  const OnLaw here = on_law(curve, reading);
  const double share = std::clamp((here.place - low.place) / (high.place - low.place), 0.0, 1.0);
  const double from = at_low * low.per_reading;
  return (from + share * (at_high * high.per_reading - from)) / here.per_reading;
}

bool covers(const Certificate& certificate, double reading) {
  return reading >= certificate.reading_range[0] && reading <= certificate.reading_range[1];
}

LargestUncertainty largest_uncertainty(const Certificate& certificate) {
  constexpr int places = 100;
  LargestUncertainty largest{.expanded = 0.0,
                             .coverage_factor = student_factor(level, known),
                             .reference = certificate.reference_range[0]};
  const double width = certificate.reference_range[1] - certificate.reference_range[0];
  for (int i = 0; i <= places; ++i) {
    const double reference = certificate.reference_range[0] + width * i / places;
    const double reading = reading_of(certificate, reference);
    const Estimate estimate = estimate_of(certificate, reading);
    const double expanded = estimate.expanded(level);
    if (!(expanded > largest.expanded)) continue;
    largest = {
        .expanded = expanded, .coverage_factor = expanded / estimate.u(), .reference = reference};
  }
  return largest;
}

}  // namespace windwright::metrology
