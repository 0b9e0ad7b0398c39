// SPDX-License-Identifier: Apache-2.0
#include "peer_process.h"
#include "signal/ac_power.h"
#include "turns.h"

#include <benchmark/benchmark.h>
#include <fmt/format.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <ctime>
#include <filesystem>
#include <fstream>
#include <numbers>
#include <string>
#include <vector>

// Two seconds of a modified sine and a rectifier's current at 250 000 samples a second, on one
// core: what an inverter's output asks for. In the same run, turn by turn: the same quantities in
// numpy (ac_power_peer.py), whose windows are a whole number of samples where ours are of any
// length. Limit: 200 times real time.
namespace windwright::signal {
namespace {

using benchmarks::median;

constexpr double rate_hz = 250000.0;
constexpr double seconds = 2.0;
constexpr double least_times_real_time = 200.0;
constexpr double frequency_Hz = 50.0;

struct Pair {
  std::vector<double> v;
  std::vector<double> i;
};
const Pair& pair() {
  static const Pair made = [] {
    Pair p;
    for (std::size_t n = 0; n < static_cast<std::size_t>(rate_hz * seconds); ++n) {
      const double cycles = (static_cast<double>(n) + 0.5) * frequency_Hz / rate_hz;
      double v = 0.0;
      double i = 0.0;
      for (int order = 1; order < 50; order += 2) {
        const double angle = 2.0 * std::numbers::pi * order * (cycles - std::floor(cycles));
        v += 400.0 / order * std::cos(order * 0.4) * std::sin(angle);
        i += 3.0 / std::pow(order, 0.6) * std::sin(angle + 0.3 * order);
      }
      p.v.push_back(v);
      p.i.push_back(i);
    }
    return p;
  }();
  return made;
}

PairPower analysed() {
  return pair_power(std::array{PairStretch{pair().v, pair().i}}, rate_hz, {}, "benchmark");
}

// The numpy process, with the samples in a file.
class Peer {
 public:
  Peer()
      : file_(std::filesystem::temp_directory_path() /
              fmt::format("ac_power_{}", static_cast<long>(::getpid()))),
        process_("ac_power_peer.py", {written(), std::to_string(rate_hz)}) {}
  Peer(const Peer&) = delete;
  Peer& operator=(const Peer&) = delete;
  ~Peer() { std::filesystem::remove(file_); }

  /// CPU seconds of one analysis and its results; empty: no numpy there.
  std::vector<double> analysed() { return process_.ask("analyse"); }

 private:
  std::string written() const {
    std::ofstream out(file_, std::ios::binary);
    for (const auto* channel : {&pair().v, &pair().i}) {
      out.write(reinterpret_cast<const char*>(channel->data()),
                static_cast<std::streamsize>(channel->size() * sizeof(double)));
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

// Largest relative difference from the peer's results.
double difference(const std::vector<double>& answer) {
  const PairPower got = analysed();
  const AlternatingPower& ac = *got.alternating;
  const std::array ours{ac.frequency_Hz,
                        got.voltage.rms,
                        got.current.rms,
                        got.active_power_W,
                        ac.voltage_distortion->thd,
                        ac.current_distortion->thd,
                        ac.current_distortion->thdg,
                        ac.terms.non_fundamental_apparent_power_VA};
  double largest = 0.0;
  for (std::size_t k = 0; k < ours.size(); ++k)
    largest = std::max(largest, std::abs(answer.at(k + 1) / ours[k] - 1.0));
  return largest;
}

void pair_of_channels(benchmark::State& state) {
  for (auto _ : state) {
    const auto start = std::clock();
    benchmark::DoNotOptimize(analysed());
    ours_s.push_back(static_cast<double>(std::clock() - start) / CLOCKS_PER_SEC);
    state.SetIterationTime(ours_s.back());
  }
  state.SetItemsProcessed(state.iterations() * static_cast<std::int64_t>(pair().v.size()));
  state.counters["times_real_time"] = seconds / median(ours_s);
}
BENCHMARK(pair_of_channels)
    ->Unit(benchmark::kMillisecond)
    ->UseManualTime()
    ->Iterations(3)
    ->Repetitions(9);

void numpy(benchmark::State& state) {
  const std::vector<double> answer = peer().analysed();
  if (answer.empty()) {
    state.SkipWithError("python3 with numpy is not there (Debian: python3-numpy)");
    return;
  }
  if (difference(answer) > 1e-6) {
    state.SkipWithError(fmt::format("results differ by {:.2g}", difference(answer)).c_str());
    return;
  }
  for (auto _ : state) {
    numpy_s.push_back(peer().analysed().at(0));
    state.SetIterationTime(numpy_s.back());
  }
  state.counters["times_real_time"] = seconds / median(numpy_s);
}
BENCHMARK(numpy)->Unit(benchmark::kMillisecond)->UseManualTime()->Iterations(1)->Repetitions(9);

}  // namespace

/// Whether the limit holds, where it was measured.
bool tell_ratios() {
  if (ours_s.empty()) return true;
  const double times = seconds / median(ours_s);
  fmt::print("{:.0f} times real time (at least {:.0f})", times, least_times_real_time);
  if (!numpy_s.empty()) {
    fmt::print("; numpy {:.0f} times; ratio {:.1f}", seconds / median(numpy_s),
               median(numpy_s) / median(ours_s));
  }
  fmt::print("\n");
  return times >= least_times_real_time;
}

}  // namespace windwright::signal

int main(int argc, char** argv) {
  windwright::benchmarks::run_in_turns(argc, argv);
  return windwright::signal::tell_ratios() && !windwright::benchmarks::peer_missing() ? 0 : 1;
}
