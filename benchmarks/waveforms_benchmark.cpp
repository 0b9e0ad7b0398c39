// SPDX-License-Identifier: Apache-2.0
// The simulated bench with 16 channels at 250 000 samples a second each, on one core: air, rotor
// speed, DC side with ripple, voltages and currents of three phases, line voltages; physics, lag,
// noise and converter included. Limit: 5 times real time. Peer in the same run, turn by turn: the
// same channels at one operating point in numpy (waveforms_peer.py), periods handed to it ready
// made, without physics. Beside it the bench with a battery: three phases and the inverter's output
// into every AC load, under the same limit; it has no peer.
#include "../tests/twin/waveform_bench.h"
#include "peer_process.h"
#include "physics/bridge_signals.h"
#include "turns.h"
#include "twin/simulated_bench.h"

#include <benchmark/benchmark.h>
#include <fmt/format.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <ctime>
#include <filesystem>
#include <fstream>
#include <map>
#include <numbers>
#include <span>
#include <stdexcept>
#include <string>
#include <utility>
#include <vector>

namespace windwright::twin {
namespace {

using benchmarks::median;
using physics::BridgeQuantity;

constexpr double rate_hz = 250000.0;
constexpr double least_times_real_time = 5.0;
constexpr std::size_t points = 20001;  // of a period

bench::Bench fast_bench() {
  bench::Bench bench = with_perfect_sensors(waveform_bench(calm_bench(), rate_hz));
  for (bench::Channel& channel : bench.channels) {
    channel.converter.bits = 16;
    channel.simulated->noise_V = 0.002;
  }
  return bench;
}

class Running {
 public:
  Running() : bench_(fast_bench()), device_(bench_, Pace::as_fast_as_possible) {
    device_.set("pitch_deg", 6.0);
    device_.set("load_selector", 1.0);
    device_.set("rheostat_ohm", 15.0);
    device_.set("fan_pct", 70.0);
    device_.advance(60.0);
  }
  const bench::Bench& bench() const { return bench_; }
  SimulatedBench& device() { return device_; }
  const bench::SampleBlock& block() {
    device_.read(block_);
    return block_;
  }

 private:
  bench::Bench bench_;
  SimulatedBench device_;
  bench::SampleBlock block_;
};

Running& running() {
  static Running one;
  return one;
}

// A period of every channel in volts, as its sensor shows it.
std::vector<double> period_V(const bench::Channel& channel,
                             const std::map<std::string, double>& truth) {
  const bench::SimulatedSensor& sensor = *channel.simulated;
  std::vector<double> values(points, truth.at(channel.name));
  const bool dc = channel.name.starts_with("dc_");
  if (dc || channel.name.starts_with("ac_")) {
    const auto line = channel.name.find("line_voltage_");
    BridgeQuantity quantity = channel.name.find("voltage") != std::string::npos
                                  ? BridgeQuantity::phase_voltage
                                  : BridgeQuantity::line_current;
    if (dc) quantity = BridgeQuantity::dc_ripple;
    if (line != std::string::npos) quantity = BridgeQuantity::line_voltage;
    const std::string name = line != std::string::npos ? channel.name.substr(line + 13, 1)
                             : channel.name.find("_b_") != std::string::npos ? "b"
                             : channel.name.find("_c_") != std::string::npos ? "c"
                                                                             : "a";
    physics::BridgeSignals signals({{.quantity = quantity,
                                     .phase = static_cast<std::size_t>(name[0] - 'a'),
                                     .bandwidth_Hz = sensor.bandwidth_Hz}});
    const double load_ohm = truth.at("dc_voltage_V") / truth.at("dc_current_A");
    signals.renew(running().bench().generator,
                  {.rotor_speed_rad_s = truth.at("rotor_speed_rad_s"),
                   .dc_current_A = truth.at("dc_current_A"),
                   .smoothing_s = running().bench().smoothing_inductance_H / load_ohm});
    std::vector<double> angles(points);
    for (std::size_t i = 0; i < points; ++i)
      angles[i] = 2.0 * std::numbers::pi * static_cast<double>(i) / (points - 1);
    std::vector<double> shape(points);
    const std::array<std::span<double>, 1> out{shape};
    signals.fill(angles, out);
    for (std::size_t i = 0; i < points; ++i)
      values[i] = dc ? values[i] * shape[i] : shape[i];
  }
  for (double& value : values)
    value = sensor.offset_V + sensor.sensitivity_V * value;
  return values;
}

double step_rad() {
  return running().bench().generator.pole_pairs *
         running().device().truth().at("rotor_speed_rad_s") / rate_hz;
}

// Samples of a block that are whole periods, to the nearest.
std::size_t whole_periods() {
  const double turn = 2.0 * std::numbers::pi / step_rad();
  return static_cast<std::size_t>(
      std::round(std::floor(rate_hz * running().bench().block_s / turn) * turn));
}

std::string handed_over() {
  const auto file = std::filesystem::temp_directory_path() /
                    fmt::format("waveforms_{}", static_cast<long>(::getpid()));
  const bench::Bench& bench = running().bench();
  const auto truth = running().device().truth();
  std::vector<double> numbers{rate_hz * bench.block_s, static_cast<double>(bench.channels.size()),
                              static_cast<double>(points), static_cast<double>(whole_periods()),
                              step_rad()};
  for (const bench::Channel& channel : bench.channels) {
    for (const double each :
         {channel.simulated->noise_V, channel.converter.lower_V, channel.converter.upper_V,
          static_cast<double>(channel.converter.bits)})
      numbers.push_back(each);
    const std::vector<double> period = period_V(channel, truth);
    numbers.insert(numbers.end(), period.begin(), period.end());
  }
  std::ofstream(file, std::ios::binary)
      .write(reinterpret_cast<const char*>(numbers.data()),
             static_cast<std::streamsize>(numbers.size() * sizeof(double)));
  return file;
}

std::vector<double> ours_s;
std::vector<double> numpy_s;

// Largest difference of a channel's mean and rms counts from the peer's, over its converter.
double difference(const std::vector<double>& answer) {
  const bench::SampleBlock& block = running().block();
  const std::size_t whole = whole_periods();
  double largest = 0.0;
  for (std::size_t c = 0; c < block.channels; ++c) {
    double mean = 0.0;
    double square = 0.0;
    for (const std::int32_t count : block.channel(c).first(whole)) {
      mean += static_cast<double>(count) / static_cast<double>(whole);
      square += static_cast<double>(count) * count / static_cast<double>(whole);
    }
    const double scale = std::ldexp(1.0, running().bench().channels[c].converter.bits);
    largest = std::max(
        {largest, std::abs(mean - answer.at(1 + c)) / scale,
         std::abs(std::sqrt(square) - std::sqrt(answer.at(1 + block.channels + c))) / scale});
  }
  return largest;
}

void sixteen_channels(benchmark::State& state) {
  running().block();
  for (auto _ : state) {
    const auto start = std::clock();
    benchmark::DoNotOptimize(running().block().counts.data());
    ours_s.push_back(static_cast<double>(std::clock() - start) / CLOCKS_PER_SEC);
    state.SetIterationTime(ours_s.back());
  }
  const bench::Bench& bench = running().bench();
  state.SetItemsProcessed(state.iterations() *
                          static_cast<std::int64_t>(rate_hz * bench.block_s *
                                                    static_cast<double>(bench.channels.size())));
  state.counters["times_real_time"] = bench.block_s / median(ours_s);
}
BENCHMARK(sixteen_channels)
    ->Unit(benchmark::kMillisecond)
    ->UseManualTime()
    ->Iterations(10)
    ->Repetitions(9);

// Of the shed the channels that a bench must have, phases, inverter output and battery: 16.
bench::Bench fast_shed() {
  bench::Bench bench = shed_with_waves(rate_hz);
  const auto counts = [](const bench::Channel& channel) {
    const std::string& name = channel.name;
    const bool needed = name.starts_with("air_") || name.starts_with("dc_") ||
                        name.starts_with("ac_voltage") || name.starts_with("ac_current") ||
                        name == "rotor_speed_rad_s" || name == "battery_voltage_V" ||
                        name == "inverter_output_V" || name == "inverter_output_A";
    return needed;
  };
  std::erase_if(bench.channels, [&](const bench::Channel& each) { return !counts(each); });
  for (bench::Channel& channel : bench.channels) {
    channel.converter.bits = 16;
    channel.simulated->noise_V = 0.002;
  }
  if (bench.channels.size() != 16) throw std::logic_error("the shed has not 16 channels to time");
  return bench;
}

std::vector<double> shed_s;
double shed_block_s = 0.0;

void beside_a_battery(benchmark::State& state) {
  static const bench::Bench bench = fast_shed();
  static SimulatedBench device(bench, Pace::as_fast_as_possible);
  if (static bool started = false; !std::exchange(started, true)) {
    device.set("fan_pct", 80.0);
    device.set("inverter_switch", 1.0);
    device.set("ac_load_selector", 4.0);
    device.advance(30.0);
  }
  static bench::SampleBlock block;
  shed_block_s = bench.block_s;
  device.read(block);
  for (auto _ : state) {
    const auto start = std::clock();
    device.read(block);
    benchmark::DoNotOptimize(block.counts.data());
    shed_s.push_back(static_cast<double>(std::clock() - start) / CLOCKS_PER_SEC);
    state.SetIterationTime(shed_s.back());
  }
  state.counters["times_real_time"] = bench.block_s / median(shed_s);
}
BENCHMARK(beside_a_battery)
    ->Unit(benchmark::kMillisecond)
    ->UseManualTime()
    ->Iterations(10)
    ->Repetitions(9);

void numpy(benchmark::State& state) {
  static benchmarks::PeerProcess peer("waveforms_peer.py", {handed_over()});
  const std::vector<double> answer = peer.ask("block");
  if (answer.empty()) {
    state.SkipWithError("python3 with numpy is not there (Debian: python3-numpy)");
    return;
  }
  if (const double off = difference(answer); off > 2e-4) {
    state.SkipWithError(fmt::format("counts differ by {:.2g} of the range", off).c_str());
    return;
  }
  for (auto _ : state) {
    numpy_s.push_back(peer.ask("block").at(0));
    state.SetIterationTime(numpy_s.back());
  }
  state.counters["times_real_time"] = running().bench().block_s / median(numpy_s);
}
BENCHMARK(numpy)->Unit(benchmark::kMillisecond)->UseManualTime()->Iterations(3)->Repetitions(9);

}  // namespace

/// Whether the limit holds, where it was measured.
bool tell_ratios() {
  bool held = true;
  if (!shed_s.empty()) {
    const double times = shed_block_s / median(shed_s);
    held = times >= least_times_real_time;
    fmt::print("beside a battery {:.1f} times real time (at least {:.0f})\n", times,
               least_times_real_time);
  }
  if (ours_s.empty()) return held;
  const double block_s = running().bench().block_s;
  fmt::print("{:.1f} times real time (at least {:.0f})", block_s / median(ours_s),
             least_times_real_time);
  if (!numpy_s.empty()) {
    fmt::print("; numpy without physics {:.1f} times; ratio {:.2f}", block_s / median(numpy_s),
               median(numpy_s) / median(ours_s));
  }
  fmt::print("\n");
  return held && block_s / median(ours_s) >= least_times_real_time;
}

}  // namespace windwright::twin

int main(int argc, char** argv) {
  windwright::benchmarks::run_in_turns(argc, argv);
  return windwright::twin::tell_ratios() && !windwright::benchmarks::peer_missing() ? 0 : 1;
}
