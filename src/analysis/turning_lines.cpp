// SPDX-License-Identifier: Apache-2.0
#include "analysis/turning_lines.h"

#include "bench/bench.h"
#include "signal/spectrum.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <numbers>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::analysis {
namespace {

constexpr double speed_spread = 0.01;
constexpr double lines_beside = 2.0;
constexpr double pulses = 6.0;

double folded(double frequency_Hz, double sample_rate_Hz) {
  const double rest_Hz = std::fmod(frequency_Hz, sample_rate_Hz);
  return std::min(rest_Hz, sample_rate_Hz - rest_Hz);
}

}  // namespace

std::vector<TurningLine> turning_lines(const bench::Bench& bench, double rotor_speed_rad_s,
                                       int blade_count, const signal::Spectrum& spectrum) {
  std::vector<TurningLine> lines;
  const double turn_Hz = std::abs(rotor_speed_rad_s) / (2.0 * std::numbers::pi);
  const double spacing_Hz = spectrum.line_spacing_Hz;
  if (spectrum.amplitude.size() < 2 || !(turn_Hz > 2.0 * lines_beside * spacing_Hz)) return lines;
  const double pole_pairs = bench.generator.pole_pairs;
  const std::array<std::pair<std::string_view, double>, 8> times_a_turn{
      {{"rotor", 1.0},
       {"blades", static_cast<double>(blade_count)},
       {"generator", pole_pairs},
       {"bridge", pulses * pole_pairs},
       {"harmonic_5", (pulses - 1.0) * pole_pairs},
       {"harmonic_7", (pulses + 1.0) * pole_pairs},
       {"harmonic_11", (2.0 * pulses - 1.0) * pole_pairs},
       {"harmonic_13", (2.0 * pulses + 1.0) * pole_pairs}}};
  const std::size_t end = spectrum.amplitude.size();
  const double sample_rate_Hz = 2.0 * spacing_Hz * static_cast<double>(end - 1);
  for (const auto& [code, times] : times_a_turn) {
    const double true_Hz = times * turn_Hz;
    const double frequency_Hz = folded(true_Hz, sample_rate_Hz);
    const double beside_Hz = std::max(lines_beside * spacing_Hz, speed_spread * true_Hz);
    if (frequency_Hz <= beside_Hz) continue;
    const auto first = static_cast<std::size_t>(std::ceil((frequency_Hz - beside_Hz) / spacing_Hz));
    const auto last = static_cast<std::size_t>(std::floor((frequency_Hz + beside_Hz) / spacing_Hz));
    double amplitude = 0.0;
    for (std::size_t line = first; line <= std::min(last, end - 1); ++line)
      amplitude = std::max(amplitude, spectrum.amplitude[line]);
    lines.push_back(
        {.code = code, .true_Hz = true_Hz, .frequency_Hz = frequency_Hz, .amplitude = amplitude});
  }
  std::stable_sort(lines.begin(), lines.end(), [](const TurningLine& a, const TurningLine& b) {
    return a.true_Hz < b.true_Hz;
  });
  return lines;
}

}  // namespace windwright::analysis
