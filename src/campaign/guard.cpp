// SPDX-License-Identifier: Apache-2.0
#include "campaign/guard.h"

#include "signal/statistics.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::campaign {

Guard::Guard(const bench::Bench& bench, std::vector<metrology::Certificate> certificates)
    : bench_(bench), certificates_(std::move(certificates)), values_(bench.channels.size()) {
  for (const char* name : {"rotor_speed_rad_s", "dc_voltage_V", "dc_current_A"})
    watched_.push_back(bench.channel_index(name));
  for (const bench::Interlock& interlock : bench.interlocks)
    watched_.push_back(bench.channel_index(interlock.channel));
  std::sort(watched_.begin(), watched_.end());
  watched_.erase(std::unique(watched_.begin(), watched_.end()), watched_.end());
}

const std::vector<double>& Guard::values(std::string_view channel) const {
  return values_[bench_.channel_index(channel)];
}

double Guard::rotor_speed_rad_s() const {
  return signal::mean(values("rotor_speed_rad_s"));
}

double Guard::dc_voltage_V() const {
  return signal::mean(values("dc_voltage_V"));
}

double Guard::span(std::string_view channel) const {
  const std::size_t index = bench_.channel_index(channel);
  const bench::Converter& converter = bench_.channels[index].converter;
  return std::abs(metrology::value_of(certificates_[index], converter.upper_V) -
                  metrology::value_of(certificates_[index], converter.lower_V));
}

std::optional<std::string> Guard::trip(const bench::SampleBlock& block) {
  for (const std::size_t index : watched_) {
    std::vector<double>& values = values_[index];
    values.resize(block.samples);
    const auto counts = block.channel(index);
    std::transform(counts.begin(), counts.end(), values.begin(), [&](std::int32_t count) {
      return bench::volts(bench_.channels[index].converter, count);
    });
    metrology::values_of(certificates_[index], values, values);
  }
  const std::vector<double>& voltage_V = values("dc_voltage_V");
  const std::vector<double>& current_A = values("dc_current_A");
  power_W_.resize(block.samples);
  std::transform(voltage_V.begin(), voltage_V.end(), current_A.begin(), power_W_.begin(),
                 [](double voltage, double current) { return voltage * current; });

  for (const bench::Interlock& interlock : bench_.interlocks) {
    const std::size_t index = bench_.channel_index(interlock.channel);
    const auto counts = block.channel(index);
    const auto top =
        static_cast<std::int32_t>(std::exp2(bench_.channels[index].converter.bits)) - 1;
    if (std::all_of(counts.begin(), counts.end(), [top](auto count) { return count >= top; })) {
      return fmt::format(
          "interlock '{}': {} stands at the upper end of its converter, so its value is unknown: "
          "{}",
          interlock.name, interlock.channel, interlock.cause);
    }
    const double mean = signal::mean(values_[index]);
    if (!(mean <= interlock.highest)) {
      return fmt::format("interlock '{}': {} is {:.4g} {}, above {}: {}", interlock.name,
                         interlock.channel, mean, bench_.channels[index].unit, interlock.highest,
                         interlock.cause);
    }
  }
  return std::nullopt;
}

}  // namespace windwright::campaign
