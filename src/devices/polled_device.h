// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "base/clock.h"
#include "bench/bench.h"
#include "bench/device.h"
#include "devices/link.h"

#include <chrono>
#include <cstddef>
#include <cstdint>
#include <functional>
#include <map>
#include <memory>
#include <string>
#include <string_view>
#include <thread>
#include <vector>

namespace windwright::devices {

/// This computer's steady clock, or a test's.
struct SteadyClock {
  using Time = std::chrono::steady_clock::time_point;
  std::function<Time()> now = [] { return std::chrono::steady_clock::now(); };
  std::function<void(Time)> sleep_until = [](Time time) { std::this_thread::sleep_until(time); };
};

/// How an instrument is polled.
struct Polling {
  std::string name;  // of the device, for messages and the recording
  Connect connect;
  Ask ask;                  // for what is done by hand
  double longest_outage_s;  // then the lost connection is a fault
  SteadyClock clock = {};
};

/// An instrument without a clock of its own, asked for a sample at every tick of this computer's
/// steady clock. A tick that passes while the connection is away or slow is a missed sample, and
/// what was missed is a gap; a lost connection is made anew, ever more slowly, until it holds or
/// has been away too long. A bench that was driven, and out of sight for more than a second, is
/// told to stop, and that is a fault: nothing starts again by itself.
class PolledDevice final : public bench::Device {
 public:
  /// Connects. @throws DeviceFault  no connection
  PolledDevice(const bench::Bench& bench, Polling polling);

  const std::string& name() const override { return polling_.name; }
  double sample_rate_hz() const override { return bench_.sample_rate_hz; }
  base::UtcTime now() const override;
  /// @throws BadInput     no such actuator
  /// @throws DeviceFault  outside its limits, refused, or the connection stays away
  void set(std::string_view actuator, double value) override;
  void apply_known_input(std::string_view channel, double value) override;
  void remove_known_input() override;
  /// Up to block_s of samples; fewer where a gap follows.
  void read(bench::SampleBlock& block) override;
  /// Fan off, inverter and mains charger off, a load connected. Tries once to connect where the
  /// connection is away; the instrument's own watchdog is the layer behind this one.
  void stop() noexcept override;

 private:
  SteadyClock::Time tick(std::int64_t sample) const;
  void reconnect(const std::string& cause);
  void command(std::size_t actuator, double value);
  void catch_up();

  const bench::Bench& bench_;
  Polling polling_;
  std::unique_ptr<Link> link_;
  SteadyClock::Time begun_;
  base::UtcTime begun_utc_;
  std::int64_t next_ = 0;  // tick
  bool gap_ = false;
  std::map<std::size_t, double> commanded_;
  std::vector<std::int32_t> sample_;
  std::vector<std::int32_t> samples_;  // one after the other, of the block being filled
  std::string known_input_;
};

}  // namespace windwright::devices
