// SPDX-License-Identifier: Apache-2.0
#include "turns.h"

#include <benchmark/benchmark.h>
#include <time.h>

#include <string>
#include <vector>

namespace windwright::benchmarks {

void run_in_turns(int argc, char** argv) {
  std::string interleaved = "--benchmark_enable_random_interleaving=true";
  std::vector<char*> arguments(argv, argv + argc);
  arguments.insert(arguments.begin() + 1, interleaved.data());
  int count = static_cast<int>(arguments.size());
  benchmark::Initialize(&count, arguments.data());
  benchmark::RunSpecifiedBenchmarks();
}

double cpu_s() {
  timespec time{};
  clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &time);
  return static_cast<double>(time.tv_sec) + 1e-9 * static_cast<double>(time.tv_nsec);
}

}  // namespace windwright::benchmarks
