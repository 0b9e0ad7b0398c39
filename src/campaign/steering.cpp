// SPDX-License-Identifier: Apache-2.0
#include "campaign/steering.h"

#include "guard/interlocks.h"
#include "signal/statistics.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <filesystem>
#include <optional>
#include <span>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::campaign {

Steering::Steering(const bench::Bench& bench, std::vector<metrology::Certificate> certificates,
                   const std::filesystem::path& folder)
    : bench_(bench),
      certificates_(std::move(certificates)),
      interlocks_(
          bench, certificates_,
          {.also = {"rotor_speed_rad_s", "dc_voltage_V", "dc_current_A"}, .folder = folder}) {}

std::optional<guard::Trip> Steering::judge(const bench::SampleBlock& block) {
  std::optional<guard::Trip> trip = interlocks_.judge(block);
  const std::span<const double> voltage_V = interlocks_.values("dc_voltage_V");
  const std::span<const double> current_A = interlocks_.values("dc_current_A");
  power_W_.resize(block.samples);
  std::transform(voltage_V.begin(), voltage_V.end(), current_A.begin(), power_W_.begin(),
                 [](double voltage, double current) { return voltage * current; });
  return trip;
}

double Steering::rotor_speed_rad_s() const {
  return signal::mean(interlocks_.values("rotor_speed_rad_s"));
}

double Steering::dc_voltage_V() const {
  return signal::mean(interlocks_.values("dc_voltage_V"));
}

double Steering::span(std::string_view channel) const {
  const std::size_t index = bench_.channel_index(channel);
  const bench::Converter& converter = bench_.channels[index].converter;
  return std::abs(metrology::value_of(certificates_[index], converter.upper_V) -
                  metrology::value_of(certificates_[index], converter.lower_V));
}

}  // namespace windwright::campaign
