// SPDX-License-Identifier: Apache-2.0
#include "bench/rotor_file.h"
#include "physics/rotor.h"

#include <benchmark/benchmark.h>

// One call of rotor_load on the demo rotor, at tip-speed ratios from stall to run-away in turn.
// Limit: 50 microseconds, so that a table of 300 points (a twin's torque map, a sweep on the
// screen) is there in 15 ms. `share_of_limit` above 1 misses it.
namespace windwright::physics {
namespace {

constexpr double limit_s = 50e-6;

void rotor_call(benchmark::State& state) {
  const auto rotor = bench::rotor_from_file(SOURCE_FOLDER "/examples/saltmarsh-college/rotor.toml");
  const auto call = [&rotor](int step) {
    return rotor_load(rotor, {.air_speed_m_s = 8.0,
                              .rotor_speed_rad_s = 0.1 * step * 8.0 / rotor.tip_radius_m,
                              .density_kg_m3 = 1.2,
                              .dynamic_viscosity_Pa_s = 1.8e-5});
  };
  const auto good = call(45);
  if (!(good.cp > 0.35 && good.cp < 0.45 && good.unconverged_elements == 0)) {
    state.SkipWithError("the demo rotor does not give its power");
    return;
  }
  int step = 0;
  for (auto _ : state) {
    benchmark::DoNotOptimize(call(step));
    step = (step + 1) % 100;
  }
  const auto calls = static_cast<double>(state.iterations());
  state.SetItemsProcessed(state.iterations());
  state.counters["share_of_limit"] = benchmark::Counter(
      calls * limit_s, benchmark::Counter::kIsRate | benchmark::Counter::kInvert);
}
BENCHMARK(rotor_call)->Unit(benchmark::kMicrosecond)->Repetitions(9);

}  // namespace
}  // namespace windwright::physics
