// SPDX-License-Identifier: Apache-2.0
#include "acquisition/live_values.h"

#include "acquisition/value_sums.h"

#include <Eigen/LU>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <numbers>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::acquisition {
namespace {

constexpr int longest_table_bits = 16;
constexpr int looks = 257;           // at the law between its ends
constexpr double close_part = 1e-7;  // of the span: what single precision shows

double value_at(const bench::Converter& converter,
                const std::optional<metrology::Certificate>& certificate, double count) {
  const double reading_V = bench::volts(converter, count);
  return certificate ? metrology::value_of(*certificate, reading_V) : reading_V;
}

double span_of(const bench::Converter& converter,
               const std::optional<metrology::Certificate>& certificate) {
  const double last = std::exp2(converter.bits) - 1.0;
  return std::abs(value_at(converter, certificate, last) - value_at(converter, certificate, 0.0));
}

/// Where a law is curved; beyond, certificates go on straight.
struct Bend {
  double from;  // counts
  double to;
};

Bend bend_of(const bench::Converter& converter,
             const std::optional<metrology::Certificate>& certificate, double last) {
  if (!certificate) return {.from = 0.0, .to = last};
  const double start_V = bench::volts(converter, 0.0);
  const double step_V = (bench::volts(converter, last) - start_V) / last;
  const auto [low_V, high_V] =
      std::minmax(certificate->reading_range[0], certificate->reading_range[1]);
  return {.from = std::clamp((low_V - start_V) / step_V, 0.0, last),
          .to = std::clamp((high_V - start_V) / step_V, 0.0, last)};
}

/// The polynomial through a law's values at Chebyshev's points (Trefethen, Approximation Theory and
/// Approximation Practice, 2013, ch. 2), and what it goes on with beyond; nothing where that does
/// not follow the law.
/// @param value  of a count from 0 to last
template <typename Value>
std::optional<Powers> powers_of(const Value& value, const Bend& bend, double last,
                                std::size_t degree) {
  const double half = 0.5 * (bend.to - bend.from);
  if (!(half >= 1.0)) return std::nullopt;
  const auto of = [&](double t) { return value(bend.from + half * (1.0 + t)); };
  const auto size = static_cast<Eigen::Index>(degree + 1);
  Eigen::MatrixXd at(size, size);
  Eigen::VectorXd values(size);
  for (Eigen::Index i = 0; i < size; ++i) {
    const double t =
        std::cos(std::numbers::pi * static_cast<double>(i) / static_cast<double>(degree));
    for (Eigen::Index k = 0; k < size; ++k)
      at(i, k) = std::pow(t, static_cast<double>(k));
    values(i) = of(t);
  }
  const Eigen::VectorXd factors = at.partialPivLu().solve(values);
  const double first_t = -1.0 - bend.from / half;
  const double last_t = 1.0 + (last - bend.to) / half;
  const double below = first_t < -1.0 ? (of(-1.0) - of(first_t)) / (-1.0 - first_t) : 0.0;
  const double above = last_t > 1.0 ? (of(last_t) - of(1.0)) / (last_t - 1.0) : 0.0;
  const double span = std::abs(value(last) - value(0.0));
  for (int i = 1; i < looks; ++i) {
    const double t = first_t + (last_t - first_t) * static_cast<double>(i) / looks;
    const double inside = std::clamp(t, -1.0, 1.0);
    double shown = 0.0;
    for (Eigen::Index k = size; k-- > 0;)
      shown = shown * inside + factors(k);
    shown += (t < inside ? below : above) * (t - inside);
    if (!(std::abs(shown - of(t)) <= close_part * span)) return std::nullopt;
  }
  Powers powers{.scale = static_cast<float>(1.0 / half),
                .shift = static_cast<float>(first_t),
                .degree = degree,
                .factors = {},
                .slope_below = static_cast<float>(below),
                .slope_above = static_cast<float>(above)};
  for (Eigen::Index k = 0; k < size; ++k)
    powers.factors.at(static_cast<std::size_t>(k)) = static_cast<float>(factors(k));
  return powers;
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

std::vector<bool> are_calibrated(
    const std::vector<std::optional<metrology::Certificate>>& certificates) {
  std::vector<bool> calibrated;
  for (const auto& certificate : certificates)
    calibrated.push_back(certificate.has_value());
  return calibrated;
}

/// Of the samples that have a value.
Figures figures_of_known(std::span<const float> values) {
  double origin = std::numeric_limits<double>::quiet_NaN();
  double sum = 0.0;
  double squares = 0.0;
  double lowest = origin;
  double highest = origin;
  double count = 0.0;
  for (const float value : values) {
    if (std::isnan(value)) continue;
    if (count == 0.0) origin = lowest = highest = static_cast<double>(value);
    const double x = static_cast<double>(value) - origin;
    sum += x;
    squares += x * x;
    lowest = std::min(lowest, static_cast<double>(value));
    highest = std::max(highest, static_cast<double>(value));
    count += 1.0;
  }
  const double mean = sum / count;
  return {.mean = origin + mean,
          .deviation = std::sqrt(std::max(0.0, squares / count - mean * mean)),
          .lowest = lowest,
          .highest = highest};
}

}  // namespace

std::vector<PowerPair> power_pairs(
    const bench::Bench& bench,
    const std::vector<std::optional<metrology::Certificate>>& certificates) {
  std::vector<PowerPair> pairs;
  for (std::size_t voltage = 0; voltage < bench.channels.size(); ++voltage) {
    const std::optional<PowerNames> names = power_names(bench.channels[voltage].name);
    if (!names || !certificates.at(voltage)) continue;
    for (std::size_t current = 0; current < bench.channels.size(); ++current) {
      if (bench.channels[current].name == names->current && certificates[current])
        pairs.push_back({.name = names->power, .voltage = voltage, .current = current});
    }
  }
  return pairs;
}

LiveValues::Law LiveValues::law_of(const bench::Converter& converter,
                                   const std::optional<metrology::Certificate>& certificate) {
  const double last = std::exp2(converter.bits) - 1.0;
  const auto value = [&](double count) { return value_at(converter, certificate, count); };
  Law law{.converter = converter, .certificate = certificate, .powers = {}, .table = {}};
  law.powers = powers_of(value, {.from = 0.0, .to = last}, last, 1);
  for (const std::size_t degree : {3U, 7U}) {
    if (law.powers) return law;
    law.powers = powers_of(value, bend_of(converter, certificate, last), last, degree);
  }
  if (law.powers) return law;
  if (converter.bits > longest_table_bits) return law;
  std::vector<double> values(static_cast<std::size_t>(last) + 1);
  for (std::size_t count = 0; count < values.size(); ++count)
    values[count] = bench::volts(converter, static_cast<double>(count));
  metrology::values_of(*certificate, values, values);
  law.table.assign(values.begin(), values.end());
  return law;
}

LiveValues::LiveValues(const bench::Bench& bench,
                       const std::vector<std::optional<metrology::Certificate>>& certificates)
    : derived_(bench.derived, are_calibrated(certificates)) {
  for (std::size_t i = 0; i < bench.channels.size(); ++i) {
    const bench::Channel& channel = bench.channels[i];
    const bool calibrated = certificates.at(i).has_value();
    channels_.push_back({.name = channel.name,
                         .unit = calibrated ? channel.unit : "V",
                         .calibrated = calibrated,
                         .span = span_of(channel.converter, certificates[i])});
    laws_.push_back(law_of(channel.converter, certificates[i]));
  }
  products_ = power_pairs(bench, certificates);
  for (const PowerPair& pair : products_) {
    const double span = channels_[pair.voltage].span * channels_[pair.current].span;
    channels_.push_back(
        {.name = pair.name, .unit = "W", .calibrated = true, .pair = pair, .span = span});
  }
  for (const std::size_t known : derived_.known()) {
    const bench::DerivedChannel& derived = bench.derived.list[known];
    channels_.push_back({.name = derived.name, .unit = derived.unit, .calibrated = true});
  }
  figures_.resize(channels_.size());
}

std::span<const float> LiveValues::values(std::size_t channel) const {
  return std::span(values_).subspan(channel * samples_, samples_);
}

void LiveValues::take_channel(const Law& law, std::span<const std::int32_t> counts,
                              std::size_t index) {
  float* values = values_.data() + index * samples_;
  if (law.powers) {
    figures_[index] = figures_of(values_of_powers(counts, *law.powers, values), samples_);
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
  take_derived();
}

void LiveValues::take_derived() {
  const std::size_t first = laws_.size() + products_.size();
  derived_.take(values_, samples_, std::span(values_).subspan(first * samples_));
  for (std::size_t index = first; index < channels_.size(); ++index)
    figures_[index] = figures_of_known(values(index));
}

}  // namespace windwright::acquisition
