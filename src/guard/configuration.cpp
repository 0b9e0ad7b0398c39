// SPDX-License-Identifier: Apache-2.0
#include "guard/configuration.h"

#include "base/sha256.h"

#include <fmt/format.h>

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
  return fmt::format("/windwright-2-{}", base::sha256(place).substr(0, digits));
}

Tap::Shape tap_shape(const bench::Bench& bench) {
  return {.channels = bench.channels.size(),
          .samples = static_cast<std::size_t>(std::llround(bench.block_s * bench.sample_rate_hz))};
}

}  // namespace windwright::guard
