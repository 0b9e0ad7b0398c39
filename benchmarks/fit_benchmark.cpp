// SPDX-License-Identifier: Apache-2.0
#include "base/random.h"
#include "metrology/fit.h"

#include <benchmark/benchmark.h>
#include <fmt/format.h>
#include <sys/types.h>
#include <sys/wait.h>
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

// The numpy process, spoken to by lines.
class Peer {
 public:
  Peer()
      : folder_(std::filesystem::temp_directory_path() /
                fmt::format("fit_{}", static_cast<long>(::getpid()))) {
    std::filesystem::create_directories(folder_);
    const std::string samples = folder_ / "readings";
    std::vector<double> weights;
    for (const double u : readings().u_reading)
      weights.push_back(1.0 / u);
    std::ofstream out(samples, std::ios::binary);
    for (const auto* column :
         {&readings().reference, &readings().reading, &std::as_const(weights)}) {
      out.write(reinterpret_cast<const char*>(column->data()),
                static_cast<std::streamsize>(column->size() * sizeof(double)));
    }
    out.close();
    int to[2];
    int from[2];
    if (::pipe(to) != 0 || ::pipe(from) != 0) std::abort();
    child_ = ::fork();
    if (child_ == 0) {
      ::dup2(to[0], 0);
      ::dup2(from[1], 1);
      ::close(to[1]);
      ::close(from[0]);
      ::setenv("OMP_NUM_THREADS", "1", 1);
      ::setenv("OPENBLAS_NUM_THREADS", "1", 1);
      ::execl("/usr/bin/python3", "python3", SOURCE_FOLDER "/benchmarks/fit_peer.py",
              samples.c_str(), std::to_string(degree).c_str(), nullptr);
      ::_exit(127);
    }
    ::close(to[0]);
    ::close(from[1]);
    write_ = ::fdopen(to[1], "w");
    read_ = ::fdopen(from[0], "r");
  }
  Peer(const Peer&) = delete;
  Peer& operator=(const Peer&) = delete;
  ~Peer() {
    std::fclose(write_);
    std::fclose(read_);
    int status = 0;
    ::waitpid(child_, &status, 0);
    std::filesystem::remove_all(folder_);
  }

  /// CPU seconds of one fit, its coefficients and their uncertainties; empty: no numpy there.
  std::vector<double> fitted() {
    std::fputs("fit\n", write_);
    std::fflush(write_);
    std::array<char, 500> answer{};
    if (std::fgets(answer.data(), answer.size(), read_) == nullptr) return {};
    std::istringstream words(answer.data());
    return {std::istream_iterator<double>(words), std::istream_iterator<double>()};
  }

 private:
  std::filesystem::path folder_;
  pid_t child_ = 0;
  std::FILE* write_ = nullptr;
  std::FILE* read_ = nullptr;
};

Peer& peer() {
  static Peer one;
  return one;
}

std::vector<double> ours_s;
std::vector<double> numpy_s;

double median(std::vector<double> values) {
  if (values.empty()) return 0.0;
  std::sort(values.begin(), values.end());
  return values[values.size() / 2];
}

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
  std::string interleaved = "--benchmark_enable_random_interleaving=true";
  std::vector<char*> arguments(argv, argv + argc);
  arguments.insert(arguments.begin() + 1, interleaved.data());
  int count = static_cast<int>(arguments.size());
  benchmark::Initialize(&count, arguments.data());
  benchmark::RunSpecifiedBenchmarks();
  windwright::metrology::tell_ratios();
  return 0;
}
