// SPDX-License-Identifier: Apache-2.0
#include "bench/design_file.h"
#include "physics/blade_design.h"
#include "physics/practical_blade.h"

#include <benchmark/benchmark.h>

#include <cmath>

// The demo's blade designed, from polar to chord and twist: 14 stations, drag, tip losses, Reynolds
// number iterated. Limit: 50 ms, so that a design is there while a slider moves. The second one
// adds every compromise with its cost, each over a sweep of the tip-speed ratio; the same limit a
// blade. `share_of_limit` above 1 misses it.
namespace windwright::physics {
namespace {

constexpr double limit_s = 50e-3;

bench::DesignFile demo() {
  return bench::design_from_file(SOURCE_FOLDER "/examples/saltmarsh-college/design.toml");
}

void report(benchmark::State& state, double blades) {
  const auto calls = static_cast<double>(state.iterations()) * blades;
  state.SetItemsProcessed(static_cast<benchmark::IterationCount>(calls));
  state.counters["share_of_limit"] = benchmark::Counter(
      calls * limit_s, benchmark::Counter::kIsRate | benchmark::Counter::kInvert);
}

void blade_design(benchmark::State& state) {
  const bench::DesignFile file = demo();
  const BladeDesign right = design_blade(file.task, file.options);
  const DesignStation& outer = right.stations[right.stations.size() - 4];
  // Near the tip the ideal inflow angle is 2/3 atan(1/x), give or take drag and loss.
  const double ideal_rad = 2.0 / 3.0 * std::atan(1.0 / outer.local_speed_ratio);
  if (right.unsettled_stations != 0 || std::abs(outer.inflow_angle_rad / ideal_rad - 1.0) > 0.05) {
    state.SkipWithError("the design is not the one asked for");
    return;
  }
  for (auto _ : state)
    benchmark::DoNotOptimize(design_blade(file.task, file.options));
  report(state, 1.0);
}
BENCHMARK(blade_design)->Unit(benchmark::kMillisecond)->Repetitions(9);

void practical_blades_of_the_demo(benchmark::State& state) {
  const bench::DesignFile file = demo();
  const auto right = practical_blades(file.task, file.options, file.compromises);
  if (right.size() != 8 || !(right.front().cp > 0.3 && right.front().cp < 0.5)) {
    state.SkipWithError("the blades are not those asked for");
    return;
  }
  for (auto _ : state)
    benchmark::DoNotOptimize(practical_blades(file.task, file.options, file.compromises));
  report(state, static_cast<double>(right.size()));
}
BENCHMARK(practical_blades_of_the_demo)->Unit(benchmark::kMillisecond)->Repetitions(9);

}  // namespace
}  // namespace windwright::physics
