// SPDX-License-Identifier: Apache-2.0
#include "metrology/drift.h"

#include "base/errors.h"
#include "metrology/check_standard.h"
#include "metrology/estimate.h"

#include <boost/json.hpp>
#include <fmt/format.h>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstddef>
#include <limits>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::metrology {

namespace json = boost::json;

namespace {

constexpr double known = std::numeric_limits<double>::infinity();

// Adds what makes a value by a certificate uncertain, as inputs of their own; that of its standard
// only where it does not cancel.
void add_parts(Estimate& difference, const std::string& whose, const Certificate& certificate,
               double reading, bool with_standard) {
  const std::string prefix = certificate.channel + ":standard";
  const Estimate value = estimate_of(certificate, reading);
  for (const auto& [input, contribution] : value.contributions()) {
    if (with_standard || !input.starts_with(prefix)) difference.add(whose + input, contribution);
  }
}

}  // namespace

SensorState sensor_state(const Certificate& certificate, const Readings& readings,
                         const ReferenceStandard& standard) {
  SensorState state{.points = {}, .largest_deviation = 0.0, .largest_en = 0.0, .agrees = true};
  for (std::size_t i = 0; i < readings.reading.size(); ++i) {
    const double reference = readings.reference[i];
    const double value = value_of(certificate, readings.reading[i]);
    const double u_one = readings.u_reading.empty()
                             ? stated_u_reading(certificate, readings.reading[i])
                             : readings.u_reading[i];
    const double u_reading = sensitivity(certificate, readings.reading[i]) * u_one;
    Estimate by_certificate = estimate_of(certificate, readings.reading[i]);
    by_certificate.add("reading#1", {u_reading, known});
    const double u_own = readings.u_reference.empty() ? 0.0 : readings.u_reference[i];
    const double u_reference = std::hypot(standard.u, standard.u_relative * reference, u_own);
    const double deviation = value - reference;
    const Estimate by_standard(reference, {{"reference#1", {u_reference, known}}});
    const double ratio = en(deviation, by_certificate.expanded(), by_standard.expanded());
    state.points.push_back({.reference = reference,
                            .value = value,
                            .deviation = deviation,
                            .expanded = (by_certificate - by_standard).expanded(),
                            .en = ratio});
    if (std::abs(deviation) > std::abs(state.largest_deviation))
      state.largest_deviation = deviation;
    state.largest_en = std::max(state.largest_en, std::abs(ratio));
  }
  state.agrees = state.largest_en <= 1.0;
  return state;
}

Drift drift_between(const Certificate& earlier, const Certificate& later, std::string_view where) {
  if (earlier.reference_unit != later.reference_unit ||
      earlier.reading_unit != later.reading_unit) {
    throw base::BadInput(
        where,
        fmt::format("certificates in {} over {} and {} over {}", earlier.reading_unit,
                    earlier.reference_unit, later.reading_unit, later.reference_unit),
        "the same units");
  }
  const double low = std::max(earlier.reference_range[0], later.reference_range[0]);
  const double high = std::min(earlier.reference_range[1], later.reference_range[1]);
  if (!(low < high)) {
    throw base::BadInput(where, "the two calibrations have no range in common",
                         "ranges that overlap");
  }
  const bool same_standard =
      !earlier.standard.name.empty() && earlier.standard.name == later.standard.name;
  Drift drift{.points = {},
              .largest = 0.0,
              .at_reference = low,
              .per_year = 0.0,
              .en = 0.0,
              .is_significant = false};
  constexpr int places = 10;
  for (int place = 0; place <= places; ++place) {
    const double reference = low + (high - low) * place / places;
    const double reading = reading_of(earlier, reference);
    const double difference = value_of(later, reading) - reference;
    Estimate moved(difference);
    add_parts(moved, "earlier ", earlier, reading, !same_standard);
    add_parts(moved, "later ", later, reading, !same_standard);
    const double expanded = moved.expanded();
    drift.points.push_back(
        {.reference = reference, .difference = difference, .expanded = expanded});
    if (std::abs(difference) > std::abs(drift.largest)) {
      drift.largest = difference;
      drift.at_reference = reference;
    }
    drift.en = std::max(drift.en, std::abs(en(difference, expanded, 0.0)));
  }
  drift.is_significant = drift.en > 1.0;
  const std::chrono::duration<double, std::ratio<31556952>> years = later.date - earlier.date;
  constexpr double day = 1.0 / 365.25;
  if (std::abs(years.count()) > day) drift.per_year = drift.largest / years.count();
  return drift;
}

json::value to_json(const SensorState& state) {
  json::array points;
  for (const AsFoundPoint& point : state.points) {
    points.push_back(json::object{{"reference", point.reference},
                                  {"value", point.value},
                                  {"deviation", point.deviation},
                                  {"expanded", point.expanded},
                                  {"en", point.en}});
  }
  return json::object{{"points", points},
                      {"largest_deviation", state.largest_deviation},
                      {"largest_en", state.largest_en},
                      {"agrees", state.agrees}};
}

json::value to_json(const Drift& drift) {
  json::array points;
  for (const DriftPoint& point : drift.points) {
    points.push_back(json::object{{"reference", point.reference},
                                  {"difference", point.difference},
                                  {"expanded", point.expanded}});
  }
  return json::object{{"largest", drift.largest},
                      {"at_reference", drift.at_reference},
                      {"per_year", drift.per_year},
                      {"en", drift.en},
                      {"is_significant", drift.is_significant},
                      {"points", points}};
}

}  // namespace windwright::metrology
