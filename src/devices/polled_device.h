// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "base/clock.h"
#include "bench/bench.h"
#include "bench/device.h"
#include "devices/connection.h"
#include "devices/later_fault.h"
#include "devices/link.h"

#include <cstddef>
#include <cstdint>
#include <memory>
#include <stop_token>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::devices {

/// How an instrument is polled.
struct Polling {
  std::string name;  // of the device, for messages and the recording
  Connect connect;
  Ask ask;                  // for what is done by hand
  double longest_outage_s;  // then the lost connection is a fault
  SteadyClock clock = {};
  std::stop_token stop = {};  // nobody waits for the connection any longer
};

/// An instrument without a clock of its own, asked for a sample at every tick of this computer's
/// steady clock. A tick that passes while the connection is away or slow, or at which the
/// instrument has no value, is a missed sample, and what was missed is a gap. Connection says what
/// happens when the link is lost, and what to a bench that was driven meanwhile.
class PolledDevice final : public bench::Device {
 public:
  /// Connects. @throws DeviceFault  no connection
  PolledDevice(const bench::Bench& bench, Polling polling);
  PolledDevice(const PolledDevice&) = delete;
  PolledDevice& operator=(const PolledDevice&) = delete;

  const std::string& name() const override { return connection_.name(); }
  double sample_rate_hz() const override { return bench_.sample_rate_hz; }
  base::UtcTime now() const override;
  /// @throws BadInput     no such actuator
  /// @throws DeviceFault  outside its limits, refused, or the connection stays away
  void set(std::string_view actuator, double value) override {
    fault_.require_none();
    connection_.set(actuator, value);
  }
  void apply_known_input(std::string_view channel, double value) override;
  void remove_known_input() override;
  void ask_for(bench::HandAction action) override;
  /// Up to block_s of samples; fewer where a gap follows, or a fault, which the next call throws.
  void read(bench::SampleBlock& block) override;
  void stop() noexcept override { connection_.stop(); }

 private:
  SteadyClock::Time tick(std::int64_t sample) const;
  bool read_sample();
  void catch_up();

  const bench::Bench& bench_;
  std::unique_ptr<Link> link_;
  Connection connection_;
  SteadyClock::Time begun_;
  base::UtcTime begun_utc_;
  std::int64_t next_ = 0;  // tick
  bool gap_ = false;
  std::vector<std::int32_t> sample_;
  std::vector<std::int32_t> samples_;  // one after the other, of the block being filled
  LaterFault fault_;
};

}  // namespace windwright::devices
