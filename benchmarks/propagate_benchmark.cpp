// SPDX-License-Identifier: Apache-2.0
#include "metrology/block_program.h"
#include "metrology/equation.h"
#include "metrology/measurement_model.h"
#include "metrology/monte_carlo.h"
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
#include <iterator>
#include <sstream>
#include <string>
#include <vector>

// A million trials of the electrical power coefficient, ten inputs all correlated with each other,
// on one core: draws, equation, mean, standard uncertainty, symmetric and shortest interval. In the
// same run, turn by turn: the same in numpy (propagate_peer.py). Then the equation alone on inputs
// that are there.
// Limits: 60 ms; numpy at least 4 times as long; the equation no slower than numpy's.
namespace windwright::metrology {
namespace {

using benchmarks::median;

constexpr std::size_t trials = 1'000'000;
constexpr double limit_s = 60e-3;
constexpr double least_ratio = 4.0;
constexpr double coefficient = 0.3;

struct Input {
  const char* name;
  double value;
  double u;
};
constexpr std::array<Input, 10> inputs{{{"U", 12.41, 0.021},
                                        {"I", 1.208, 0.0032},
                                        {"dp", 38.6, 0.11},
                                        {"voltage_gain", 1.0008, 0.0025},
                                        {"current_gain", 0.9994, 0.003},
                                        {"pitot_factor", 1.0, 0.0058},
                                        {"R", 0.25, 0.0002},
                                        {"temperature", 21.3, 0.23},
                                        {"pressure", 1009.6, 0.3},
                                        {"humidity", 46.0, 2.3}}};

MeasurementModel made() {
  MeasurementModel model;
  EquationNames names;
  std::vector<StatedCorrelation> correlations;
  for (std::size_t i = 0; i < inputs.size(); ++i) {
    model.inputs.push_back(
        {.name = inputs[i].name, .value = inputs[i].value, .standard_uncertainty = inputs[i].u});
    names.inputs.emplace_back(inputs[i].name);
    for (std::size_t j = 0; j < i; ++j)
      correlations.push_back({j, i, coefficient, "benchmark"});
  }
  const std::vector<Equation> equations{
      {"cp", "voltage_gain * U * current_gain * I / (density / 2 * pi * R^2 * speed^3)", "1"},
      {"speed", "sqrt(2 * pitot_factor * dp / density)", "2"},
      {"density",
       "(0.34848 * pressure - 0.009 * humidity * exp(0.061 * temperature)) / (273.15 + "
       "temperature)",
       "3"}};
  model.outputs = {"cp"};
  model.equations = {equations[0].text};
  model.places = {"benchmark"};
  model.program = compiled(equations, 1, names);
  model.groups = groups_of(model.inputs, correlations);
  return model;
}
const MeasurementModel& model() {
  static const MeasurementModel one = made();
  return one;
}

/// Answers with CPU seconds and results; with nothing: no numpy there.
benchmarks::PeerProcess& peer() {
  static benchmarks::PeerProcess one("propagate_peer.py", {std::to_string(trials)});
  static const bool told = [] {
    for (const Input& input : inputs)
      one.tell(fmt::format("{} {} {}", input.name, input.value, input.u));
    one.tell(fmt::format("{}", coefficient));
    return true;
  }();
  static_cast<void>(told);
  return one;
}

struct Times {
  std::vector<double> ours_s;
  std::vector<double> numpy_s;
};
Times of_trials;
Times of_equation;

template <class Work>
void timed(benchmark::State& state, std::vector<double>& times_s, Work work) {
  for (auto _ : state) {
    const auto start = std::clock();
    work();
    times_s.push_back(static_cast<double>(std::clock() - start) / CLOCKS_PER_SEC);
    state.SetIterationTime(times_s.back());
  }
  state.SetItemsProcessed(state.iterations() * static_cast<std::int64_t>(trials));
}

void peer_timed(benchmark::State& state, std::vector<double>& times_s, const char* what) {
  if (peer().ask(what).empty()) {
    state.SkipWithError("python3 with numpy is not there (Debian: python3-numpy)");
    return;
  }
  for (auto _ : state) {
    times_s.push_back(peer().ask(what).at(0));
    state.SetIterationTime(times_s.back());
  }
  state.SetItemsProcessed(state.iterations() * static_cast<std::int64_t>(trials));
}

void monte_carlo_of_cp(benchmark::State& state) {
  timed(state, of_trials.ours_s,
        [] { benchmark::DoNotOptimize(monte_carlo(model(), {.trials = trials})); });
}
void monte_carlo_in_numpy(benchmark::State& state) {
  const std::vector<double> theirs = peer().ask("trials");
  const MonteCarloOutput ours = monte_carlo(model(), {.trials = trials}).outputs[0];
  if (theirs.size() == 7) {
    const std::array results{ours.value, ours.u, ours.intervals.symmetric.low,
                             ours.intervals.symmetric.high};
    for (std::size_t k = 0; k < results.size(); ++k) {
      if (std::abs(results[k] - theirs[k + 1]) > 0.02 * ours.u)
        state.SkipWithError(
            fmt::format("result {} is {} and {}", k, results[k], theirs[k + 1]).c_str());
    }
  }
  peer_timed(state, of_trials.numpy_s, "trials");
}

// A million columns of inputs, and the equation on all of them.
void equation_of_cp(benchmark::State& state) {
  static const BlockProgram program = block_program(model().program);
  static std::vector<double> rows(program.rows * block_trials);
  lay_constants(program, rows.data());
  static std::vector<std::vector<double>> columns;
  for (const Input& input : inputs) {
    columns.emplace_back(trials);
    for (std::size_t n = 0; n < trials; ++n)
      columns.back()[n] = input.value + 0.001 * static_cast<double>(n % 1000) * input.u;
  }
  static std::vector<double> results(trials);
  timed(state, of_equation.ours_s, [] {
    for (std::size_t n = 0; n < trials; n += block_trials) {
      const std::size_t count = std::min(block_trials, trials - n);
      for (std::size_t i = 0; i < inputs.size(); ++i)
        std::copy_n(columns[i].data() + n, count, rows.data() + i * block_trials);
      run_block(program, rows.data());
      std::copy_n(rows.data() + program.outputs[0] * block_trials, count, results.data() + n);
    }
    benchmark::DoNotOptimize(results.data());
  });
}
void equation_in_numpy(benchmark::State& state) {
  peer_timed(state, of_equation.numpy_s, "equation");
}

BENCHMARK(monte_carlo_of_cp)
    ->Unit(benchmark::kMillisecond)
    ->UseManualTime()
    ->Iterations(3)
    ->Repetitions(9);
BENCHMARK(monte_carlo_in_numpy)
    ->Unit(benchmark::kMillisecond)
    ->UseManualTime()
    ->Iterations(1)
    ->Repetitions(9);
BENCHMARK(equation_of_cp)
    ->Unit(benchmark::kMillisecond)
    ->UseManualTime()
    ->Iterations(3)
    ->Repetitions(9);
BENCHMARK(equation_in_numpy)
    ->Unit(benchmark::kMillisecond)
    ->UseManualTime()
    ->Iterations(1)
    ->Repetitions(9);

}  // namespace

void tell_ratios() {
  if (of_trials.ours_s.empty() || of_trials.numpy_s.empty()) return;
  fmt::print(
      "a million trials: {:.1f} ms (at most {:.0f}), fastest {:.1f}; numpy {:.1f} ms; ratio {:.1f} "
      "(at least {:.0f})\n",
      1e3 * median(of_trials.ours_s), 1e3 * limit_s,
      1e3 * *std::min_element(of_trials.ours_s.begin(), of_trials.ours_s.end()),
      1e3 * median(of_trials.numpy_s), median(of_trials.numpy_s) / median(of_trials.ours_s),
      least_ratio);
  fmt::print("the equation alone: {:.1f} ms; numpy {:.1f} ms; ratio {:.1f} (at least 1)\n",
             1e3 * median(of_equation.ours_s), 1e3 * median(of_equation.numpy_s),
             median(of_equation.numpy_s) / median(of_equation.ours_s));
}

}  // namespace windwright::metrology

int main(int argc, char** argv) {
  windwright::benchmarks::run_in_turns(argc, argv);
  windwright::metrology::tell_ratios();
  return windwright::benchmarks::peer_missing() ? 1 : 0;
}
