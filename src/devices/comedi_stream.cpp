// SPDX-License-Identifier: Apache-2.0
#include "devices/comedi_stream.h"

#include "base/errors.h"

#include <fmt/format.h>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <cstring>
#include <memory>
#include <span>
#include <string>
#include <utility>
#include <vector>

namespace windwright::devices {
namespace {

using base::DeviceFault;

constexpr std::size_t buffer_bytes = 65536;

bool near(double one, double other, double span) {
  return std::abs(one - other) <= 1e-3 * span;
}

std::string ranges_text(const ComediInput& input) {
  std::string text;
  for (std::size_t i = 0; i < input.ranges.size(); ++i) {
    text += fmt::format("{}{}: {:g} to {:g} V", i > 0 ? ", " : "", i, input.ranges[i].lower_V,
                        input.ranges[i].upper_V);
  }
  return text;
}

}  // namespace

ComediStream::ComediStream(const bench::Bench& bench, const bench::ComediDevice& described,
                           std::unique_ptr<ComediBoard> board)
    : bench_(bench), described_(described), board_(std::move(board)), bytes_(buffer_bytes) {
  subdevice_ = described_.subdevice ? *described_.subdevice : board_->streaming_subdevice();
  value_bytes_ = board_->value_bytes(subdevice_);
  find_inputs();
}

void ComediStream::find_inputs() {
  const unsigned channels = board_->channels(subdevice_);
  for (std::size_t i = 0; i < described_.channels.size(); ++i) {
    const bench::ComediDevice::Input& wanted = described_.channels[i];
    const bench::Channel& channel = bench_.channels[i];
    if (wanted.channel >= channels) {
      throw DeviceFault(described_.file,
                        fmt::format("subdevice {} has no channel {}", subdevice_, wanted.channel),
                        fmt::format("channel of {}; it has {}, from 0", channel.name, channels));
    }
    const ComediInput input = board_->input(subdevice_, wanted.channel);
    const double steps = std::ldexp(1.0, channel.converter.bits);
    if (static_cast<double>(input.largest_count) != steps - 1.0) {
      throw DeviceFault(
          described_.file,
          fmt::format("channel {} counts to {}", wanted.channel, input.largest_count),
          fmt::format("bits of {}, which is {}", channel.name, channel.converter.bits));
    }
    scans_.push_back(
        {.channel = wanted.channel, .range = range_index(i, input), .reference = wanted.reference});
    largest_.push_back(input.largest_count);
  }
}

// The one that is named must be range_V; without a name the one that is.
unsigned ComediStream::range_index(std::size_t channel, const ComediInput& input) const {
  const bench::Converter& converter = bench_.channels[channel].converter;
  const auto fits = [&](const ComediInput::Range& range) {
    const double span = converter.upper_V - converter.lower_V;
    return near(range.lower_V, converter.lower_V, span) &&
           near(range.upper_V, converter.upper_V, span);
  };
  const auto& named = described_.channels[channel].range;
  for (std::size_t i = 0; i < input.ranges.size(); ++i) {
    if (fits(input.ranges[i]) && (!named || *named == i)) return static_cast<unsigned>(i);
  }
  const unsigned number = described_.channels[channel].channel;
  throw DeviceFault(described_.file,
                    named ? fmt::format("range {} of channel {} is not {:g} to {:g} V", *named,
                                        number, converter.lower_V, converter.upper_V)
                          : fmt::format("no range of channel {} is {:g} to {:g} V", number,
                                        converter.lower_V, converter.upper_V),
                    fmt::format("range_V and range of {}; the board has {}",
                                bench_.channels[channel].name, ranges_text(input)));
}

void ComediStream::start() {
  const double wanted_ns = 1e9 / bench_.sample_rate_hz;
  const auto period_ns =
      static_cast<std::uint32_t>(std::clamp(std::round(wanted_ns), 1.0, 4294967295.0));
  const std::uint32_t given_ns = board_->start(subdevice_, scans_, period_ns);
  if (std::abs(given_ns - wanted_ns) > 1e-3 * wanted_ns) {
    throw DeviceFault(
        described_.file,
        fmt::format("it cannot scan {} channels {:g} times a second", scans_.size(),
                    bench_.sample_rate_hz),
        fmt::format("sample_rate_hz in [bench]; {:.6g} is the nearest", 1e9 / given_ns));
  }
  held_ = 0;
  started_ = true;
}

void ComediStream::read(Chunk& chunk) {
  if (!started_) start();
  chunk.time_ns.clear();
  const auto until =
      std::chrono::steady_clock::now() + std::chrono::duration<double>(described_.timeout_s);
  while (true) {
    const std::chrono::duration<double> left = until - std::chrono::steady_clock::now();
    const std::size_t count =
        board_->read(std::span(bytes_).subspan(held_), std::max(0.0, left.count()));
    held_ += count;
    if (take(chunk) > 0) return;
    if (count == 0 || left.count() <= 0.0)
      throw LinkLost(fmt::format("no sample within {:g} s", described_.timeout_s));
  }
}

// Whole samples out of the bytes; what is left of one begins the next reading.
std::size_t ComediStream::take(Chunk& chunk) {
  const std::size_t sample_bytes = value_bytes_ * scans_.size();
  const std::size_t samples = held_ / sample_bytes;
  chunk.counts.resize(samples * scans_.size());
  const std::byte* at = bytes_.data();
  for (std::size_t i = 0; i < chunk.counts.size(); ++i, at += value_bytes_) {
    std::uint32_t count = 0;
    if (value_bytes_ == sizeof(std::uint16_t)) {
      std::uint16_t half = 0;
      std::memcpy(&half, at, sizeof half);
      count = half;
    } else {
      std::memcpy(&count, at, sizeof count);
    }
    if (count > largest_[i % scans_.size()])
      throw LinkLost(fmt::format("a count of {}, which the board cannot give", count));
    chunk.counts[i] = static_cast<std::int32_t>(count);
  }
  held_ -= samples * sample_bytes;
  std::memmove(bytes_.data(), at, held_);
  return samples;
}

void ComediStream::set(std::size_t actuator, double value) {
  using Kind = bench::ComediDevice::Output::Kind;
  const bench::ComediDevice::Output& output = described_.outputs[actuator];
  const auto count = static_cast<std::uint32_t>(bench::count_for(output.counts, value));
  if (output.kind == Kind::analog) board_->write_analog(output, count);
  if (output.kind == Kind::digital) board_->write_digital(output, count);
}

}  // namespace windwright::devices
