// SPDX-License-Identifier: Apache-2.0
#include "acquisition/live_power.h"

#include "base/errors.h"
#include "signal/ac_power.h"

#include <algorithm>
#include <array>
#include <chrono>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <vector>

namespace windwright::acquisition {
namespace {

constexpr signal::FrequencyRange searched{};
// Ten cycles of the slowest generator and a quarter more, for a frequency that is not known yet.
constexpr double kept_s = 12.5 / searched.lowest_Hz;
// As IEC 61000-4-7 asks of 50 and 60 Hz, and signal::pair_power of any frequency.
constexpr double many_cycles_from_Hz = 55.0;
constexpr int few_cycles = 10;
constexpr int many_cycles = 12;
constexpr double most_room = 128.0;  // samples, what signal::ExactWindow makes use of

std::optional<std::size_t> index_of(const bench::Bench& bench, const char* name) {
  for (std::size_t i = 0; i < bench.channels.size(); ++i) {
    if (bench.channels[i].name == name) return i;
  }
  return std::nullopt;
}

std::vector<PowerPair> alternating_pairs(
    const bench::Bench& bench,
    const std::vector<std::optional<metrology::Certificate>>& certificates) {
  std::vector<PowerPair> pairs = power_pairs(bench, certificates);
  std::erase_if(pairs, [&](const PowerPair& pair) {
    return !bench::is_alternating(bench.channels[pair.voltage].name);
  });
  const auto voltage = index_of(bench, "inverter_output_V");
  const auto current = index_of(bench, "inverter_output_A");
  if (voltage && current && certificates.at(*voltage) && certificates.at(*current))
    pairs.push_back({.name = "inverter_output_W", .voltage = *voltage, .current = *current});
  return pairs;
}

}  // namespace

LivePower::LivePower(const bench::Bench& bench,
                     const std::vector<std::optional<metrology::Certificate>>& certificates)
    : certificates_(certificates),
      sample_rate_hz_(bench.sample_rate_hz),
      pairs_(alternating_pairs(bench, certificates)),
      capacity_(static_cast<std::size_t>(std::ceil(kept_s * bench.sample_rate_hz))) {
  for (const bench::Channel& channel : bench.channels)
    converters_.push_back(channel.converter);
  for (const PowerPair& pair : pairs_) {
    for (const std::size_t channel : {pair.voltage, pair.current})
      kept_.push_back({.channel = channel, .counts = std::vector<std::int32_t>(capacity_)});
  }
}

void LivePower::take(const bench::SampleBlock& block) {
  if (block.gap_before || block.first_sample != next_) filled_ = 0;
  next_ = block.first_sample + static_cast<std::int64_t>(block.samples);
  before_ = block.start + std::chrono::nanoseconds(std::llround(static_cast<double>(block.samples) /
                                                                sample_rate_hz_ * 1e9));
  const std::size_t count = std::min(block.samples, capacity_);
  const std::size_t first_part = std::min(count, capacity_ - end_);
  for (Kept& kept : kept_) {
    const auto newest = block.channel(kept.channel).last(count);
    const auto to = kept.counts.begin() + static_cast<std::ptrdiff_t>(end_);
    std::copy_n(newest.begin(), first_part, to);
    std::copy(newest.begin() + static_cast<std::ptrdiff_t>(first_part), newest.end(),
              kept.counts.begin());
  }
  end_ = (end_ + count) % capacity_;
  filled_ = std::min(capacity_, filled_ + count);
}

const LivePower::Kept& LivePower::kept(std::size_t channel) const {
  return *std::find_if(kept_.begin(), kept_.end(),
                       [&](const Kept& each) { return each.channel == channel; });
}

// The newest of them, in time.
std::vector<double> LivePower::values(std::size_t channel, std::size_t samples) const {
  const std::vector<std::int32_t>& counts = kept(channel).counts;
  std::vector<double> values(samples);
  std::size_t at = (end_ + capacity_ - samples) % capacity_;
  for (double& value : values) {
    value = bench::volts(converters_[channel], counts[at]);
    at = at + 1 == capacity_ ? 0 : at + 1;
  }
  metrology::values_of(*certificates_[channel], values, values);
  return values;
}

std::optional<AcFigures> LivePower::newest(std::size_t pair) const {
  const PowerPair& channels = pairs_.at(pair);
  const std::vector<double> voltage_V = values(channels.voltage, filled_);
  const auto guess_Hz = signal::coarse_frequency_Hz(voltage_V, sample_rate_hz_, searched);
  if (!guess_Hz) return std::nullopt;
  const int cycles = *guess_Hz < many_cycles_from_Hz ? few_cycles : many_cycles;
  const auto all = static_cast<double>(filled_);
  const double guessed = cycles / *guess_Hz * sample_rate_hz_;
  if (!(guessed <= all)) return std::nullopt;
  const double frequency_Hz = signal::refined_frequency_Hz(
      voltage_V, sample_rate_hz_, {.begin = all - 0.5 - guessed, .cycles = cycles}, *guess_Hz);
  const double length = std::ceil(cycles / frequency_Hz * sample_rate_hz_);
  if (!(length >= 1.0 && length <= all)) return std::nullopt;
  // Room for the window's soft ends, too little for a second window.
  const double room = std::min({most_room, 0.1 * length, all - length});
  const auto samples = static_cast<std::size_t>(length + room);
  const std::vector<double> current_A = values(channels.current, samples);
  const signal::PairStretch window{.voltage_V = std::span(voltage_V).last(samples),
                                   .current_A = current_A};
  try {
    const signal::PairPower power =
        signal::pair_power(std::span(&window, 1), sample_rate_hz_, searched, channels.name);
    if (!power.alternating) return std::nullopt;
    return AcFigures{.frequency_Hz = power.alternating->frequency_Hz,
                     .voltage_rms_V = power.voltage.rms,
                     .current_rms_A = power.current.rms,
                     .active_power_W = power.active_power_W,
                     .apparent_power_VA = power.apparent_power_VA,
                     .power_factor = power.alternating->terms.power_factor,
                     .cycles = power.alternating->cycles,
                     .before = before_};
  } catch (const base::BadInput&) {
    return std::nullopt;  // for whoever looks on, a machine that runs up is nothing wrong
  }
}

}  // namespace windwright::acquisition
