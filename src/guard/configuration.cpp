// SPDX-License-Identifier: Apache-2.0
#include "guard/configuration.h"

#include "base/sha256.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <filesystem>
#include <string>

namespace windwright::guard {

std::string configuration_of(const bench::Bench& bench) {
  std::string parts = base::sha256(bench.text) + base::sha256(bench.rotor_text);
  for (const bench::Channel& channel : bench.channels) {
    parts += std::filesystem::exists(channel.certificate)
                 ? base::sha256_of_file(channel.certificate)
                 : std::string("none");
  }
  return base::sha256(parts);
}

std::string tap_name(const bench::Bench& bench) {
  constexpr std::size_t digits = 16;
  const std::string place = std::filesystem::weakly_canonical(bench.file).string();
  return fmt::format("/windwright-3-{}", base::sha256(place).substr(0, digits));
}

// Whether the rotor stands is the guard's to know as well, judged or not.
Tap::Shape tap_shape(const bench::Bench& bench) {
  Tap::Shape shape{
      .channels = bench.channels.size(),
      .samples = static_cast<std::size_t>(std::llround(bench.block_s * bench.sample_rate_hz))};
  for (std::size_t i = 0; i < bench.channels.size(); ++i) {
    const std::string& name = bench.channels[i].name;
    const bool judged =
        std::any_of(bench.interlocks.begin(), bench.interlocks.end(),
                    [&name](const bench::Interlock& interlock) { return interlock.judges(name); });
    if (judged || name == "rotor_speed_rad_s") shape.judged.push_back(i);
  }
  return shape;
}

}  // namespace windwright::guard
