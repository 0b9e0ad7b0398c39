// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "bench/bench.h"

#include <filesystem>

namespace windwright::twin {

/// The bench of the demo scenario.
inline bench::Bench demo_bench() {
  return bench::bench_from_file(std::filesystem::path(SOURCE_FOLDER) /
                                "examples/saltmarsh-college/bench.toml");
}

/// The same rotor and generator on a battery with what hangs on it.
inline bench::Bench shed_bench() {
  return bench::bench_from_file(std::filesystem::path(SOURCE_FOLDER) /
                                "examples/saltmarsh-shed/bench.toml");
}

/// The demo without turbulence and with air and a generator that stay as warm as they are: it comes
/// to a true steady state.
inline bench::Bench calm_bench() {
  bench::Bench bench = demo_bench();
  bench.tunnel.turbulence_intensity = 0.0;
  bench.simulation->air_temperature_drift_K_h = 0.0;
  bench.generator_heat.reset();
  return bench;
}

}  // namespace windwright::twin
