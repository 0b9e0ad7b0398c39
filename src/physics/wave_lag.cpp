// SPDX-License-Identifier: Apache-2.0
#include "physics/wave_lag.h"

#include "base/errors.h"
#include "base/text.h"

#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <numbers>
#include <span>

namespace windwright::physics {
namespace {

constexpr std::size_t cells = wave_cells;

// At the end of a line of this length (in cells), from 0 at its start.
double response(double start, double slope, double length, double lag) {
  const double reached = -std::expm1(-length / lag);
  return start * reached + slope * (length - lag * reached);
}

double gain(double frequency_Hz, double bandwidth_Hz) {
  return 1.0 / std::hypot(1.0, frequency_Hz / bandwidth_Hz);
}

}  // namespace

void pass_lag(double frequency_Hz, double bandwidth_Hz, std::span<const CellStep> steps,
              WaveTable& table) {
  if (!(frequency_Hz > 0.0) || std::isinf(frequency_Hz))
    throw base::BadInput("frequency", base::number_text(frequency_Hz) + " Hz", "above 0");
  if (!(bandwidth_Hz > 0.0))
    throw base::BadInput("bandwidth", base::number_text(bandwidth_Hz) + " Hz", "above 0");
  if (std::isinf(bandwidth_Hz)) return;
  const double lag = frequency_Hz * cells / (2.0 * std::numbers::pi * bandwidth_Hz);  // in cells
  const double kept = std::exp(-1.0 / lag);
  for (WaveCell& cell : table)
    cell.start = response(cell.start, cell.slope, 1.0, lag);
  for (const CellStep& step : steps) {
    const double start = step.line.start + step.from * step.line.slope;
    table[step.cell].start += response(start, step.line.slope, 1.0 - step.from, lag);
  }
  // What each cell adds stands in its start now. Once round from 0, then from where that repeats.
  double value = 0.0;
  for (const WaveCell& cell : table)
    value = kept * value + cell.start;
  value /= -std::expm1(-static_cast<double>(cells) / lag);
  for (WaveCell& cell : table) {
    const double next = kept * value + cell.start;
    cell = {.start = value, .slope = next - value};
    value = next;
  }
}

void pass_lags(double voltage_bandwidth_Hz, double current_bandwidth_Hz, AcPeriod& period) {
  const auto pass = [&](double bandwidth_Hz, WaveCell WaveEdge::* jump, WaveTable& table) {
    std::array<CellStep, std::tuple_size_v<decltype(period.edges)>> steps{};
    for (std::size_t i = 0; i < period.edge_count; ++i) {
      WaveEdge& edge = period.edges[i];
      constexpr double part = 0x1p-52;
      steps[i] = {.cell = static_cast<std::size_t>(edge.phase >> 52U),
                  .from = static_cast<double>(edge.phase & ((std::uint64_t{1} << 52U) - 1U)) * part,
                  .line = edge.*jump};
    }
    pass_lag(period.frequency_Hz, bandwidth_Hz, std::span(steps).first(period.edge_count), table);
    if (std::isinf(bandwidth_Hz)) return;
    for (std::size_t i = 0; i < period.edge_count; ++i)
      period.edges[i].*jump = {};
  };
  pass(voltage_bandwidth_Hz, &WaveEdge::voltage_V, period.voltage_V);
  pass(current_bandwidth_Hz, &WaveEdge::current_A, period.current_A);
  if (!period.has_ripple) return;
  const double of_voltage = gain(period.ripple_Hz, voltage_bandwidth_Hz);
  for (WaveCell& cell : period.ripple_V)
    cell = {.start = of_voltage * cell.start, .slope = of_voltage * cell.slope};
  period.ripple_conductance_S *= gain(period.ripple_Hz, current_bandwidth_Hz) / of_voltage;
}

}  // namespace windwright::physics
