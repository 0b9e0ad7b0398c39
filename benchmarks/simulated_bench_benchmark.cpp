// SPDX-License-Identifier: Apache-2.0
// The simulated bench with nine channels at 1 kS/s under turbulence. Its limit: 125 simulated
// seconds a second (1000 s in 8 s), or campaigns would be waited for. Its peer in the same run is
// the physics alone, without samples.
#include "twin/simulated_bench.h"

#include <benchmark/benchmark.h>

#include <cmath>

namespace windwright {
namespace {

bench::Bench demo_bench() {
  return bench::bench_from_file(SOURCE_FOLDER "/examples/saltmarsh-college/bench.toml");
}

// Turning under load, as a test point finds it.
void run_up(twin::SimulatedBench& device) {
  device.set("pitch_deg", 6.0);
  device.set("load_selector", 1.0);
  device.set("rheostat_ohm", 15.0);
  device.set("fan_pct", 70.0);
  device.advance(30.0);
}

bool is_in_balance(const twin::SimulatedBench& device) {
  const twin::EnergyTally e = device.energy();
  const double left_J = e.rotor_J - e.bearing_J - e.iron_J - e.winding_J - e.rectifier_J -
                        e.load_J - e.brake_J - e.kinetic_J;
  return e.load_J > 1.0 && std::abs(left_J) < 1e-7 * e.rotor_J;
}

void report(benchmark::State& state, const twin::SimulatedBench& device, double seconds) {
  if (!is_in_balance(device)) state.SkipWithError("the energies do not balance");
  state.counters["simulated_s_per_s"] = benchmark::Counter(seconds, benchmark::Counter::kIsRate);
}

void physics_and_samples(benchmark::State& state) {
  const bench::Bench bench = demo_bench();
  twin::SimulatedBench device(bench, twin::Pace::as_fast_as_possible);
  run_up(device);
  bench::SampleBlock block;
  double seconds = 0.0;
  for (auto _ : state) {
    device.read(block);
    benchmark::DoNotOptimize(block.counts.data());
    seconds += bench.block_s;
  }
  report(state, device, seconds);
  state.SetItemsProcessed(static_cast<std::int64_t>(block.counts.size()) * state.iterations());
}

void physics_alone(benchmark::State& state) {
  const bench::Bench bench = demo_bench();
  twin::SimulatedBench device(bench, twin::Pace::as_fast_as_possible);
  run_up(device);
  double seconds = 0.0;
  for (auto _ : state) {
    device.advance(bench.block_s);
    seconds += bench.block_s;
  }
  report(state, device, seconds);
}

void repeat(benchmark::internal::Benchmark* benchmark) {
  benchmark->Unit(benchmark::kMicrosecond)->Repetitions(9)->ReportAggregatesOnly();
}

BENCHMARK(physics_and_samples)->Apply(repeat);
BENCHMARK(physics_alone)->Apply(repeat);

}  // namespace
}  // namespace windwright
