// SPDX-License-Identifier: Apache-2.0
#include "analysis/window_json.h"

#include "analysis/channel_window.h"
#include "analysis/clock_drift.h"
#include "analysis/window_pairs.h"
#include "analysis/window_spectrum.h"
#include "analysis/window_statistics.h"
#include "analysis/window_view.h"
#include "base/json.h"
#include "metrology/estimate.h"
#include "metrology/quantity.h"
#include "signal/spectrum.h"

#include <boost/json.hpp>

#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <utility>

namespace windwright::analysis {
namespace {

namespace json = boost::json;

json::object number_of(double value, double u, double dof, const char* unit) {
  return {{"value", value}, {"u", u}, {"dof", dof}, {"unit", unit}};
}

json::value object_of(const std::optional<ClockDrift>& clock, double nominal_Hz) {
  if (!clock) return nullptr;
  return json::object{
      {"pairs", clock->pairs},
      {"span_s", clock->span_s},
      {"drift_ppm", number_of(clock->drift_ppm, clock->u_drift_ppm, clock->dof, "1e-6")},
      {"sample_rate_hz",
       number_of(clock->rate_Hz(nominal_Hz), clock->u_rate_Hz(nominal_Hz), clock->dof, "Hz")}};
}

json::object object_of(const SeenChannel& seen) {
  return {{"recording", seen.recording},
          {"channel", seen.channel},
          {"unit", seen.unit},
          {"calibrated", seen.calibrated},
          {"equation", seen.equation.empty() ? json::value(nullptr) : json::value(seen.equation)},
          {"from_s", seen.from_s},
          {"to_s", seen.to_s},
          {"sample_rate_hz", seen.own_rate_hz},
          {"clock", object_of(seen.clock, seen.own_rate_hz)}};
}

json::object object_of(const ViewBin& bin) {
  return {{"t_s", bin.t_s},   {"min", bin.lowest},          {"max", bin.highest},
          {"mean", bin.mean}, {"deviation", bin.deviation}, {"count", bin.samples}};
}

json::object object_of(const View& view) {
  json::object document = object_of(view.seen);
  json::array bins;
  for (const ViewBin& bin : view.bins)
    bins.push_back(object_of(bin));
  document["zero_s"] = view.zero_s;
  document["bins"] = std::move(bins);
  document["window"] = object_of(view.all);
  document["gaps_at_s"] = json::array(view.gaps_at_s.begin(), view.gaps_at_s.end());
  return document;
}

json::object object_of(const WindowSpectrum& one) {
  const signal::Spectrum& spectrum = one.spectrum;
  json::object document = object_of(one.seen);
  document["taper"] = signal::name_of(one.taper);
  document["line_spacing_Hz"] = spectrum.line_spacing_Hz;
  document["noise_bandwidth_Hz"] = spectrum.noise_bandwidth_Hz;
  document["segment"] = spectrum.segment;
  document["segments"] = spectrum.segments;
  document["segments_there"] = one.segments_there;
  document["relative_u"] = spectrum.relative_u;
  document["dof"] = spectrum.dof;
  json::array lines;
  for (std::size_t k = 0; k < spectrum.density.size(); ++k) {
    lines.push_back(json::object{{"frequency_Hz", spectrum.frequency_Hz(k)},
                                 {"density", spectrum.density[k]},
                                 {"amplitude", spectrum.amplitude[k]}});
  }
  document["lines"] = std::move(lines);
  return document;
}

template <typename Shown>
json::value with_overlays(std::span<const Shown> all) {
  json::object document = object_of(all.front());
  if (all.size() > 1) {
    json::array overlays;
    for (const Shown& other : all.subspan(1))
      overlays.push_back(object_of(other));
    document["overlays"] = std::move(overlays);
  }
  return document;
}

// Nothing is known of the uncertainty of a channel without a certificate.
json::value quantity_of(const SeenChannel& seen, const metrology::Estimate& estimate) {
  json::value quantity = metrology::quantity(estimate, seen.unit);
  if (!seen.calibrated) quantity.as_object()["u"] = nullptr;
  return quantity;
}

}  // namespace

json::value to_json(std::span<const View> views) {
  return with_overlays(views);
}

json::value to_json(std::span<const WindowSpectrum> spectra) {
  return with_overlays(spectra);
}

json::value to_json(const WindowPairs& pairs) {
  json::array all;
  for (const ChannelPair& pair : pairs.pairs)
    all.push_back(json::object{{"x", object_of(pair.x)}, {"y", object_of(pair.y)}});
  return json::object{{"x", object_of(pairs.x)},
                      {"y", object_of(pairs.y)},
                      {"correlation", pairs.correlation},
                      {"pairs", std::move(all)}};
}

json::value to_json(const WindowStatistics& statistics) {
  json::object document = object_of(statistics.seen);
  document["count"] = statistics.samples;
  json::object mean =
      metrology::quantity(metrology::Estimate(statistics.mean), statistics.seen.unit).as_object();
  mean["u"] = nullptr;
  mean["dof"] = nullptr;
  if (statistics.scatter) {
    mean["u"] = statistics.scatter->mean.u;
    mean["dof"] = statistics.scatter->mean.dof;
  }
  document["mean"] = std::move(mean);
  document["u_calibration"] =
      statistics.seen.calibrated ? json::value(statistics.calibration.u()) : json::value(nullptr);
  document["standard_deviation"] = statistics.deviation;
  document["min"] = statistics.lowest;
  document["max"] = statistics.highest;
  if (!statistics.scatter) {
    document["without_u"] = statistics.without;
    return document;
  }
  const MeanScatter& scatter = *statistics.scatter;
  document["effective_samples"] = scatter.mean.effective_samples;
  document["integral_time_s"] = scatter.integral_time_s;
  document["drift"] = json::object{{"value", scatter.drift.drift},
                                   {"u", scatter.drift.u},
                                   {"dof", scatter.drift.dof},
                                   {"settled", scatter.drift.settled}};
  document["samples_a_block"] = scatter.block;
  return document;
}

json::value to_json(const Cursors& cursors) {
  json::object document = object_of(cursors.seen);
  json::array at;
  for (const Cursor& cursor : cursors.cursors) {
    at.push_back(json::object{
        {"asked_s", cursor.asked_s},
        {"t_s", base::or_null(cursor.t_s)},
        {"value", cursor.t_s ? quantity_of(cursors.seen, cursor.value) : json::value(nullptr)}});
  }
  json::array steps;
  for (const CursorStep& step : cursors.steps) {
    steps.push_back(
        json::object{{"time_s", base::or_null(step.time_s)},
                     {"difference", step.time_s ? quantity_of(cursors.seen, step.difference)
                                                : json::value(nullptr)}});
  }
  document["cursors"] = std::move(at);
  document["steps"] = std::move(steps);
  return document;
}

}  // namespace windwright::analysis
