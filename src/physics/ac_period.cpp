// SPDX-License-Identifier: Apache-2.0
#include "physics/ac_period.h"

#include "base/errors.h"

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
constexpr std::size_t cells = AcPeriod::cells;
constexpr std::size_t half = cells / 2;
using HalfPeriod = std::array<double, half>;
using Table = std::array<double, cells + 1>;

// sin(2 pi k / cells).
const Table& sine_table() {
  static const Table table = [] {
    Table made{};
    for (std::size_t k = 0; k <= cells; ++k)
      made[k] = std::sin(2.0 * pi * static_cast<double>(k % cells) / cells);
    return made;
  }();
  return table;
}

// Means over cells: of a sine the sine, a little less; of pulses the part of the cell they cover.
void tabulate_voltage(const AcSupply& supply, Table& voltage_V) {
  if (supply.kind == OutputKind::sine) {
    const double peak_V = supply.peak_V * std::sin(pi / cells) / (pi / cells);
    for (std::size_t k = 0; k < half; ++k)
      voltage_V[k] = peak_V * sine_table()[k];
  } else {
    const double share = supply.kind == OutputKind::square ? 1.0 : supply.pulse_share;
    const double from = 0.25 * (1.0 - share) * cells;
    const double to = half - from;
    const auto covered = [&](double middle) {
      return std::max(0.0, std::min(to, middle + 0.5) - std::max(from, middle - 0.5));
    };
    for (std::size_t k = 0; k < half; ++k)
      voltage_V[k] = supply.peak_V * covered(static_cast<double>(k));
    // Half of cell 0 belongs to the half period before.
    voltage_V[0] -= supply.peak_V * covered(half);
  }
}

void add_resistance(const Table& voltage_V, double resistance_ohm, double count,
                    HalfPeriod& current_A) {
  for (std::size_t k = 0; k < half; ++k)
    current_A[k] += count * voltage_V[k] / resistance_ohm;
}

// Temperature about its mean from the energy fed above the mean power, then resistance by its
// slope. Half a period holds a whole one of the power.
void add_lamp(const Lamp& lamp, double temperature_K, const AcSupply& supply,
              const Table& voltage_V, double count, HalfPeriod& current_A) {
  const double resistance_ohm = lamp_resistance_ohm(lamp, temperature_K);
  const double nearby_K = 1e-3 * temperature_K;
  const double slope =
      (lamp_resistance_ohm(lamp, temperature_K + nearby_K) / resistance_ohm - 1.0) / nearby_K;
  const double per_cell_K =
      1.0 / (cells * supply.frequency_Hz * resistance_ohm * lamp.heat_capacity_J_K);
  double mean_square_V2 = 0.0;
  for (std::size_t k = 0; k < half; ++k)
    mean_square_V2 += voltage_V[k] * voltage_V[k] / half;
  std::array<double, half> rise_K{};
  double sum_K = 0.0;
  double mean_K = 0.0;
  for (std::size_t k = 0; k < half; ++k) {
    const double step_K = per_cell_K * (voltage_V[k] * voltage_V[k] - mean_square_V2);
    rise_K[k] = sum_K + 0.5 * step_K;
    sum_K += step_K;
    mean_K += rise_K[k] / half;
  }
  const double most_K = 0.3 * temperature_K;
  for (std::size_t k = 0; k < half; ++k) {
    const double ripple_K = std::clamp(rise_K[k] - mean_K, -most_K, most_K);
    current_A[k] += count * voltage_V[k] / (resistance_ohm * (1.0 + slope * ripple_K));
  }
}

void add_fan(const AcFan& fan, double speed_rad_s, const AcSupply& supply, double count,
             HalfPeriod& current_A) {
  const Table& sine = sine_table();
  const std::size_t orders = supply.kind == OutputKind::sine ? 1 : harmonic_orders;
  for (std::size_t i = 0; i < orders; ++i) {
    const int order = order_of(i);
    const std::complex<double> phasor_A =
        count * std::numbers::sqrt2 * harmonic_V(supply, order) *
        fan_admittance_S(fan, speed_rad_s, supply.frequency_Hz, order);
    const auto stride = static_cast<std::size_t>(order);
    for (std::size_t k = 0; k < half; ++k) {
      const std::size_t at = k * stride % cells;
      current_A[k] += phasor_A.real() * sine[at] + phasor_A.imag() * sine[(at + cells / 4) % cells];
    }
  }
}

void add_load(const SwitchedLoad& each, const AcSupply& supply, const Table& voltage_V,
              HalfPeriod& current_A) {
  if (const auto* rheostat = std::get_if<Rheostat>(&each.load)) {
    add_resistance(voltage_V, rheostat_resistance_ohm(*rheostat, each.state.temperature_K),
                   each.count, current_A);
  } else if (const auto* lamp = std::get_if<Lamp>(&each.load)) {
    add_lamp(*lamp, each.state.temperature_K, supply, voltage_V, each.count, current_A);
  } else if (const auto* led = std::get_if<LedLamp>(&each.load)) {
    add_led_current(*led, each.state.capacitor_J, supply, each.count, current_A);
  } else if (const auto* fan = std::get_if<AcFan>(&each.load)) {
    add_fan(*fan, each.state.speed_rad_s, supply, each.count, current_A);
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

// The second half period is the first with its sign turned.
void complete(Table& table) {
  for (std::size_t k = 0; k < half; ++k)
    table[half + k] = -table[k];
  table[cells] = table[0];
}

void tabulate_dc_current(const AcOperation& operation, AcPeriod& period) {
  if (!(operation.dc_voltage_V > 0.0)) {
    period.dc_current_A.fill(0.0);
    return;
  }
  double mean_W = 0.0;
  for (std::size_t k = 0; k < cells; ++k)
    mean_W += period.voltage_V[k] * period.current_A[k] / cells;
  for (std::size_t k = 0; k <= cells; ++k) {
    period.dc_current_A[k] =
        operation.dc_current_A + operation.dc_ripple_share *
                                     (period.voltage_V[k] * period.current_A[k] - mean_W) /
                                     operation.dc_voltage_V;
  }
}

// A turn in 2^64 parts; whole turns fall away.
std::uint64_t parts_of_turn(double turns) {
  const double part = turns - std::floor(turns);
  const auto scaled = static_cast<std::uint64_t>(part * 0x1p63);
  return scaled << 1U;
}

double read(const double* table, std::uint64_t phase) {
  const std::uint64_t cell = phase >> 52U;
  const auto rest = static_cast<std::int64_t>(phase >> 12U & 0xffffffffffU);
  const double low = table[cell];
  return low + static_cast<double>(rest) * 0x1p-40 * (table[cell + 1] - low);
}

void fill_channel(const Table& table, std::uint64_t phase, std::uint64_t step,
                  std::span<double> samples) {
  const double* values = table.data();
  for (double& sample : samples) {
    sample = read(values, phase);
    phase += step;
  }
}

struct RippleSteps {
  WavePhase start;
  std::uint64_t output_step;
  std::uint64_t ripple_step;
};

void add_ripple(const AcPeriod& period, const RippleSteps& steps, double factor,
                std::span<double> samples) {
  const double* envelope = period.ripple_V.data();
  const double* sine = sine_table().data();
  std::uint64_t output = steps.start.output;
  std::uint64_t ripple = steps.start.ripple + (std::uint64_t{1} << 62U);  // cosine
  for (double& sample : samples) {
    sample += factor * read(envelope, output) * read(sine, ripple);
    output += steps.output_step;
    ripple += steps.ripple_step;
  }
}

}  // namespace

void tabulate(const AcOperation& operation, std::span<const SwitchedLoad> loads, AcPeriod& period) {
  check(operation.supply);
  tabulate_voltage(operation.supply, period.voltage_V);
  HalfPeriod current_A{};
  period.ripple_conductance_S = 0.0;
  for (const SwitchedLoad& each : loads) {
    if (!each.on) continue;
    add_load(each, operation.supply, period.voltage_V, current_A);
    period.ripple_conductance_S += resistive_S(each);
  }
  std::copy(current_A.begin(), current_A.end(), period.current_A.begin());
  complete(period.voltage_V);
  complete(period.current_A);
  tabulate_dc_current(operation, period);
  period.frequency_Hz = operation.supply.frequency_Hz;
  period.ripple_Hz = operation.ripple.frequency_Hz;
  period.has_ripple = operation.ripple.amplitude_V != 0.0;
  for (std::size_t k = 0; period.has_ripple && k <= cells; ++k) {
    period.ripple_V[k] =
        operation.ripple.amplitude_V * std::sin(pi * operation.ripple.modulation * sine_table()[k]);
  }
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
  if (period.has_ripple) {
    const RippleSteps steps{.start = start, .output_step = step, .ripple_step = ripple_step};
    add_ripple(period, steps, 1.0, block.voltage_V);
    if (period.ripple_conductance_S > 0.0)
      add_ripple(period, steps, period.ripple_conductance_S, block.current_A);
  }
  return {.output = start.output + samples * step, .ripple = start.ripple + samples * ripple_step};
}

}  // namespace windwright::physics
