// SPDX-License-Identifier: Apache-2.0
#include "cli/view_text.h"

#include "analysis/channel_window.h"
#include "analysis/clock_drift.h"
#include "analysis/comparison.h"
#include "analysis/window_pairs.h"
#include "analysis/window_spectrum.h"
#include "analysis/window_statistics.h"
#include "analysis/window_view.h"
#include "base/text.h"
#include "metrology/estimate.h"
#include "signal/spectrum.h"

#include <fmt/format.h>

#include <cmath>
#include <cstddef>
#include <span>
#include <string>

namespace windwright::cli {
namespace {

using base::number_text;

std::string unit_words(const analysis::SeenChannel& seen) {
  return seen.unit + (seen.calibrated ? "" : " at the converter: no certificate");
}

// How the clocks ran, where it is known; a line of its own.
std::string clock_line(const analysis::SeenChannel& seen, const char* before) {
  if (!seen.clock) return {};
  return fmt::format("{}{}\n", before, analysis::words_of(*seen.clock, seen.own_rate_hz));
}

// The same of what a derived channel is.
std::string equation_line(const analysis::SeenChannel& seen, const char* before) {
  if (seen.equation.empty()) return {};
  return fmt::format("{}{} = {}\n", before, seen.channel, seen.equation);
}

// A column that tells recordings apart, where there are several.
std::string column_of(bool several, const std::string& text) {
  return several ? text + "," : std::string();
}

std::string calibration_words(const analysis::SeenChannel& seen,
                              const metrology::Estimate& estimate) {
  if (!seen.calibrated) return "uncertainty of the calibration not stated";
  return fmt::format("u of the calibration {:.3g}", estimate.u());
}

}  // namespace

void print_views(std::span<const analysis::View> views) {
  const bool several = views.size() > 1;
  for (const analysis::View& view : views) {
    fmt::print(
        "# {}, {}{}{}\n", view.seen.channel, unit_words(view.seen),
        several ? ", " + view.seen.recording : "",
        view.zero_s == 0.0 ? "" : fmt::format(", t_s = 0 at {} s", number_text(view.zero_s)));
    fmt::print("{}{}", equation_line(view.seen, "# "), clock_line(view.seen, "# "));
  }
  fmt::print("{}t_s,min,max,mean,deviation,count\n", column_of(several, "recording"));
  for (const analysis::View& view : views) {
    for (const analysis::ViewBin& bin : view.bins) {
      fmt::print("{}{},{},{},{},{},{}\n", column_of(several, view.seen.recording),
                 number_text(bin.t_s), number_text(bin.lowest), number_text(bin.highest),
                 number_text(bin.mean), number_text(bin.deviation), bin.samples);
    }
  }
}

void print_spectra(std::span<const analysis::WindowSpectrum> spectra) {
  const bool several = spectra.size() > 1;
  for (const analysis::WindowSpectrum& one : spectra) {
    const signal::Spectrum& spectrum = one.spectrum;
    fmt::print("# {}, {}{}\n", one.seen.channel, unit_words(one.seen),
               several ? ", " + one.seen.recording : "");
    fmt::print("{}{}", equation_line(one.seen, "# "), clock_line(one.seen, "# "));
    fmt::print(
        "# taper {}, lines {} Hz apart, noise bandwidth {} Hz, {} of {} segments of {} "
        "samples\n",
        signal::name_of(one.taper), number_text(spectrum.line_spacing_Hz),
        number_text(spectrum.noise_bandwidth_Hz), spectrum.segments, one.segments_there,
        spectrum.segment);
    fmt::print(
        "# relative standard uncertainty of a density of noise {:.3g}, {:.3g} degrees of "
        "freedom\n",
        spectrum.relative_u, spectrum.dof);
  }
  fmt::print("# unit: density = ({})2 Hz-1, amplitude = {}\n", spectra.front().seen.unit,
             spectra.front().seen.unit);
  fmt::print("{}frequency_Hz,density,amplitude\n", column_of(several, "recording"));
  for (const analysis::WindowSpectrum& one : spectra) {
    for (std::size_t k = 0; k < one.spectrum.density.size(); ++k) {
      fmt::print("{}{},{},{}\n", column_of(several, one.seen.recording),
                 number_text(one.spectrum.frequency_Hz(k)), number_text(one.spectrum.density[k]),
                 number_text(one.spectrum.amplitude[k]));
    }
  }
}

void print_pairs(const analysis::WindowPairs& pairs) {
  fmt::print("# x = {}, {}\n# y = {}, {}\n", pairs.x.channel, unit_words(pairs.x), pairs.y.channel,
             unit_words(pairs.y));
  fmt::print("{}{}", equation_line(pairs.x, "# "), equation_line(pairs.y, "# "));
  if (std::isfinite(pairs.correlation))
    fmt::print("# correlation of the means {:.6g}\n", pairs.correlation);
  fmt::print("t_s,x,x_deviation,y,y_deviation,count\n");
  for (const analysis::ChannelPair& pair : pairs.pairs) {
    fmt::print("{},{},{},{},{},{}\n", number_text(pair.x.t_s), number_text(pair.x.mean),
               number_text(pair.x.deviation), number_text(pair.y.mean),
               number_text(pair.y.deviation), pair.x.samples);
  }
}

void print_statistics(const analysis::WindowStatistics& statistics) {
  const analysis::SeenChannel& seen = statistics.seen;
  fmt::print("{} [{}], {} samples from {:.9g} s to {:.9g} s\n", seen.channel, unit_words(seen),
             statistics.samples, seen.from_s, seen.to_s);
  if (!statistics.scatter) {
    fmt::print("  mean                 {:.7g}; type A uncertainty not stated: {}\n",
               statistics.mean, statistics.without);
  } else {
    const analysis::MeanScatter& scatter = *statistics.scatter;
    metrology::Estimate mean(statistics.mean);
    if (scatter.mean.u > 0.0) mean.add("random#", {.u = scatter.mean.u, .dof = scatter.mean.dof});
    fmt::print(
        "  mean                 {} (95 %, scatter alone); u {:.3g} with {:.3g} degrees of "
        "freedom\n",
        analysis::with_uncertainty(mean.value(), mean.expanded()), scatter.mean.u,
        scatter.mean.dof);
  }
  fmt::print("  certificate          {}\n", calibration_words(seen, statistics.calibration));
  fmt::print("{}{}", equation_line(seen, "  equation             "),
             clock_line(seen, "  clock                "));
  fmt::print("  standard deviation   {:.5g}; {:.7g} to {:.7g}\n", statistics.deviation,
             statistics.lowest, statistics.highest);
  if (!statistics.scatter) return;
  const analysis::MeanScatter& scatter = *statistics.scatter;
  fmt::print("  worth                {:.4g} independent samples; integral scale {:.3g} s{}\n",
             scatter.mean.effective_samples, scatter.integral_time_s,
             scatter.block == 1 ? "" : fmt::format(", from means of {} samples", scatter.block));
  const metrology::Drift& drift = scatter.drift;
  fmt::print("  drift                {}: {}\n",
             std::isfinite(drift.u) ? fmt::format("{:.3g}, u {:.2g}", drift.drift, drift.u)
                                    : "too few independent samples to know it",
             drift.settled ? "settled within 1 %" : "not settled within 1 %");
}

void print_cursors(const analysis::Cursors& cursors) {
  const analysis::SeenChannel& seen = cursors.seen;
  fmt::print("{} [{}]\n{}", seen.channel, unit_words(seen), equation_line(seen, "  "));
  std::size_t number = 0;
  for (const analysis::Cursor& cursor : cursors.cursors) {
    ++number;
    if (!cursor.t_s) {
      const bool inside = cursor.asked_s >= seen.from_s && cursor.asked_s <= seen.to_s;
      fmt::print("  {}: {:.9g} s: no sample there{} (recorded from {:.9g} s to {:.9g} s)\n", number,
                 cursor.asked_s, inside ? ", it is in a gap" : "", seen.from_s, seen.to_s);
      continue;
    }
    if (!std::isfinite(cursor.value.value())) {
      fmt::print("  {}: {:.9g} s: the equation has no value there\n", number, *cursor.t_s);
      continue;
    }
    fmt::print("  {}: {:.9g} s: {:.7g}, {}\n", number, *cursor.t_s, cursor.value.value(),
               calibration_words(seen, cursor.value));
  }
  number = 0;
  for (const analysis::CursorStep& step : cursors.steps) {
    ++number;
    if (!step.time_s) continue;
    fmt::print("  {} to {}: {:.9g} s, {:.7g}, {}\n", number, number + 1, *step.time_s,
               step.difference.value(), calibration_words(seen, step.difference));
  }
}

}  // namespace windwright::cli
