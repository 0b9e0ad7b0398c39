// SPDX-License-Identifier: Apache-2.0
#include "physics/bridge_waveform.h"

#include "base/errors.h"
#include "base/text.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <limits>
#include <numbers>
#include <utility>

namespace windwright::physics {
namespace {

constexpr double turn_rad = 2.0 * std::numbers::pi;

/// cos, sin and the fading exponential of the running angle, carried on by products.
struct Running {
  double cosine;
  double sine;
  double fading;
};

/// One phase over samples that lie in one arc.
void fill_arc(const LineArc& line, const Sinusoid& terminal_V, double diode_resistance_ohm,
              const Running& start, const Running& step, std::span<double> voltage_V,
              std::span<double> current_A) {
  Running now = start;
  const double fading_A = line.fading_A - line.rising_A;
  const std::size_t count = std::max(voltage_V.size(), current_A.size());
  for (std::size_t i = 0; i < count; ++i) {
    const double current =
        line.rising_A + line.cosine_A * now.cosine + line.sine_A * now.sine + fading_A * now.fading;
    current_A[i] = current;
    voltage_V[i] = terminal_V.steady + terminal_V.cosine * now.cosine + terminal_V.sine * now.sine +
                   diode_resistance_ohm * current;
    const double cosine = now.cosine * step.cosine - now.sine * step.sine;
    now.sine = now.sine * step.cosine + now.cosine * step.sine;
    now.cosine = cosine;
    now.fading *= step.fading;
  }
}

}  // namespace

BridgeWaveform::BridgeWaveform(BridgeCycle cycle, double emf_peak_V, double diode_resistance_ohm)
    : cycle_(std::move(cycle)), diode_resistance_ohm_(diode_resistance_ohm) {
  terminal_V_.reserve(cycle_.arcs.size());
  for (const BridgeArc& arc : cycle_.arcs) {
    std::array<Sinusoid, 3> terminal_V{};
    for (std::size_t k = 0; k < 3; ++k) {
      const double lag_rad = turn_rad / 3.0 * static_cast<double>(k);
      const Sinusoid& drive_V = arc.line[k].drive_V;
      terminal_V[k] = {.steady = -drive_V.steady,
                       .cosine = -emf_peak_V * std::sin(lag_rad) - drive_V.cosine,
                       .sine = emf_peak_V * std::cos(lag_rad) - drive_V.sine};
    }
    terminal_V_.push_back(terminal_V);
  }
}

BridgeWaveform BridgeWaveform::on_voltage(const Generator& generator, double rotor_speed_rad_s,
                                          double dc_voltage_V, BridgeFault fault) {
  const double electrical_rad_s = generator.pole_pairs * std::abs(rotor_speed_rad_s);
  const double emf_peak_V = generator.flux_linkage_V_s * electrical_rad_s;
  return {bridge_cycle(
              {.emf_peak_V = emf_peak_V,
               .resistance_ohm = generator.winding_resistance_ohm + generator.diode_resistance_ohm,
               .reactance_ohm = electrical_rad_s * generator.winding_inductance_H,
               .dc_voltage_V = dc_voltage_V,
               .diode_drop_V = generator.diode_drop_V,
               .fault = fault}),
          emf_peak_V, generator.diode_resistance_ohm};
}

BridgeWaveform BridgeWaveform::on_current(const Generator& generator, double rotor_speed_rad_s,
                                          double dc_current_A) {
  const double electrical_rad_s = generator.pole_pairs * std::abs(rotor_speed_rad_s);
  const double emf_peak_V = generator.flux_linkage_V_s * electrical_rad_s;
  SmoothBridge bridge{
      .emf_peak_V = emf_peak_V,
      .resistance_ohm = generator.winding_resistance_ohm + generator.diode_resistance_ohm,
      .reactance_ohm = electrical_rad_s * generator.winding_inductance_H,
      .dc_current_A = dc_current_A};
  const double impedance_ohm = std::hypot(bridge.resistance_ohm, bridge.reactance_ohm);
  if (impedance_ohm > 0.0) {
    bridge.dc_current_A = std::min(bridge.dc_current_A, emf_peak_V / impedance_ohm);
  }
  return {smooth_bridge_cycle(bridge), emf_peak_V, generator.diode_resistance_ohm};
}

PhaseSample BridgeWaveform::sample(std::size_t phase, double electrical_angle_rad) const {
  PhaseSample sample{};
  std::array<PhaseSamples, 3> phases{};
  phases[phase] = {.voltage_V = {&sample.voltage_V, 1}, .current_A = {&sample.current_A, 1}};
  fill(electrical_angle_rad, 0.0, phases);
  return sample;
}

double BridgeWaveform::fill(double first_rad, double step_rad,
                            const std::array<PhaseSamples, 3>& phases) const {
  if (!std::isfinite(first_rad) || !(step_rad >= 0.0) || std::isinf(step_rad)) {
    throw base::BadInput("angle step", base::number_text(step_rad) + " rad",
                         "finite angles that advance");
  }
  std::size_t count = std::numeric_limits<std::size_t>::max();
  for (const PhaseSamples& phase : phases) {
    const std::size_t samples = std::min(phase.voltage_V.size(), phase.current_A.size());
    if (samples > 0) count = std::min(count, samples);
  }
  if (count == std::numeric_limits<std::size_t>::max()) return first_rad;
  const double begin_rad = cycle_.arcs.front().begin_rad;
  const Running step{.cosine = std::cos(step_rad),
                     .sine = std::sin(step_rad),
                     .fading = std::exp(-cycle_.decay * step_rad)};
  double angle_rad = std::fmod(first_rad - begin_rad, turn_rad);
  if (angle_rad < 0.0) angle_rad += turn_rad;
  angle_rad += begin_rad;
  std::size_t a = 0;
  for (std::size_t done = 0; done < count;) {
    while (angle_rad >= begin_rad + turn_rad) {
      angle_rad -= turn_rad;
      a = 0;
    }
    while (a + 1 < cycle_.arcs.size() && angle_rad >= cycle_.arcs[a].end_rad)
      ++a;
    const BridgeArc& arc = cycle_.arcs[a];
    // Samples before the arc ends; at least this one.
    const double last_rad = a + 1 < cycle_.arcs.size() ? arc.end_rad : begin_rad + turn_rad;
    const double more =
        step_rad > 0.0 ? std::ceil((last_rad - angle_rad) / step_rad) : static_cast<double>(count);
    const std::size_t here = std::min(
        count - done, static_cast<std::size_t>(std::clamp(more, 1.0, static_cast<double>(count))));
    const Running start{.cosine = std::cos(angle_rad),
                        .sine = std::sin(angle_rad),
                        .fading = std::exp(-cycle_.decay * (angle_rad - arc.begin_rad))};
    for (std::size_t k = 0; k < 3; ++k) {
      if (phases[k].voltage_V.empty() || phases[k].current_A.empty()) continue;
      fill_arc(arc.line[k], terminal_V_[a][k], diode_resistance_ohm_, start, step,
               phases[k].voltage_V.subspan(done, here), phases[k].current_A.subspan(done, here));
    }
    done += here;
    angle_rad += step_rad * static_cast<double>(here);
  }
  return first_rad + step_rad * static_cast<double>(count);
}

}  // namespace windwright::physics
