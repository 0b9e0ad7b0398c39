// SPDX-License-Identifier: Apache-2.0
#include "acquisition/live_values.h"

#include "acquisition/value_sums.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::acquisition {
namespace {

constexpr int longest_table_bits = 16;
constexpr int looks_for_a_bow = 33;
constexpr double straight_part = 1e-7;  // of the span: what single precision shows

double value_at(const bench::Converter& converter,
                const std::optional<metrology::Certificate>& certificate, double count) {
  const double reading_V = bench::volts(converter, count);
  return certificate ? metrology::value_of(*certificate, reading_V) : reading_V;
}

Figures figures_of(const ValueSums& sums, std::size_t samples) {
  const auto n = static_cast<double>(samples);
  const double mean = sums.sum / n;
  return {.mean = sums.origin + mean,
          .deviation = std::sqrt(std::max(0.0, sums.squares / n - mean * mean)),
          .lowest = static_cast<double>(sums.lowest),
          .highest = static_cast<double>(sums.highest)};
}

struct PowerNames {
  std::string current;
  std::string power;
};

// Root mean squares multiplied are no power.
std::optional<PowerNames> power_names(const std::string& voltage) {
  constexpr std::string_view quantity = "_voltage_";
  const std::size_t at = voltage.find(quantity);
  if (at == std::string::npos || !voltage.ends_with("_V")) return std::nullopt;
  if (voltage.find("_rms_") != std::string::npos) return std::nullopt;
  const auto with = [&](std::string_view name, char unit) {
    std::string text = voltage.substr(0, at);
    text += name;
    text += voltage.substr(at + quantity.size());
    text.back() = unit;
    return text;
  };
  return PowerNames{.current = with("_current_", 'A'), .power = with("_power_", 'W')};
}

}  // namespace

LiveValues::Law LiveValues::law_of(const bench::Converter& converter,
                                   const std::optional<metrology::Certificate>& certificate) {
  const double last = std::exp2(converter.bits) - 1.0;
  const double from = value_at(converter, certificate, 0.0);
  const double to = value_at(converter, certificate, last);
  Law law{.converter = converter,
          .certificate = certificate,
          .straight = true,
          .offset = static_cast<float>(from),
          .slope = static_cast<float>((to - from) / last),
          .table = {}};
  for (int k = 1; k < looks_for_a_bow; ++k) {
    const double share = static_cast<double>(k) / looks_for_a_bow;
    const double bow = value_at(converter, certificate, share * last) - from - share * (to - from);
    if (!(std::abs(bow) <= straight_part * std::abs(to - from))) law.straight = false;
  }
  if (law.straight || converter.bits > longest_table_bits) return law;
  std::vector<double> values(static_cast<std::size_t>(last) + 1);
  for (std::size_t count = 0; count < values.size(); ++count)
    values[count] = bench::volts(converter, static_cast<double>(count));
  metrology::values_of(*certificate, values, values);
  law.table.assign(values.begin(), values.end());
  return law;
}

LiveValues::LiveValues(const bench::Bench& bench,
                       const std::vector<std::optional<metrology::Certificate>>& certificates) {
  for (std::size_t i = 0; i < bench.channels.size(); ++i) {
    const bench::Channel& channel = bench.channels[i];
    const bool calibrated = certificates.at(i).has_value();
    channels_.push_back(
        {.name = channel.name, .unit = calibrated ? channel.unit : "V", .calibrated = calibrated});
    laws_.push_back(law_of(channel.converter, certificates[i]));
  }
  for (std::size_t voltage = 0; voltage < laws_.size(); ++voltage) {
    const std::optional<PowerNames> names = power_names(channels_[voltage].name);
    if (!names || !channels_[voltage].calibrated) continue;
    for (std::size_t current = 0; current < laws_.size(); ++current) {
      if (channels_[current].name != names->current || !channels_[current].calibrated) continue;
      channels_.push_back({.name = names->power, .unit = "W", .calibrated = true});
      products_.push_back({.voltage = voltage, .current = current});
    }
  }
  figures_.resize(channels_.size());
}

std::span<const float> LiveValues::values(std::size_t channel) const {
  return std::span(values_).subspan(channel * samples_, samples_);
}

void LiveValues::take_channel(const Law& law, std::span<const std::int32_t> counts,
                              std::size_t index) {
  float* values = values_.data() + index * samples_;
  if (law.straight) {
    figures_[index] = figures_of(
        straight_values(counts, {.offset = law.offset, .slope = law.slope}, values), samples_);
    return;
  }
  if (!law.table.empty()) {
    figures_[index] = figures_of(looked_up_values(counts, law.table, values), samples_);
    return;
  }
  scratch_.resize(samples_);
  for (std::size_t i = 0; i < samples_; ++i)
    scratch_[i] = bench::volts(law.converter, counts[i]);
  metrology::values_of(*law.certificate, scratch_, scratch_);
  ValueSums sums{.origin = scratch_[0]};
  const auto [lowest, highest] = std::minmax_element(scratch_.begin(), scratch_.end());
  sums.lowest = static_cast<float>(*lowest);
  sums.highest = static_cast<float>(*highest);
  for (std::size_t i = 0; i < samples_; ++i) {
    const double x = scratch_[i] - sums.origin;
    sums.sum += x;
    sums.squares += x * x;
    values[i] = static_cast<float>(scratch_[i]);
  }
  figures_[index] = figures_of(sums, samples_);
}

void LiveValues::take(const bench::SampleBlock& block) {
  samples_ = block.samples;
  values_.resize(channels_.size() * samples_);
  for (std::size_t i = 0; i < laws_.size(); ++i)
    take_channel(laws_[i], block.channel(i), i);
  for (std::size_t k = 0; k < products_.size(); ++k) {
    const std::size_t index = laws_.size() + k;
    figures_[index] =
        figures_of(products(values(products_[k].voltage), values(products_[k].current),
                            values_.data() + index * samples_),
                   samples_);
  }
}

}  // namespace windwright::acquisition
