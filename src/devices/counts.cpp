// SPDX-License-Identifier: Apache-2.0
#include "devices/counts.h"

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <optional>

namespace windwright::devices {

std::optional<std::int32_t> count_of(const bench::Converter& converter,
                                     const bench::NumberMeaning& meaning, double number) {
  using Gives = bench::NumberMeaning::Gives;
  if (std::isnan(number)) return std::nullopt;
  const double steps = std::ldexp(1.0, converter.bits);
  if (meaning.gives == Gives::volts) {
    const double span_V = converter.upper_V - converter.lower_V;
    const double voltage_V = number * meaning.volts_per_unit;
    const double count = std::floor((voltage_V - converter.lower_V) / span_V * steps);
    return static_cast<std::int32_t>(std::clamp(count, 0.0, steps - 1.0));
  }
  const double count = meaning.gives == Gives::signed_counts ? number + steps / 2.0 : number;
  if (!(count >= 0.0 && count < steps) || count != std::floor(count)) return std::nullopt;
  return static_cast<std::int32_t>(count);
}

}  // namespace windwright::devices
