// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "bench/bench.h"

#include <filesystem>
#include <vector>

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

/// The generator stays as warm as it is, and nobody measures that.
inline void forget_heat(bench::Bench& bench) {
  bench.generator_heat.reset();
  constexpr auto channel = "winding_temperature_C";
  std::erase_if(bench.interlocks,
                [&](const bench::Interlock& each) { return each.judges(channel); });
  std::erase_if(bench.channels, [&](const bench::Channel& each) { return each.name == channel; });
}

/// The demo without turbulence and with air and a generator that stay as warm as they are: it comes
/// to a true steady state.
inline bench::Bench calm_bench() {
  bench::Bench bench = demo_bench();
  bench.tunnel.turbulence_intensity = 0.0;
  bench.simulation->air_temperature_drift_K_h = 0.0;
  forget_heat(bench);
  return bench;
}

}  // namespace windwright::twin
