// SPDX-License-Identifier: Apache-2.0
// 16 channels of int16 counts from memory through the whole pipeline, calibration (12 straight and
// 4 curved certificates), power, statistics, pyramid, checksums, HDF5, into the page cache: samples
// for a second of CPU time of both threads, which share one core; with four blocks between them and
// without the flush of every half second, which waits for a disk. Limits: 500 million; twice numpy
// and h5py doing the same without checksums, turn by turn (recording_peer.py). Beside it what the
// machine's memcpy moves in the same run. Exit code 1 below a limit.
#include "acquisition/live_values.h"
#include "acquisition/pipeline.h"
#include "base/clock.h"
#include "bench/bench.h"
#include "bench/device.h"
#include "metrology/certificate.h"
#include "peer_process.h"
#include "recording/recording.h"
#include "turns.h"

#include <benchmark/benchmark.h>
#include <fmt/format.h>
#include <sched.h>
#include <unistd.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <cstring>
#include <filesystem>
#include <optional>
#include <random>
#include <string>
#include <string_view>
#include <vector>

namespace windwright {
namespace {

using benchmarks::cpu_s;

constexpr std::size_t channels = 16;
constexpr std::size_t block_samples = 1024;
constexpr std::size_t held_samples = 1 << 21;  // of each channel in memory: 64 MiB in all
constexpr std::int64_t recorded = 1 << 24;     // of each channel: 268 million in all
constexpr double least_millions = 500.0;
constexpr double least_of_peer = 2.0;

std::filesystem::path file_in_cache() {
  return std::filesystem::temp_directory_path() /
         fmt::format("recording_benchmark_{}.h5", static_cast<long>(::getpid()));
}

bench::Bench bench_of_16() {
  bench::Bench bench{};
  bench.sample_rate_hz = 250'000.0;
  bench.block_s = static_cast<double>(block_samples) / bench.sample_rate_hz;
  const std::vector<std::string> names{"dc_voltage_V",     "dc_current_A",      "ac_voltage_V",
                                       "ac_current_A",     "ac_voltage_b_V",    "ac_current_b_A",
                                       "ac_voltage_c_V",   "ac_current_c_A",    "air_speed_m_s",
                                       "air_humidity_pct", "air_temperature_C", "air_pressure_hPa"};
  for (std::size_t i = 0; i < channels; ++i) {
    bench::Channel channel{};
    channel.name = i < names.size() ? names[i] : fmt::format("channel_{}", i);
    channel.unit = "V";
    channel.converter = {.lower_V = -10.0, .upper_V = 10.0, .bits = 16};
    bench.channels.push_back(channel);
  }
  return bench;
}

metrology::Certificate certificate_of(bool curved) {
  metrology::Readings readings;
  for (int i = -10; i <= 10; ++i) {
    const double value = 5.0 * i;
    readings.reference.push_back(value);
    readings.reading.push_back(0.1 + 0.19 * value + (curved ? 2e-4 * value * value : 0.0));
  }
  metrology::Certificate made;
  made.model = curved ? "polynomial:2" : "line";
  made.reference_unit = "V";
  made.reading_unit = "V";
  return metrology::calibrate(made, readings, "made up");
}

std::vector<std::optional<metrology::Certificate>> certificates() {
  std::vector<std::optional<metrology::Certificate>> all;
  for (std::size_t i = 0; i < channels; ++i)
    all.emplace_back(certificate_of(i >= 8 && i < 12));
  return all;
}

/// A converter card's memory, over and over.
class Memory final : public bench::Device {
 public:
  Memory() : counts_(channels * held_samples) {
    std::mt19937 random(1);
    std::normal_distribution<double> noise(0.0, 200.0);
    for (std::size_t i = 0; i < counts_.size(); ++i) {
      const double wave = 32768.0 + 20000.0 * std::sin(1e-3 * static_cast<double>(i));
      counts_[i] = static_cast<std::uint16_t>(std::clamp(wave + noise(random), 0.0, 65535.0));
    }
  }
  const std::string& name() const override { return name_; }
  double sample_rate_hz() const override { return 250'000.0; }
  base::UtcTime now() const override { return {}; }
  void set(std::string_view, double) override {}
  void apply_known_input(std::string_view, double) override {}
  void remove_known_input() override {}
  void stop() noexcept override {}
  void read(bench::SampleBlock& block) override {
    block.first_sample = next_;
    block.gap_before = false;
    block.channels = channels;
    block.samples = block_samples;
    block.counts.resize(channels * block_samples);
    const std::size_t at = static_cast<std::size_t>(next_) % held_samples;
    for (std::size_t c = 0; c < channels; ++c) {
      const std::uint16_t* __restrict from = counts_.data() + c * held_samples + at;
      std::int32_t* __restrict to = block.counts.data() + c * block_samples;
      for (std::size_t i = 0; i < block_samples; ++i)
        to[i] = from[i];
    }
    next_ += static_cast<std::int64_t>(block_samples);
  }

 private:
  std::vector<std::uint16_t> counts_;
  std::string name_ = "memory";
  std::int64_t next_ = 0;
};

std::vector<double> ours;   // samples/s
std::vector<double> peers;  // samples/s
std::vector<double> copied_B_s;

void pipeline(benchmark::State& state) {
  static Memory memory;
  const bench::Bench bench = bench_of_16();
  acquisition::LiveValues live(bench, certificates());
  const auto file = file_in_cache();
  for (auto _ : state) {
    std::filesystem::remove(file);
    const double start = cpu_s();
    {
      auto recorder = recording::Recorder::create(file, bench, {.device = "memory", .start = {}});
      acquisition::record({.device = memory,
                           .recorder = recorder,
                           .look = [&live](const bench::SampleBlock& block) { live.take(block); }},
                          {.samples = recorded, .queue = {.blocks = 4, .flush_s = 1e9}}, {});
      recorder.finish();
    }
    const double took = cpu_s() - start;
    ours.push_back(static_cast<double>(channels) * static_cast<double>(recorded) / took);
    state.SetIterationTime(took);
  }
  std::filesystem::remove(file);
  state.counters["samples/s"] = benchmarks::median(ours);
}
BENCHMARK(pipeline)->Unit(benchmark::kMillisecond)->UseManualTime()->Iterations(1)->Repetitions(7);

void numpy_h5py(benchmark::State& state) {
  static benchmarks::PeerProcess peer("recording_peer.py", {file_in_cache().string() + ".peer"});
  const std::vector<double> answer = peer.ask("64");
  if (answer.empty()) {
    state.SkipWithError("python3 with numpy and h5py is not there (Debian: python3-h5py)");
    return;
  }
  for (auto _ : state) {
    const std::vector<double> took = peer.ask("512");  // blocks of 16 x 4096
    peers.push_back(took.at(1) / took.at(0));
    state.SetIterationTime(took.at(0));
  }
  state.counters["samples/s"] = benchmarks::median(peers);
}
BENCHMARK(numpy_h5py)
    ->Unit(benchmark::kMillisecond)
    ->UseManualTime()
    ->Iterations(1)
    ->Repetitions(7);

void copying(benchmark::State& state) {
  constexpr std::size_t bytes = 1 << 28;
  static std::vector<char> from(bytes, 1);
  static std::vector<char> to(bytes, 2);
  for (auto _ : state) {
    const double start = cpu_s();
    std::memcpy(to.data(), from.data(), bytes);
    benchmark::ClobberMemory();
    const double took = cpu_s() - start;
    copied_B_s.push_back(static_cast<double>(bytes) / took);
    state.SetIterationTime(took);
  }
}
BENCHMARK(copying)->Unit(benchmark::kMillisecond)->UseManualTime()->Iterations(3)->Repetitions(7);

bool told_and_held() {
  if (ours.empty()) return true;
  const double rate = benchmarks::median(ours);
  bool held = rate >= 1e6 * least_millions;
  fmt::print("{:.0f} million samples/s (at least {:.0f})", rate / 1e6, least_millions);
  if (!copied_B_s.empty()) {
    fmt::print("; {:.1f} % of the memory's copy bandwidth of {:.1f} GB/s",
               100.0 * 2.0 * rate / benchmarks::median(copied_B_s),
               benchmarks::median(copied_B_s) / 1e9);
  }
  if (!peers.empty()) {
    const double ratio = rate / benchmarks::median(peers);
    held = held && ratio >= least_of_peer;
    fmt::print("; numpy and h5py {:.0f} million, ratio {:.1f} (at least {:.0f})",
               benchmarks::median(peers) / 1e6, ratio, least_of_peer);
  }
  fmt::print("\n");
  return held;
}

}  // namespace
}  // namespace windwright

int main(int argc, char** argv) {
  cpu_set_t one;
  CPU_ZERO(&one);
  CPU_SET(static_cast<std::size_t>(std::max(0, sched_getcpu())), &one);
  sched_setaffinity(0, sizeof one, &one);
  windwright::benchmarks::run_in_turns(argc, argv);
  return windwright::told_and_held() && !windwright::benchmarks::peer_missing() ? 0 : 1;
}
