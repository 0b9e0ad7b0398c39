// SPDX-License-Identifier: Apache-2.0
#include "analysis/window_spectrum.h"
#include "report/charts.h"
#include "report/drawing.h"
#include "report/notation.h"
#include "report/pictures.h"
#include "report/plot.h"
#include "report/window_frame.h"
#include "signal/spectrum.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <span>
#include <string>
#include <vector>

namespace windwright::report {
namespace {

using analysis::WindowSpectrum;

const std::vector<double>& values_of(const WindowSpectrum& one, SpectrumScale scale) {
  return scale == SpectrumScale::density ? one.spectrum.density : one.spectrum.amplitude;
}

struct Range {
  double low = std::numeric_limits<double>::infinity();
  double high = 0.0;
};

// Line 0 is what taking the mean off has left.
Range range_of(std::span<const WindowSpectrum> spectra, SpectrumScale scale) {
  Range range;
  for (const WindowSpectrum& one : spectra) {
    for (const double value : std::span(values_of(one, scale)).subspan(1)) {
      range.high = std::max(range.high, value);
      if (value > 0.0) range.low = std::min(range.low, value);
    }
  }
  return range;
}

Axis value_axis(const WindowFrame& frame, const Range& range, SpectrumScale scale) {
  if (scale == SpectrumScale::amplitude || !(range.high > 0.0))
    return Axis(0.0, range.high, 6, frame.bottom, frame.top);
  // What a computer's arithmetic leaves is not worth the paper.
  constexpr double deepest = 1e-12;
  const double low = std::max(range.low, deepest * range.high);
  return Axis::decades(std::pow(10.0, std::floor(std::log10(low) - 1e-9)),
                       std::pow(10.0, std::ceil(std::log10(range.high) + 1e-9)), frame.bottom,
                       frame.top);
}

Axis frequency_axis(const WindowFrame& frame, const signal::Spectrum& spectrum,
                    SpectrumScale scale) {
  const double last_Hz = spectrum.frequency_Hz(spectrum.density.size() - 1);
  if (scale == SpectrumScale::amplitude || spectrum.density.size() < 3)
    return Axis::exact(0.0, last_Hz, 8, frame.left, frame.right);
  return Axis::decades(spectrum.line_spacing_Hz, last_Hz, frame.left, frame.right);
}

/// The same line on paper in few points: of those that fall on one half pixel the first, the
/// lowest, the highest and the last are kept, in their order.
std::vector<Position> thinned(const Axis& x, const std::vector<Position>& values) {
  constexpr double column_px = 0.5;
  std::vector<Position> kept;
  for (std::size_t begin = 0; begin < values.size();) {
    const double column = std::floor(x.at(values[begin].x) / column_px);
    std::size_t end = begin + 1;
    while (end < values.size() && std::floor(x.at(values[end].x) / column_px) == column)
      ++end;
    const auto first = values.begin() + static_cast<std::ptrdiff_t>(begin);
    const auto last = values.begin() + static_cast<std::ptrdiff_t>(end);
    const auto [low, high] = std::minmax_element(
        first, last, [](const Position& a, const Position& b) { return a.y < b.y; });
    std::vector<std::vector<Position>::const_iterator> some{first, std::min(low, high),
                                                            std::max(low, high), last - 1};
    some.erase(std::unique(some.begin(), some.end()), some.end());
    for (const auto each : some)
      kept.push_back(*each);
    begin = end;
  }
  return kept;
}

std::string figures_of(const WindowSpectrum& one, SpectrumScale scale) {
  std::string words = fmt::format(
      "taper {}, lines {:.4g} Hz apart, noise bandwidth {:.4g} Hz; {} segments of {} samples",
      signal::name_of(one.taper), one.spectrum.line_spacing_Hz, one.spectrum.noise_bandwidth_Hz,
      one.spectrum.segments, one.spectrum.segment);
  if (one.segments_there > static_cast<std::int64_t>(one.spectrum.segments))
    words += fmt::format(" (of {})", one.segments_there);
  if (scale == SpectrumScale::density)
    words += fmt::format("; standard uncertainty of a density of noise {:.2g} %",
                         100.0 * one.spectrum.relative_u);
  return words;
}

std::string value_title(const analysis::SeenChannel& seen, SpectrumScale scale) {
  const std::string unit = unit_text(seen.unit);
  if (scale == SpectrumScale::amplitude)
    return "amplitude of " + seen.channel + (unit.empty() ? "" : ", " + unit);
  const bool is_one_symbol = seen.unit.find_first_of(" -0123456789") == std::string::npos;
  const std::string squared = is_one_symbol ? unit + "²" : "(" + unit + ")²";
  return fmt::format("power density of {}, {}/Hz", seen.channel, unit.empty() ? "1" : squared);
}

}  // namespace

std::string spectrum_picture(std::span<const WindowSpectrum> spectra, SpectrumScale scale) {
  const WindowSpectrum& first = spectra.front();
  const std::vector<double>& values = values_of(first, scale);
  const auto peak =
      static_cast<std::size_t>(std::max_element(values.begin() + 1, values.end()) - values.begin());
  const WindowFrame frame(spectra.size() > 1 ? spectra.size() : 0);
  Drawing drawing(frame.width, frame.height,
                  fmt::format("Spectrum of {}: highest line {:.4g} at {:.6g} Hz.",
                              first.seen.channel, values[peak], first.spectrum.frequency_Hz(peak)));
  const Axis frequency = frequency_axis(frame, first.spectrum, scale);
  const Axis value = value_axis(frame, range_of(spectra, scale), scale);
  Plot plot(drawing, frequency, value);
  plot.y_frame(value_title(first.seen, scale));
  plot.x_frame("frequency, Hz");
  for (std::size_t n = 0; n < spectra.size(); ++n) {
    std::vector<Position> line;
    const std::vector<double>& of_lines = values_of(spectra[n], scale);
    for (std::size_t k = 1; k < of_lines.size(); ++k)
      line.push_back({spectra[n].spectrum.frequency_Hz(k), of_lines[k]});
    const CurveLook look = look_of_curve(n);
    const Stroke stroke{.colour = look.colour, .width = 1.2, .dash = look.dash};
    plot.line(thinned(frequency, line), stroke);
    if (spectra.size() > 1) frame.key(drawing, n, stroke, spectra[n].seen.recording);
  }
  frame.head(
      drawing,
      spectra.size() == 1 ? first.seen.recording : fmt::format("{} recordings", spectra.size()),
      figures_of(first, scale));
  return drawing.document();
}

}  // namespace windwright::report
