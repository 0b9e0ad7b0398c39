// SPDX-License-Identifier: Apache-2.0
#include "station/heard_device.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <string_view>
#include <utility>

namespace windwright::station {
namespace {

constexpr double longest_short_block_s = 0.05;  // viewers are shown something new 20 times a second

}  // namespace

bench::Bench with_short_blocks(bench::Bench bench) {
  const auto whole = std::max<long long>(1, std::llround(bench.block_s * bench.sample_rate_hz));
  auto parts = static_cast<long long>(std::ceil(bench.block_s / longest_short_block_s - 1e-9));
  parts = std::clamp<long long>(parts, 1, whole);
  while (whole % parts != 0)
    ++parts;
  bench.block_s = static_cast<double>(whole / parts) / bench.sample_rate_hz;
  return bench;
}

HeardDevice::HeardDevice(const bench::Bench& bench, bench::Device& device, Hearing& hearing)
    : ForwardingDevice(device),
      hearing_(hearing),
      wanted_(static_cast<std::size_t>(
          std::max<long long>(1, std::llround(bench.block_s * bench.sample_rate_hz)))) {}

void HeardDevice::set(std::string_view actuator, double value) {
  device_.set(actuator, value);
  hearing_.commanded(actuator, value);
}

void HeardDevice::apply_known_input(std::string_view channel, double value) {
  device_.apply_known_input(channel, value);
  channel_ = channel;
  hearing_.known_input(channel, value);
}

void HeardDevice::remove_known_input() {
  device_.remove_known_input();
  hearing_.known_input(channel_, std::nullopt);
}

void HeardDevice::return_to(std::string_view bookmark) {
  left_.reset();
  device_.return_to(bookmark);
}

void HeardDevice::stop() noexcept {
  device_.stop();
  hearing_.stopped();
}

void HeardDevice::next_part(bench::SampleBlock& part) {
  if (left_) {
    std::swap(part, *left_);
    left_.reset();
    return;
  }
  device_.read(part);
  if (hearing_.heard(part)) stop();
}

void HeardDevice::join(std::size_t parts, bench::SampleBlock& block) const {
  const bench::SampleBlock& first = parts_.front();
  block.first_sample = first.first_sample;
  block.start = first.start;
  block.gap_before = first.gap_before;
  block.channels = first.channels;
  block.samples = 0;
  for (std::size_t i = 0; i < parts; ++i)
    block.samples += parts_[i].samples;
  block.counts.resize(block.channels * block.samples);
  auto to = block.counts.begin();
  for (std::size_t channel = 0; channel < block.channels; ++channel) {
    for (std::size_t i = 0; i < parts; ++i) {
      const auto from = parts_[i].channel(channel);
      to = std::copy(from.begin(), from.end(), to);
    }
  }
}

void HeardDevice::read(bench::SampleBlock& block) {
  std::size_t samples = 0;
  std::size_t parts = 0;
  while (samples < wanted_) {
    if (parts == parts_.size()) parts_.emplace_back();
    bench::SampleBlock& part = parts_[parts];
    next_part(part);
    if (part.samples == 0) {  // whoever reads it says what is wrong
      std::swap(block, part);
      return;
    }
    if (parts > 0) {
      const bench::SampleBlock& before = parts_[parts - 1];
      const auto next = before.first_sample + static_cast<std::int64_t>(before.samples);
      if (part.gap_before || part.first_sample != next || part.channels != before.channels) {
        left_ = std::move(part);
        part = {};
        break;
      }
    }
    samples += part.samples;
    ++parts;
  }
  join(parts, block);
  if (hearing_.whole(block)) stop();
}

}  // namespace windwright::station
