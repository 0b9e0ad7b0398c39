// SPDX-License-Identifier: Apache-2.0
#include "devices/streamed_device.h"

#include "base/clock.h"

#include <fmt/format.h>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::devices {

StreamedDevice::StreamedDevice(const bench::Bench& bench, Streaming streaming)
    : bench_(bench),
      longest_drift_s_(streaming.longest_drift_s),
      device_clock_(order_alone_, bench.sample_rate_hz),
      connection_(bench, instrument(std::move(streaming))),
      host_time_(connection_.clock()) {
  samples_.reserve(static_cast<std::size_t>(bench.block_s * bench.sample_rate_hz + 1.0) *
                   bench.channels.size());
}

Instrument StreamedDevice::instrument(Streaming streaming) {
  return {.name = std::move(streaming.name),
          .open =
              [this, open = std::move(streaming.open)] {
                stream_.reset();
                stream_ = open();
                device_clock_.interrupted();
                timed_ = false;
              },
          .send =
              [this](std::size_t actuator, double value) {
                if (!stream_) throw LinkLost("the connection is away");
                stream_->set(actuator, value);
              },
          .ask = std::move(streaming.ask),
          .longest_outage_s = streaming.longest_outage_s,
          .clock = std::move(streaming.clock),
          .stop = std::move(streaming.stop)};
}

// A leap of more than one and a half sample periods.
void StreamedDevice::skip_lost(std::size_t sample) {
  const std::int64_t time_ns = chunk_.time_ns[sample];
  if (timed_) {
    const double steps =
        static_cast<double>(time_ns - last_time_ns_) * 1e-9 * bench_.sample_rate_hz;
    const auto lost = steps > 1.5 ? std::llround(std::min(steps, 1e15)) - 1 : 0;
    device_clock_.dropped(lost);
    lost_by_time_ += lost;
  }
  last_time_ns_ = time_ns;
  timed_ = true;
}

void StreamedDevice::receive() {
  if (!stream_) throw LinkLost("closed when the bench was stopped");
  stream_->read(chunk_);
  read_ = 0;
  const double received_s = host_time_.now_s();
  const std::size_t count = chunk_.counts.size() / bench_.channels.size();
  places_.resize(count);
  for (std::size_t i = 0; i < count; ++i) {
    if (!chunk_.time_ns.empty()) skip_lost(i);
    // Taken one after the other, the last of them at the latest now.
    const double behind_s = static_cast<double>(count - 1 - i) / bench_.sample_rate_hz;
    last_host_s_ = std::max(last_host_s_, received_s - behind_s);
    places_[i] = *device_clock_.place({}, last_host_s_);
  }
}

void StreamedDevice::next_chunk() {
  while (true) {
    try {
      if (connection_.disturbed()) {
        connection_.settled();
        stream_.reset();
        connection_.renew("started again after work at the bench");
      }
      receive();
      connection_.seen();
      return;
    } catch (const LinkLost& lost) {
      ++restarts_;
      last_cause_ = lost.what();
      connection_.renew(last_cause_);
    }
  }
}

void StreamedDevice::read(bench::SampleBlock& block) {
  const auto wanted = std::llround(bench_.block_s * bench_.sample_rate_hz);
  const std::size_t channels = bench_.channels.size();
  samples_.clear();
  fault_.tell();
  device_clock_.require_rate(connection_.name());
  if (connection_.disturbed()) read_ = places_.size();
  std::int64_t first = next_;
  bool gap_before = false;
  while (next_ - first < wanted) {
    const bool more =
        read_ < places_.size() || fault_.keep_from(!samples_.empty(), [this] { next_chunk(); });
    if (!more) break;
    const std::int64_t place = places_[read_];
    if (samples_.empty()) {
      first = place;
      gap_before = place != next_;
    } else if (place != next_) {
      break;
    }
    const auto* sample = chunk_.counts.data() + read_ * channels;
    samples_.insert(samples_.end(), sample, sample + channels);
    next_ = place + 1;
    ++read_;
  }
  block.first_sample = first;
  block.start = host_time_.block_start(device_clock_, first);
  block.gap_before = gap_before;
  block.received = base::host_now();
  block.fill(samples_, channels);
}

std::vector<std::string> StreamedDevice::remarks() const {
  std::vector<std::string> told;
  if (restarts_ > 0) {
    told.push_back(
        fmt::format("the converter had to be started again {} time{}; the last because {}",
                    restarts_, restarts_ == 1 ? "" : "s", last_cause_));
  }
  if (lost_by_time_ > 0)
    told.push_back(fmt::format("by its time stamps the converter lost {} samples", lost_by_time_));
  host_time_.tell_drift(longest_drift_s_, told);
  return told;
}

}  // namespace windwright::devices
