// SPDX-License-Identifier: Apache-2.0
#include "devices/line_device.h"

#include "base/clock.h"
#include "base/errors.h"
#include "base/text.h"

#include <fmt/format.h>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstddef>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::devices {
namespace {

// What somebody can read, whatever came.
std::string printable(std::string_view text) {
  constexpr std::size_t longest = 60;
  std::string shown;
  for (const char letter : text.substr(0, longest))
    shown += letter >= 0x20 && letter < 0x7f ? letter : '?';
  return text.size() > longest ? shown + "..." : shown;
}

}  // namespace

LineDevice::LineDevice(const bench::Bench& bench, const bench::LinesDevice& described,
                       Receiving receiving)
    : bench_(bench),
      described_(described),
      format_(bench, described_),
      device_clock_(described_, bench.sample_rate_hz),
      connection_(bench, instrument(std::move(receiving))),
      host_time_(connection_.clock()),
      sample_{.index = 0, .counts = std::vector<std::int32_t>(bench.channels.size())} {
  last_bad_line_.reserve(LineSplitter::longest);
  samples_.reserve(static_cast<std::size_t>(bench.block_s * bench.sample_rate_hz + 1.0) *
                   bench.channels.size());
}

Instrument LineDevice::instrument(Receiving receiving) {
  return {.name = "lines on " + endpoint_text(described_.endpoint),
          .open =
              [this, open = std::move(receiving.open)] {
                stream_.reset();
                stream_ = open();
                splitter_ = LineSplitter(true);
                device_clock_.interrupted();
                opened_ = true;
              },
          .send =
              [this](std::size_t actuator, double value) {
                if (!stream_) throw LinkLost("the connection is away");
                stream_->write(command_for(described_.commands[actuator], value) + "\n",
                               described_.timeout_s);
              },
          .ask = std::move(receiving.ask),
          .longest_outage_s = described_.longest_outage_s,
          .clock = std::move(receiving.clock),
          .stop = std::move(receiving.stop)};
}

// While a person was at the bench lines have piled up, and some may have run over.
void LineDevice::throw_away() {
  unread_ = false;
  connection_.settled();
  constexpr int most_reads = 4096;  // a peer may send faster than this reads
  for (int i = 0; i < most_reads && stream_->read(bytes_, 0.0) > 0; ++i) {
  }
  splitter_ = LineSplitter(true);
  device_clock_.interrupted();
  last_readable_s_ = host_time_.now_s();
}

void LineDevice::receive() {
  const double left_s = last_readable_s_ + described_.timeout_s - host_time_.now_s();
  if (left_s <= 0.0)
    throw LinkLost(fmt::format("no readable line for {:g} s", described_.timeout_s));
  const std::size_t count = stream_->read(bytes_, left_s);
  splitter_.take(std::string_view(bytes_.data(), count));
}

// False: it gives no sample.
bool LineDevice::take_line(const LineSplitter::Line& line) {
  LineStamp stamp;
  const auto kind =
      line.whole ? format_.read(line.text, stamp, sample_.counts) : LineFormat::Kind::bad;
  if (kind == LineFormat::Kind::names) return false;
  if (kind == LineFormat::Kind::bad) {
    ++bad_lines_;
    last_bad_line_ = line.whole ? line.text : "(too long)";
    device_clock_.dropped();
    connection_.missed("lines come, but cannot be read");
    return false;
  }
  last_readable_s_ = host_time_.now_s();
  const auto index = device_clock_.place(stamp, last_readable_s_);
  if (!index) {
    ++strange_lines_;
    connection_.missed("lines come with a counter or time that cannot be");
    return false;
  }
  sample_.index = *index;
  return true;
}

// Waits for the next sample.
void LineDevice::next_sample() {
  while (true) {
    try {
      if (!stream_) throw LinkLost("closed when the bench was stopped");
      if (opened_) last_readable_s_ = host_time_.now_s();
      opened_ = false;
      if (is_stale()) throw_away();
      while (const auto line = splitter_.next()) {
        if (take_line(*line)) {
          connection_.seen();
          return;
        }
      }
      receive();
    } catch (const LinkLost& lost) {
      connection_.renew(lost.what());
    }
  }
}

void LineDevice::read(bench::SampleBlock& block) {
  const auto wanted = std::llround(bench_.block_s * bench_.sample_rate_hz);
  samples_.clear();
  fault_.tell();
  device_clock_.require_rate(connection_.name());
  held_ = held_ && !is_stale();
  std::int64_t first = next_;
  bool gap_before = false;
  while (next_ - first < wanted) {
    if (!held_ && !fault_.keep_from(!samples_.empty(), [this] { next_sample(); })) break;
    held_ = sample_.index != next_ && !samples_.empty();
    if (held_) break;
    if (samples_.empty()) {
      first = sample_.index;
      gap_before = sample_.index != next_;
    }
    samples_.insert(samples_.end(), sample_.counts.begin(), sample_.counts.end());
    next_ = sample_.index + 1;
  }
  block.first_sample = first;
  block.start = host_time_.block_start(device_clock_, first);
  block.gap_before = gap_before;
  block.received = base::host_now();
  block.fill(samples_, bench_.channels.size());
}

std::vector<std::string> LineDevice::remarks() const {
  std::vector<std::string> told;
  if (bad_lines_ > 0) {
    told.push_back(fmt::format("{} lines could not be read; the last was '{}'", bad_lines_,
                               printable(last_bad_line_)));
  }
  if (strange_lines_ > 0) {
    told.push_back(fmt::format(
        "{} lines with a counter or time that repeats or cannot be were left out", strange_lines_));
  }
  host_time_.tell_drift(described_.longest_drift_s, told);
  return told;
}

}  // namespace windwright::devices
