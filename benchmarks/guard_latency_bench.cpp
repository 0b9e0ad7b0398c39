// SPDX-License-Identifier: Apache-2.0
// The bench of guard_latency.py: the simulated bench in real time, offered over Modbus TCP as
// `windwright serve-device` does, whose rotor-speed channel can be made to stand at its end and
// which tells by CLOCK_MONOTONIC when that sample was taken and when what was commanded.
//
// On stdin, a line each: `violate`; `violate PID SIGNAL`, which sends the signal just before the
// sample is taken, so that this process never sees it; `clear`. On stdout: the port, then
// `violated NS`, `fan VALUE NS`, `cleared NS`, and `watchdog NS` where the bench stopped by itself.
// Use: guard_latency_bench BENCH.toml
#include "base/clock.h"
#include "bench/bench.h"
#include "bench/device.h"
#include "devices/modbus_server.h"
#include "devices/served_bench.h"
#include "devices/tcp_service.h"
#include "twin/simulated_bench.h"

#include <fcntl.h>
#include <fmt/format.h>
#include <signal.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <chrono>
#include <cstddef>
#include <cstdint>
#include <cstdio>
#include <span>
#include <sstream>
#include <string>
#include <string_view>

namespace windwright {
namespace {

using Clock = std::chrono::steady_clock;

void tell(const std::string& what) {
  const auto since = Clock::now().time_since_epoch();
  fmt::print("{} {}\n", what, std::chrono::duration_cast<std::chrono::nanoseconds>(since).count());
  std::fflush(stdout);
}

class TellingBench final : public bench::Device {
 public:
  explicit TellingBench(const bench::Bench& bench)
      : device_(bench, twin::Pace::as_fast_as_possible),
        channel_(bench.channel_index("rotor_speed_rad_s")),
        end_((1 << bench.channels[channel_].converter.bits) - 1) {}

  void violate(int pid, int signal) {
    asked_ = true;
    pid_ = pid;
    signal_ = signal;
  }
  void clear() {
    violating_ = asked_ = false;
    tell("cleared");
  }

  const std::string& name() const override { return device_.name(); }
  double sample_rate_hz() const override { return device_.sample_rate_hz(); }
  base::UtcTime now() const override { return device_.now(); }
  void set(std::string_view actuator, double value) override {
    device_.set(actuator, value);
    if (actuator == "fan_pct") tell(fmt::format("fan {:g}", value));
  }
  void apply_known_input(std::string_view, double) override {}
  void remove_known_input() override {}
  void read(bench::SampleBlock& block) override {
    device_.read(block);
    if (asked_) {
      if (pid_ > 0) kill(pid_, signal_);
      asked_ = false;
      violating_ = true;
      tell("violated");
    }
    if (!violating_) return;
    const auto from = block.counts.begin() + static_cast<std::ptrdiff_t>(channel_ * block.samples);
    std::fill_n(from, block.samples, end_);
  }
  void stop() noexcept override {
    device_.stop();
    tell("fan 0");
  }

 private:
  twin::SimulatedBench device_;
  std::size_t channel_;
  std::int32_t end_;
  bool asked_ = false;
  bool violating_ = false;
  int pid_ = 0;
  int signal_ = 0;
};

class Orders {
 public:
  Orders() { fcntl(STDIN_FILENO, F_SETFL, O_NONBLOCK); }
  /// False at the end of the input.
  bool carry_out(TellingBench& device) {
    std::array<char, 256> bytes{};
    const ssize_t came = ::read(STDIN_FILENO, bytes.data(), bytes.size());
    if (came == 0) return false;
    if (came > 0) text_.append(bytes.data(), static_cast<std::size_t>(came));
    for (auto end = text_.find('\n'); end != std::string::npos; end = text_.find('\n')) {
      std::istringstream line(text_.substr(0, end));
      text_.erase(0, end + 1);
      std::string word;
      int pid = 0;
      int signal = 0;
      line >> word >> pid >> signal;
      if (word == "violate") device.violate(pid, signal);
      if (word == "clear") device.clear();
    }
    return true;
  }

 private:
  std::string text_;
};

int serve(const char* file) {
  bench::Bench bench = bench::bench_from_file(file);
  constexpr double step_s = 0.005;
  bench.block_s = step_s;
  TellingBench device(bench);
  devices::ServedBench served(bench, device, {.watchdog_s = 3600.0});
  devices::TcpService service;
  const int port = service.listen("127.0.0.1", 0, [&served] {
    return [&served](std::string_view received, std::string& answer) {
      return devices::answer_modbus_tcp(received, served, answer);
    };
  });
  fmt::print("{}\n", port);
  std::fflush(stdout);
  const auto step =
      std::chrono::duration_cast<Clock::duration>(std::chrono::duration<double>(step_s));
  Orders orders;
  for (auto due = Clock::now(); orders.carry_out(device);
       due = std::max(due + step, Clock::now() - 10 * step)) {
    served.pass();
    if (served.tripped()) tell("watchdog");
    service.serve(std::chrono::duration_cast<std::chrono::milliseconds>(
        std::max(due + step - Clock::now(), Clock::duration::zero())));
  }
  return 0;
}

}  // namespace
}  // namespace windwright

int main(int argc, char** argv) {
  if (argc != 2) return 2;
  return windwright::serve(argv[1]);
}
