// SPDX-License-Identifier: Apache-2.0
#include "physics/ac_period.h"

#include "base/errors.h"
#include "physics/ac_supply.h"
#include "physics/inverter.h"
#include "physics/lamp.h"
#include "physics/led_lamp.h"
#include "physics/load_flow.h"
#include "physics/load_set.h"
#include "physics/motor.h"
#include "physics/rheostat.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <cstddef>
#include <cstdint>
#include <numbers>
#include <span>
#include <variant>

namespace windwright::physics {
namespace {

constexpr double pi = std::numbers::pi;
constexpr std::size_t cells = wave_cells;
constexpr std::size_t half = cells / 2;

// Values at the borders of the cells of half a period, as if the pulse lasted beyond its edges and
// as if the rest did. A sine has no rest.
struct HalfWave {
  std::array<double, half + 1> pulse;
  std::array<double, half + 1> rest;
};

// The pulse, in cells.
struct Pulse {
  double from;
  double to;
};

Pulse pulse_of(const AcSupply& supply) {
  const double rest =
      supply.kind == OutputKind::quasi_square ? 0.25 * (1.0 - supply.pulse_share) * cells : 0.0;
  return {.from = rest, .to = half - rest};
}

double border_sine(std::size_t k) {
  return std::sin(2.0 * pi * static_cast<double>(k) / cells);
}

// sin(2 pi k / cells) with lines between.
const WaveTable& sine_table() {
  static const WaveTable table = [] {
    WaveTable made{};
    for (std::size_t k = 0; k < cells; ++k)
      made[k] = {.start = border_sine(k), .slope = border_sine(k + 1) - border_sine(k)};
    return made;
  }();
  return table;
}

void draw_voltage(const AcSupply& supply, HalfWave& voltage_V) {
  voltage_V.rest.fill(0.0);
  if (supply.kind != OutputKind::sine) {
    voltage_V.pulse.fill(supply.peak_V);
    return;
  }
  for (std::size_t k = 0; k <= half; ++k)
    voltage_V.pulse[k] = supply.peak_V * sine_table()[k].start;
}

void add_rheostat(double resistance_ohm, double count, const HalfWave& voltage_V,
                  HalfWave& current_A) {
  for (std::size_t k = 0; k <= half; ++k)
    current_A.pulse[k] += count * voltage_V.pulse[k] / resistance_ohm;
}

// Mean square of the voltage over cell k.
double cell_square_V2(const AcSupply& supply, const Pulse& pulse, std::size_t k) {
  if (supply.kind == OutputKind::sine) {
    const double middle_V =
        supply.peak_V * std::sin(2.0 * pi * (static_cast<double>(k) + 0.5) / cells);
    return middle_V * middle_V;
  }
  const auto start = static_cast<double>(k);
  const double covered =
      std::max(0.0, std::min(pulse.to, start + 1.0) - std::max(pulse.from, start));
  return supply.peak_V * supply.peak_V * covered;
}

// Temperature about its mean: C dx/dt = power above its mean - lambda x, lambda of the loss and of
// the power, which falls as the resistance rises. Half a period holds a whole one of the power.
void add_lamp(const SwitchedLoad& each, const Lamp& lamp, const AcSupply& supply,
              const HalfWave& voltage_V, HalfWave& current_A) {
  const double temperature_K = each.state.temperature_K;
  const double nearby_K = 1e-3 * temperature_K;
  const double resistance_ohm = lamp_resistance_ohm(lamp, temperature_K);
  const double relative_slope_K1 =
      (lamp_resistance_ohm(lamp, temperature_K + nearby_K) / resistance_ohm - 1.0) / nearby_K;
  const Pulse pulse = pulse_of(supply);
  std::array<double, half> square_V2{};
  double mean_square_V2 = 0.0;
  for (std::size_t k = 0; k < half; ++k) {
    square_V2[k] = cell_square_V2(supply, pulse, k);
    mean_square_V2 += square_V2[k] / half;
  }
  // The room's temperature does not count in the slope of the loss.
  const double cooling_K_s = lamp_heating_K_s(lamp, temperature_K, 0.0, 298.15) -
                             lamp_heating_K_s(lamp, temperature_K + nearby_K, 0.0, 298.15);
  const double return_s1 = cooling_K_s / nearby_K + relative_slope_K1 * mean_square_V2 /
                                                        resistance_ohm / lamp.heat_capacity_J_K;
  const double cell_s = 1.0 / (cells * supply.frequency_Hz);
  const double kept = std::exp(-return_s1 * cell_s);
  const double per_square_K =
      -std::expm1(-return_s1 * cell_s) / return_s1 / (resistance_ohm * lamp.heat_capacity_J_K);
  double end_K = 0.0;
  for (std::size_t k = 0; k < half; ++k)
    end_K = kept * end_K + per_square_K * (square_V2[k] - mean_square_V2);
  double rise_K = end_K / -std::expm1(-return_s1 * cell_s * half);
  const double most_K = 0.3 * temperature_K;
  for (std::size_t k = 0; k <= half; ++k) {
    const double ripple = 1.0 + relative_slope_K1 * std::clamp(rise_K, -most_K, most_K);
    current_A.pulse[k] += each.count * voltage_V.pulse[k] / (resistance_ohm * ripple);
    if (k < half) rise_K = kept * rise_K + per_square_K * (square_V2[k] - mean_square_V2);
  }
}

// Inside the pulse between the middles of its steps; on beyond them by the last two.
void add_led(const SwitchedLoad& each, const LedLamp& lamp, const AcSupply& supply,
             HalfWave& current_A) {
  std::array<LedPoint, led_points> points;
  const std::size_t count = led_current(lamp, each.state.capacitor_J, supply, points);
  if (count < 2) return;
  std::size_t i = 0;
  for (std::size_t k = 0; k <= half; ++k) {
    const double turns = static_cast<double>(k) / cells;
    while (i + 2 < count && points[i + 1].turns < turns)
      ++i;
    const LedPoint& before = points[i];
    const LedPoint& after = points[i + 1];
    const double part = (turns - before.turns) / (after.turns - before.turns);
    // Far outside the pulse a line has no meaning, and none is asked for.
    const double kept = std::clamp(part, -50.0, 50.0);
    const double value_A = before.current_A + kept * (after.current_A - before.current_A);
    current_A.pulse[k] += each.count * std::max(0.0, value_A);
  }
}

void add_fan(const SwitchedLoad& each, const AcFan& fan, const AcSupply& supply,
             HalfWave& current_A) {
  const WaveTable& sine = sine_table();
  const std::size_t orders = supply.kind == OutputKind::sine ? 1 : harmonic_orders;
  for (std::size_t i = 0; i < orders; ++i) {
    const int order = order_of(i);
    const std::complex<double> peak_A =
        each.count * std::numbers::sqrt2 * harmonic_V(supply, order) *
        fan_admittance_S(fan, each.state.speed_rad_s, supply.frequency_Hz, order);
    for (std::size_t k = 0; k <= half; ++k) {
      const std::size_t at = k * static_cast<std::size_t>(order) % cells;
      const double value_A =
          peak_A.real() * sine[at].start + peak_A.imag() * sine[(at + cells / 4) % cells].start;
      current_A.pulse[k] += value_A;
      current_A.rest[k] += value_A;
    }
  }
}

void add_load(const SwitchedLoad& each, const AcSupply& supply, const HalfWave& voltage_V,
              HalfWave& current_A) {
  if (const auto* rheostat = std::get_if<Rheostat>(&each.load)) {
    add_rheostat(rheostat_resistance_ohm(*rheostat, each.state.temperature_K), each.count,
                 voltage_V, current_A);
  } else if (const auto* lamp = std::get_if<Lamp>(&each.load)) {
    add_lamp(each, *lamp, supply, voltage_V, current_A);
  } else if (const auto* led = std::get_if<LedLamp>(&each.load)) {
    add_led(each, *led, supply, current_A);
  } else if (const auto* fan = std::get_if<AcFan>(&each.load)) {
    add_fan(each, *fan, supply, current_A);
  } else {
    throw base::BadInput("DC motor", "it is connected to AC terminals", "DC terminals");
  }
}

double resistive_S(const SwitchedLoad& each) {
  if (const auto* rheostat = std::get_if<Rheostat>(&each.load))
    return each.count / rheostat_resistance_ohm(*rheostat, each.state.temperature_K);
  if (const auto* lamp = std::get_if<Lamp>(&each.load))
    return each.count / lamp_resistance_ohm(*lamp, each.state.temperature_K);
  return 0.0;
}

WaveCell line(const std::array<double, half + 1>& values, std::size_t k) {
  return {.start = values[k], .slope = values[k + 1] - values[k]};
}

WaveCell scaled(const WaveCell& cell, double factor) {
  return {.start = factor * cell.start, .slope = factor * cell.slope};
}

WaveCell difference(const WaveCell& a, const WaveCell& b) {
  return {.start = a.start - b.start, .slope = a.slope - b.slope};
}

// Lays half a wave into both halves of the table, the second times `sign`; an edge's cell goes on
// as it began.
void lay(const HalfWave& wave, const Pulse& pulse, double sign, WaveTable& table) {
  for (std::size_t k = 0; k < half; ++k) {
    const auto start = static_cast<double>(k);
    const bool in_pulse = start >= pulse.from && start < pulse.to;
    table[k] = line(in_pulse ? wave.pulse : wave.rest, k);
    table[half + k] = scaled(table[k], sign);
  }
}

// Edges within cells; those on a border need nothing.
void lay_edges(const Pulse& pulse, const std::array<const HalfWave*, 3>& waves, AcPeriod& period) {
  period.edge_count = 0;
  for (std::size_t turn = 0; turn < 2; ++turn) {
    const double sign = turn == 0 ? 1.0 : -1.0;
    for (const bool rising : {true, false}) {
      const double at = rising ? pulse.from : pulse.to;
      const auto k = static_cast<std::size_t>(at);
      if (at == static_cast<double>(k)) continue;
      const double way = rising ? 1.0 : -1.0;
      const auto jump = [&](const HalfWave& wave, double factor) {
        return scaled(difference(line(wave.pulse, k), line(wave.rest, k)), way * factor);
      };
      const std::uint64_t first = turn * half;
      const double within = at - static_cast<double>(k);
      period.edges[period.edge_count++] = {
          .phase = ((first + k) << 52U) + static_cast<std::uint64_t>(std::ceil(within * 0x1p52)),
          .cell_end = (first + k + 1) << 52U,
          .voltage_V = jump(*waves[0], sign),
          .current_A = jump(*waves[1], sign),
          .dc_current_A = jump(*waves[2], 1.0)};
    }
  }
}

// Mean over half a period of what the lines and edges draw.
double drawn_mean(const HalfWave& wave, const Pulse& pulse) {
  double sum = 0.0;
  for (std::size_t k = 0; k < half; ++k) {
    const auto start = static_cast<double>(k);
    const double from = std::clamp(pulse.from - start, 0.0, 1.0);
    const double to = std::clamp(pulse.to - start, 0.0, 1.0);
    const WaveCell in = line(wave.pulse, k);
    const WaveCell out = line(wave.rest, k);
    const double inside = in.start * (to - from) + 0.5 * in.slope * (to * to - from * from);
    const double outside =
        out.start * (1.0 - to + from) + 0.5 * out.slope * (1.0 - to * to + from * from);
    sum += inside + outside;
  }
  return sum / half;
}

// I + share (v i - P) / V, at the borders of the cells.
void draw_dc_current(const AcOperation& operation, const Pulse& pulse, const HalfWave& voltage_V,
                     const HalfWave& current_A, HalfWave& dc_A) {
  for (std::size_t k = 0; k <= half; ++k) {
    dc_A.pulse[k] = voltage_V.pulse[k] * current_A.pulse[k];
    dc_A.rest[k] = voltage_V.rest[k] * current_A.rest[k];
  }
  const double mean_W = drawn_mean(dc_A, pulse);
  const double per_V =
      operation.dc_voltage_V > 0.0 ? operation.dc_ripple_share / operation.dc_voltage_V : 0.0;
  for (std::array<double, half + 1>* values : {&dc_A.pulse, &dc_A.rest}) {
    for (double& value : *values)
      value = operation.dc_current_A + per_V * (value - mean_W);
  }
}

// A turn in 2^64 parts; whole turns fall away.
std::uint64_t parts_of_turn(double turns) {
  const double part = turns - std::floor(turns);
  return static_cast<std::uint64_t>(part * 0x1p63) << 1U;
}

// Part of the cell that has passed, to 2^-40.
double within_cell(std::uint64_t phase) {
  return static_cast<double>(static_cast<std::int64_t>(phase >> 12U & 0xffffffffffU)) * 0x1p-40;
}

double read(const WaveCell* table, std::uint64_t phase) {
  const WaveCell& cell = table[phase >> 52U];
  return cell.start + within_cell(phase) * cell.slope;
}

void fill_channel(const WaveTable& table, std::uint64_t phase, std::uint64_t step,
                  std::span<double> samples) {
  const WaveCell* cell = table.data();
  for (double& sample : samples) {
    sample = read(cell, phase);
    phase += step;
  }
}

// Adds a jump to the samples between an edge and the end of its cell, turn after turn.
void add_jump(const WaveEdge& edge, const WaveCell& jump, std::uint64_t phase, std::uint64_t step,
              std::span<double> samples) {
  if (step == 0) return;
  const std::uint64_t width = edge.cell_end - edge.phase;
  std::uint64_t beyond = phase - edge.phase;  // since the edge was last passed
  std::size_t i = 0;
  while (i < samples.size()) {
    if (beyond < width) {
      samples[i] += jump.start + within_cell(edge.phase + beyond) * jump.slope;
      ++i;
      beyond += step;
      continue;
    }
    const std::uint64_t ahead = std::uint64_t{0} - beyond;
    const std::uint64_t steps = ahead / step + (ahead % step != 0 ? 1U : 0U);
    if (steps >= samples.size() - i) return;
    i += steps;
    beyond += steps * step;
  }
}

struct RippleSteps {
  WavePhase start;
  std::uint64_t output_step;
  std::uint64_t ripple_step;
};

void add_ripple(const AcPeriod& period, const RippleSteps& steps, double factor,
                std::span<double> samples) {
  const WaveCell* envelope = period.ripple_V.data();
  const WaveCell* sine = sine_table().data();
  std::uint64_t output = steps.start.output;
  std::uint64_t ripple = steps.start.ripple + (std::uint64_t{1} << 62U);  // cosine
  for (double& sample : samples) {
    sample += factor * read(envelope, output) * read(sine, ripple);
    output += steps.output_step;
    ripple += steps.ripple_step;
  }
}

void tabulate_ripple(const CarrierRipple& ripple, AcPeriod& period) {
  period.ripple_Hz = ripple.frequency_Hz;
  period.has_ripple = ripple.amplitude_V != 0.0;
  if (!period.has_ripple) return;
  const auto envelope_V = [&](std::size_t k) {
    return ripple.amplitude_V * std::sin(pi * ripple.modulation * sine_table()[k % cells].start);
  };
  double before_V = envelope_V(0);
  for (std::size_t k = 0; k < cells; ++k) {
    const double after_V = envelope_V(k + 1);
    period.ripple_V[k] = {.start = before_V, .slope = after_V - before_V};
    before_V = after_V;
  }
}

}  // namespace

void tabulate(const AcOperation& operation, std::span<const SwitchedLoad> loads, AcPeriod& period) {
  check(operation.supply);
  const Pulse pulse = pulse_of(operation.supply);
  HalfWave voltage_V;
  HalfWave current_A{};
  HalfWave dc_A;
  draw_voltage(operation.supply, voltage_V);
  period.ripple_conductance_S = 0.0;
  for (const SwitchedLoad& each : loads) {
    if (!each.on) continue;
    add_load(each, operation.supply, voltage_V, current_A);
    period.ripple_conductance_S += resistive_S(each);
  }
  draw_dc_current(operation, pulse, voltage_V, current_A, dc_A);
  lay(voltage_V, pulse, -1.0, period.voltage_V);
  lay(current_A, pulse, -1.0, period.current_A);
  lay(dc_A, pulse, 1.0, period.dc_current_A);
  lay_edges(pulse, {&voltage_V, &current_A, &dc_A}, period);
  period.frequency_Hz = operation.supply.frequency_Hz;
  tabulate_ripple(operation.ripple, period);
}

WavePhase fill(const AcPeriod& period, WavePhase start, double interval_s, const WaveBlock& block) {
  const std::size_t samples =
      std::max({block.voltage_V.size(), block.current_A.size(), block.dc_current_A.size()});
  const auto fits = [&](std::span<double> span) { return span.empty() || span.size() == samples; };
  if (!fits(block.voltage_V) || !fits(block.current_A) || !fits(block.dc_current_A))
    throw base::BadInput("wave block", "channels differ in length", "equal lengths");
  if (!(interval_s > 0.0 && std::isfinite(interval_s)))
    throw base::BadInput("wave block", "sample interval is not above 0", "above 0 s");
  const std::uint64_t step = parts_of_turn(period.frequency_Hz * interval_s);
  const std::uint64_t ripple_step = parts_of_turn(period.ripple_Hz * interval_s);
  fill_channel(period.voltage_V, start.output, step, block.voltage_V);
  fill_channel(period.current_A, start.output, step, block.current_A);
  fill_channel(period.dc_current_A, start.output, step, block.dc_current_A);
  for (const WaveEdge& edge : std::span(period.edges).first(period.edge_count)) {
    add_jump(edge, edge.voltage_V, start.output, step, block.voltage_V);
    add_jump(edge, edge.current_A, start.output, step, block.current_A);
    add_jump(edge, edge.dc_current_A, start.output, step, block.dc_current_A);
  }
  if (period.has_ripple) {
    const RippleSteps steps{.start = start, .output_step = step, .ripple_step = ripple_step};
    add_ripple(period, steps, 1.0, block.voltage_V);
    if (period.ripple_conductance_S > 0.0)
      add_ripple(period, steps, period.ripple_conductance_S, block.current_A);
  }
  return {.output = start.output + samples * step, .ripple = start.ripple + samples * ripple_step};
}

}  // namespace windwright::physics
