// SPDX-License-Identifier: Apache-2.0
// Phase voltages and currents between generator and bridge, three phases at 250 kS/s, as blocks of
// 4 ms with a new operating point each (speed and voltage drift). Limit: 100 times real time on one
// core. Peer in the same run: the same arcs looked up and evaluated sample by sample with the
// library's sine, cosine and exponential. Beside them the averaged machine, and its exact solution.
#include "physics/bridge_cycle.h"
#include "physics/bridge_waveform.h"
#include "physics/generator.h"

#include <benchmark/benchmark.h>

#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <numbers>
#include <vector>

namespace windwright::physics {
namespace {

constexpr double rate_Hz = 250e3;
constexpr std::size_t block = 1000;

Generator demo_generator() {
  return {.pole_pairs = 6,
          .flux_linkage_V_s = 0.0165,
          .winding_resistance_ohm = 0.45,
          .winding_inductance_H = 0.5e-3,
          .diode_drop_V = 0.75,
          .diode_resistance_ohm = 0.03,
          .bearing_torque_N_m = 0.006,
          .bearing_viscous_N_m_s = 1e-5,
          .iron_hysteresis_J = 2.5e-4,
          .iron_eddy_J_s = 1.5e-6,
          .cogging_torque_N_m = 0.015};
}

struct Buffers {
  std::array<std::vector<double>, 3> voltage_V;
  std::array<std::vector<double>, 3> current_A;
  std::array<PhaseSamples, 3> phases;

  Buffers() {
    for (std::size_t k = 0; k < 3; ++k) {
      voltage_V[k].resize(block);
      current_A[k].resize(block);
      phases[k] = {.voltage_V = voltage_V[k], .current_A = current_A[k]};
    }
  }
};

struct Point {
  double speed_rad_s;
  double voltage_V;
};

Point drifting(int i) {
  return {.speed_rad_s = 120.0 + 10.0 * std::sin(0.01 * i),
          .voltage_V = 12.0 + std::cos(0.007 * i)};
}

void report(benchmark::State& state) {
  state.SetItemsProcessed(static_cast<std::int64_t>(6 * block) * state.iterations());
  state.counters["times_real_time"] = benchmark::Counter(
      block / rate_Hz * static_cast<double>(state.iterations()), benchmark::Counter::kIsRate);
}

void waveform_blocks(benchmark::State& state) {
  const Generator generator = demo_generator();
  Buffers buffers;
  double angle_rad = 0.0;
  int i = 0;
  for (auto _ : state) {
    const Point at = drifting(++i);
    const auto waveform = BridgeWaveform::on_voltage(generator, at.speed_rad_s, at.voltage_V);
    angle_rad =
        std::fmod(waveform.fill(angle_rad, 6.0 * at.speed_rad_s / rate_Hz, buffers.phases), 1e3);
    benchmark::DoNotOptimize(buffers.voltage_V[2].data());
    benchmark::ClobberMemory();
  }
  const BridgeWaveform last = BridgeWaveform::on_voltage(generator, 120.0, 12.0);
  last.fill(0.3, 0.003, buffers.phases);
  for (std::size_t n = 0; n < block; n += 100) {
    const double angle = 0.3 + 0.003 * static_cast<double>(n);
    if (!(std::abs(phase_point(last.cycle(), 1, angle).current_A - buffers.current_A[1][n]) <
          1e-9)) {
      state.SkipWithError("the blocks are not the arcs");
    }
  }
  report(state);
}

void sample_by_sample(benchmark::State& state) {
  const Generator generator = demo_generator();
  Buffers buffers;
  double angle_rad = 0.0;
  int i = 0;
  for (auto _ : state) {
    const Point at = drifting(++i);
    const double emf_V = 6.0 * at.speed_rad_s * generator.flux_linkage_V_s;
    const auto waveform = BridgeWaveform::on_voltage(generator, at.speed_rad_s, at.voltage_V);
    const double step_rad = 6.0 * at.speed_rad_s / rate_Hz;
    for (std::size_t n = 0; n < block; ++n) {
      for (std::size_t k = 0; k < 3; ++k) {
        const PhasePoint point = phase_point(waveform.cycle(), k, angle_rad);
        const double lag_rad = 2.0 * std::numbers::pi / 3.0 * static_cast<double>(k);
        buffers.current_A[k][n] = point.current_A;
        buffers.voltage_V[k][n] = emf_V * std::sin(angle_rad - lag_rad) - point.drive_V +
                                  generator.diode_resistance_ohm * point.current_A;
      }
      angle_rad += step_rad;
    }
    angle_rad = std::fmod(angle_rad, 1e3);
    benchmark::DoNotOptimize(buffers.voltage_V[2].data());
    benchmark::ClobberMemory();
  }
  report(state);
}

void averaged_on_voltage(benchmark::State& state) {
  const Generator generator = demo_generator();
  double sum = generator_on_voltage(generator, 120.0, 12.0).load.dc_current_A;  // makes the table
  int i = 0;
  for (auto _ : state) {
    const double speed_rad_s = 100.0 + 0.01 * (++i % 4096);
    sum += generator_on_voltage(generator, speed_rad_s, 12.0).load.shaft_torque_N_m;
  }
  benchmark::DoNotOptimize(sum);
  const BridgeWaveform exact = BridgeWaveform::on_voltage(generator, 120.0, 12.0);
  const double current_A = generator_on_voltage(generator, 120.0, 12.0).load.dc_current_A;
  if (!(std::abs(current_A / exact.cycle().dc_current_A - 1.0) < 1e-4)) {
    state.SkipWithError("the table is not the exact solution");
  }
}

void exact_on_voltage(benchmark::State& state) {
  const Generator generator = demo_generator();
  double sum = 0.0;
  int i = 0;
  for (auto _ : state) {
    const double speed_rad_s = 100.0 + 0.01 * (++i % 4096);
    sum += BridgeWaveform::on_voltage(generator, speed_rad_s, 12.0).cycle().dc_current_A;
  }
  benchmark::DoNotOptimize(sum);
}

void averaged_on_resistance(benchmark::State& state) {
  const Generator generator = demo_generator();
  double sum = 0.0;
  int i = 0;
  for (auto _ : state)
    sum += generator_load(generator, 100.0 + 0.01 * (++i % 4096), 5.0).shaft_torque_N_m;
  benchmark::DoNotOptimize(sum);
}

void repeat(benchmark::internal::Benchmark* benchmark) {
  benchmark->Repetitions(9)->ReportAggregatesOnly();
}

BENCHMARK(waveform_blocks)->Apply(repeat);
BENCHMARK(sample_by_sample)->Apply(repeat);
BENCHMARK(averaged_on_voltage)->Apply(repeat);
BENCHMARK(exact_on_voltage)->Apply(repeat);
BENCHMARK(averaged_on_resistance)->Apply(repeat);

}  // namespace
}  // namespace windwright::physics
