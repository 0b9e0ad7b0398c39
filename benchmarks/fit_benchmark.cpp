// SPDX-License-Identifier: Apache-2.0
#include "base/random.h"
#include "metrology/fit.h"
#include "peer_process.h"
#include "turns.h"

#include <benchmark/benchmark.h>
#include <fmt/format.h>
#include <sys/types.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <ctime>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <sstream>
#include <string>
#include <utility>
#include <vector>

// 10 000 weighted readings and a cubic with covariance, on one core: what a slow sweep of a sensor
// leaves behind. In the same run, turn by turn: numpy.polyfit (fit_peer.py). Limit: 5 times numpy.
namespace windwright::metrology {
namespace {

using benchmarks::median;

constexpr int degree = 3;
constexpr double least_ratio = 5.0;

const Readings& readings() {
  static const Readings made = [] {
    constexpr std::size_t count = 10000;
    const base::RandomStream random(1, "fit benchmark");
    Readings table;
    for (std::size_t i = 0; i < count; ++i) {
      const double x = 2.0 + 18.0 * static_cast<double>(i) / count;
      const double u = 0.002 * (1.0 + 0.5 * std::sin(0.01 * static_cast<double>(i)));
      table.reference.push_back(x);
      table.reading.push_back(0.3 + x * (0.21 + x * (-0.004 + x * 7e-5)) + u * random.normal(i));
      table.u_reading.push_back(u);
    }
    return table;
  }();
  return made;
}

// The readings, handed over in a file.
class Peer {
 public:
  Peer()
      : file_(std::filesystem::temp_directory_path() /
              fmt::format("fit_{}", static_cast<long>(::getpid()))),
        process_("fit_peer.py", {handed_over(), std::to_string(degree)}) {}
  Peer(const Peer&) = delete;
  Peer& operator=(const Peer&) = delete;
  ~Peer() { std::filesystem::remove(file_); }

  /// CPU seconds of one fit, its coefficients and their uncertainties; empty: no numpy there.
  std::vector<double> fitted() { return process_.ask("fit"); }

 private:
  std::string handed_over() const {
    std::vector<double> weights;
    for (const double u : readings().u_reading)
      weights.push_back(1.0 / u);
    std::ofstream out(file_, std::ios::binary);
    for (const auto* column :
         {&readings().reference, &readings().reading, &std::as_const(weights)}) {
      out.write(reinterpret_cast<const char*>(column->data()),
                static_cast<std::streamsize>(column->size() * sizeof(double)));
    }
    return file_;
  }

  std::filesystem::path file_;
  benchmarks::PeerProcess process_;
};

Peer& peer() {
  static Peer one;
  return one;
}

std::vector<double> ours_s;
std::vector<double> numpy_s;

double difference(const std::vector<double>& answer) {
  const Fit fit = fit_polynomial(readings(), degree, "benchmark");
  double largest = 0.0;
  for (std::size_t k = 0; k <= degree; ++k) {
    largest = std::max(largest, std::abs(answer.at(k + 1) / fit.coefficients[k] - 1.0));
    largest = std::max(largest,
                       std::abs(answer.at(k + degree + 2) / fit.standard_uncertainties[k] - 1.0));
  }
  return largest;
}

void polynomial_of_10000_readings(benchmark::State& state) {
  constexpr int rounds = 50;  // the clock is coarse
  for (auto _ : state) {
    const auto start = std::clock();
    for (int round = 0; round < rounds; ++round)
      benchmark::DoNotOptimize(fit_polynomial(readings(), degree, "benchmark"));
    ours_s.push_back(static_cast<double>(std::clock() - start) / CLOCKS_PER_SEC / rounds);
    state.SetIterationTime(ours_s.back());
  }
  state.SetItemsProcessed(state.iterations() *
                          static_cast<std::int64_t>(readings().reading.size()));
}
BENCHMARK(polynomial_of_10000_readings)
    ->Unit(benchmark::kMillisecond)
    ->UseManualTime()
    ->Iterations(3)
    ->Repetitions(9);

void numpy(benchmark::State& state) {
  const std::vector<double> answer = peer().fitted();
  if (answer.empty()) {
    state.SkipWithError("python3 with numpy is not there (Debian: python3-numpy)");
    return;
  }
  if (difference(answer) > 1e-7) {
    state.SkipWithError(fmt::format("results differ by {:.2g}", difference(answer)).c_str());
    return;
  }
  for (auto _ : state) {
    numpy_s.push_back(peer().fitted().at(0));
    state.SetIterationTime(numpy_s.back());
  }
}
BENCHMARK(numpy)->Unit(benchmark::kMillisecond)->UseManualTime()->Iterations(10)->Repetitions(9);

}  // namespace

void tell_ratios() {
  if (ours_s.empty() || numpy_s.empty()) return;
  fmt::print("{:.3f} ms; numpy.polyfit {:.3f} ms; ratio {:.1f} (at least {:.0f})\n",
             1e3 * median(ours_s), 1e3 * median(numpy_s), median(numpy_s) / median(ours_s),
             least_ratio);
}

}  // namespace windwright::metrology

int main(int argc, char** argv) {
  windwright::benchmarks::run_in_turns(argc, argv);
  windwright::metrology::tell_ratios();
  return windwright::benchmarks::peer_missing() ? 1 : 0;
}
