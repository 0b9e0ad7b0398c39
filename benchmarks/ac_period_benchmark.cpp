// SPDX-License-Identifier: Apache-2.0
#include "physics/ac_period.h"

#include <benchmark/benchmark.h>

#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <memory>
#include <numbers>
#include <vector>

// One AC voltage and one load current at 250 kS/s, in blocks of 0.1 s, on one core: a sine with
// switching ripple feeding rheostat, lamp, LED lamps and fan, and a quasi-square feeding the same.
// In the same run, turn by turn, the same samples by std::sin (sine and rheostat with fan only: the
// peer need not solve the rectifier). Limits: over 100 times real time, refilling the tables for
// every block included; faster than the peer.
namespace windwright::physics {
namespace {

constexpr double pi = std::numbers::pi;
constexpr double rate_Hz = 250e3;
constexpr std::size_t block_samples = 25000;
constexpr double ripple_peak_V = 4.0;
constexpr double modulation = 0.8;
constexpr double ripple_Hz = 40e3;

const Rheostat rheostat{.resistance_ohm = 400.0,
                        .coefficient_K1 = 0.0,
                        .rated_power_W = 300.0,
                        .rated_rise_K = 280.0,
                        .heat_capacity_J_K = 400.0,
                        .highest_temperature_K = 620.0};
const AcFan fan{.stator_ohm = 120.0,
                .magnetising_H = 2.6,
                .leakage_H = 0.5,
                .rotor_ohm = 150.0,
                .pole_pairs = 2,
                .shaft = {.inertia_kg_m2 = 8e-4, .friction_N_m = 4e-3, .driven_N_m_s2 = 6e-6}};
const Lamp lamp{.rated_voltage_V = 230.0,
                .rated_power_W = 40.0,
                .rated_temperature_K = 2650.0,
                .heat_capacity_J_K = 3.5e-3};
const LedLamp led{.power_W = 9.0,
                  .lowest_voltage_V = 80.0,
                  .bridge_drop_V = 1.6,
                  .series_ohm = 22.0,
                  .capacitance_F = 6.8e-6,
                  .light_share = 0.35};

AcSupply supply_of(OutputKind kind) {
  return {.kind = kind, .peak_V = 325.27, .pulse_share = 0.5, .frequency_Hz = 50.0};
}

std::vector<SwitchedLoad> linear_loads() {
  return {{.load = rheostat, .state = {.temperature_K = 293.15}},
          {.load = fan, .state = {.speed_rad_s = 140.0}}};
}

std::vector<SwitchedLoad> all_loads(const AcSupply& supply) {
  std::vector<SwitchedLoad> loads = linear_loads();
  loads.push_back({.load = lamp, .state = {.temperature_K = 2600.0}});
  loads.push_back(
      {.load = led, .state = {.capacitor_J = settled_capacitor_J(led, supply)}, .count = 4.0});
  return loads;
}

AcOperation operation_of(OutputKind kind) {
  return {.supply = supply_of(kind),
          .ripple = {.amplitude_V = kind == OutputKind::sine ? ripple_peak_V : 0.0,
                     .modulation = modulation,
                     .frequency_Hz = ripple_Hz},
          .dc_voltage_V = 0.0,
          .dc_current_A = 0.0,
          .dc_ripple_share = 0.0};
}

struct Block {
  std::vector<double> voltage_V = std::vector<double>(block_samples);
  std::vector<double> current_A = std::vector<double>(block_samples);
};

// The peer: every sample from the formula itself.
void direct(double start_s, Block& block) {
  const double peak_V = supply_of(OutputKind::sine).peak_V;
  const std::complex<double> fan_S = fan_admittance_S(fan, 140.0, 50.0, 1);
  const double fan_A = peak_V * std::abs(fan_S);
  const double fan_rad = std::arg(fan_S);
  for (std::size_t i = 0; i < block_samples; ++i) {
    const double time_s = start_s + static_cast<double>(i) / rate_Hz;
    const double angle_rad = 2.0 * pi * 50.0 * time_s;
    const double sine = std::sin(angle_rad);
    const double at_V = peak_V * sine + ripple_peak_V * std::sin(pi * modulation * sine) *
                                            std::cos(2.0 * pi * ripple_Hz * time_s);
    block.voltage_V[i] = at_V;
    block.current_A[i] = at_V / 400.0 + fan_A * std::sin(angle_rad + fan_rad);
  }
}

void tell(benchmark::State& state) {
  const auto blocks = static_cast<double>(state.iterations());
  state.SetItemsProcessed(state.iterations() *
                          static_cast<benchmark::IterationCount>(2 * block_samples));
  state.counters["times_real_time"] = benchmark::Counter(
      blocks * static_cast<double>(block_samples) / rate_Hz, benchmark::Counter::kIsRate);
}

bool is_right(const AcPeriod& period, Block& mine) {
  Block right;
  direct(0.0, right);
  fill(period, {}, 1.0 / rate_Hz, {mine.voltage_V, mine.current_A, {}});
  double worst = 0.0;
  for (std::size_t i = 0; i < block_samples; ++i) {
    worst = std::max(worst, std::abs(mine.voltage_V[i] - right.voltage_V[i]) / 325.27);
    worst = std::max(worst, std::abs(mine.current_A[i] - right.current_A[i]) / 1.0);
  }
  return worst < 1e-6;
}

void from_tables(benchmark::State& state) {
  const auto period = std::make_unique<AcPeriod>();
  tabulate(operation_of(OutputKind::sine), linear_loads(), *period);
  Block block;
  if (!is_right(*period, block)) {
    state.SkipWithError("the samples are not those of the formula");
    return;
  }
  WavePhase phase;
  for (auto _ : state) {
    phase = fill(*period, phase, 1.0 / rate_Hz, {block.voltage_V, block.current_A, {}});
    benchmark::ClobberMemory();
  }
  tell(state);
}
BENCHMARK(from_tables)->Unit(benchmark::kMicrosecond)->Repetitions(9);

void from_formula(benchmark::State& state) {
  Block block;
  double start_s = 0.0;
  for (auto _ : state) {
    direct(start_s, block);
    start_s += static_cast<double>(block_samples) / rate_Hz;
    benchmark::ClobberMemory();
  }
  tell(state);
}
BENCHMARK(from_formula)->Unit(benchmark::kMicrosecond)->Repetitions(9);

// What a simulated bench does when its operating point moves with every block.
void all_loads_refilled(benchmark::State& state, OutputKind kind) {
  const auto period = std::make_unique<AcPeriod>();
  const AcOperation operation = operation_of(kind);
  const auto loads = all_loads(operation.supply);
  Block block;
  WavePhase phase;
  for (auto _ : state) {
    tabulate(operation, loads, *period);
    phase = fill(*period, phase, 1.0 / rate_Hz, {block.voltage_V, block.current_A, {}});
    benchmark::ClobberMemory();
  }
  tell(state);
}
BENCHMARK_CAPTURE(all_loads_refilled, sine, OutputKind::sine)
    ->Unit(benchmark::kMicrosecond)
    ->Repetitions(9);
BENCHMARK_CAPTURE(all_loads_refilled, quasi_square, OutputKind::quasi_square)
    ->Unit(benchmark::kMicrosecond)
    ->Repetitions(9);

void averaged_led_lamp(benchmark::State& state, OutputKind kind) {
  const AcSupply supply = supply_of(kind);
  const double stored_J = settled_capacitor_J(led, supply);
  for (auto _ : state)
    benchmark::DoNotOptimize(led_ac_flow(led, stored_J, supply));
}
BENCHMARK_CAPTURE(averaged_led_lamp, sine, OutputKind::sine)
    ->Unit(benchmark::kMicrosecond)
    ->Repetitions(9);
BENCHMARK_CAPTURE(averaged_led_lamp, quasi_square, OutputKind::quasi_square)
    ->Unit(benchmark::kMicrosecond)
    ->Repetitions(9);

}  // namespace
}  // namespace windwright::physics
