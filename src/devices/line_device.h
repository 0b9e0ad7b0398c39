// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "base/clock.h"
#include "bench/bench.h"
#include "bench/device.h"
#include "bench/instrument_tables.h"
#include "devices/byte_stream.h"
#include "devices/connection.h"
#include "devices/device_clock.h"
#include "devices/host_time.h"
#include "devices/later_fault.h"
#include "devices/line_format.h"
#include "devices/link.h"

#include <array>
#include <cstdint>
#include <functional>
#include <memory>
#include <optional>
#include <stop_token>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::devices {

/// Opens the way to an instrument. @throws LinkLost
using OpenStream = std::function<std::unique_ptr<ByteStream>()>;

/// How lines are received.
struct Receiving {
  OpenStream open;
  Ask ask;  // for what is done by hand
  SteadyClock clock = {};
  std::stop_token stop = {};  // nobody waits for the connection any longer
};

/// A microcontroller that sends a line for every sample by itself. DeviceClock says which sample a
/// line is and when it was taken. A line that cannot be read is thrown away, counted, and missing:
/// a gap. Without a readable line for timeout_s the link counts as lost, whatever else comes.
class LineDevice final : public bench::Device {
 public:
  /// Opens. @throws DeviceFault  no connection
  LineDevice(const bench::Bench& bench, const bench::LinesDevice& described, Receiving receiving);
  LineDevice(const LineDevice&) = delete;
  LineDevice& operator=(const LineDevice&) = delete;

  const std::string& name() const override { return connection_.name(); }
  double sample_rate_hz() const override { return bench_.sample_rate_hz; }
  base::UtcTime now() const override { return host_time_.now(); }
  void set(std::string_view actuator, double value) override {
    fault_.require_none();
    connection_.set(actuator, value);
  }
  void apply_known_input(std::string_view channel, double value) override {
    fault_.require_none();
    connection_.apply_known_input(channel, value);
  }
  void remove_known_input() override { connection_.remove_known_input(); }
  void ask_for(bench::HandAction action) override {
    fault_.require_none();
    connection_.ask_for(action);
  }
  /// Up to block_s of samples; fewer where a gap follows, or a fault, which the next call throws.
  /// @throws DeviceFault  no lines for too long, or at another rate than the bench's
  void read(bench::SampleBlock& block) override;
  void stop() noexcept override { connection_.stop(); }
  std::vector<std::string> remarks() const override;

 private:
  struct Sample {
    std::int64_t index;
    std::vector<std::int32_t> counts;
  };
  Instrument instrument(Receiving receiving);
  void next_sample();
  bool take_line(const LineSplitter::Line& line);
  void receive();
  bool is_stale() const { return unread_ || connection_.disturbed(); }
  void throw_away();

  const bench::Bench& bench_;
  const bench::LinesDevice described_;
  LineFormat format_;
  DeviceClock device_clock_;
  std::unique_ptr<ByteStream> stream_;
  LineSplitter splitter_{true};
  bool opened_ = false;  // and nothing received yet
  Connection connection_;
  HostTime host_time_;
  double last_readable_s_ = 0.0;  // or opened
  bool unread_ = true;            // since it was opened: what waits is too old to be timed
  std::int64_t next_ = 0;
  Sample sample_;
  bool held_ = false;                  // sample_ belongs to the next block
  std::vector<std::int32_t> samples_;  // one after the other, of the block being filled
  LaterFault fault_;
  std::array<char, 4096> bytes_{};

  std::int64_t bad_lines_ = 0;
  std::string last_bad_line_;
  std::int64_t strange_lines_ = 0;
};

}  // namespace windwright::devices
