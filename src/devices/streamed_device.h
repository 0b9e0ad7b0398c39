// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "base/clock.h"
#include "bench/bench.h"
#include "bench/device.h"
#include "bench/instrument_tables.h"
#include "devices/connection.h"
#include "devices/device_clock.h"
#include "devices/host_time.h"
#include "devices/later_fault.h"
#include "devices/sample_stream.h"

#include <cstddef>
#include <cstdint>
#include <memory>
#include <stop_token>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::devices {

/// How a converter is read.
struct Streaming {
  std::string name;  // of the device, for messages and the recording
  OpenSamples open;
  Ask ask;                  // for what is done by hand
  double longest_outage_s;  // without a sample: a fault
  double longest_drift_s;   // between its clock and this computer's; above, it is told
  SteadyClock clock = {};
  std::stop_token stop = {};  // nobody waits for the connection any longer
};

/// A converter that samples by itself, all channels of each sample in order. Its samples follow
/// each other; where its time stamps leap, as many are missed as fit into the leap. Where it has to
/// be started again (link lost, buffer run over), this computer's clock says how many were missed,
/// to what one reading's delay amounts to. What was missed is a gap. After a person has been at the
/// bench it is started again as well, and what came meanwhile is never read.
class StreamedDevice final : public bench::Device {
 public:
  /// Opens. @throws DeviceFault  it cannot be reached, or is another one
  StreamedDevice(const bench::Bench& bench, Streaming streaming);
  StreamedDevice(const StreamedDevice&) = delete;
  StreamedDevice& operator=(const StreamedDevice&) = delete;

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
  /// @throws DeviceFault  no samples for too long, or at another rate than the bench's
  void read(bench::SampleBlock& block) override;
  void stop() noexcept override { connection_.stop(); }
  std::vector<std::string> remarks() const override;

 private:
  Instrument instrument(Streaming streaming);
  void receive();
  void next_chunk();
  void skip_lost(std::size_t sample);

  const bench::Bench& bench_;
  const bench::LinesDevice order_alone_{};  // tells the clock that there is no counter
  double longest_drift_s_;
  DeviceClock device_clock_;
  std::unique_ptr<SampleStream> stream_;
  Connection connection_;
  HostTime host_time_;
  double last_host_s_ = 0.0;

  Chunk chunk_;
  std::vector<std::int64_t> places_;  // of the chunk's samples
  std::size_t read_ = 0;              // samples of the chunk
  std::int64_t last_time_ns_ = 0;
  bool timed_ = false;  // last_time_ns_ is of the sample before
  std::int64_t next_ = 0;
  std::vector<std::int32_t> samples_;  // one after the other, of the block being filled
  LaterFault fault_;

  std::int64_t lost_by_time_ = 0;
  std::int64_t restarts_ = 0;
  std::string last_cause_;
};

}  // namespace windwright::devices
