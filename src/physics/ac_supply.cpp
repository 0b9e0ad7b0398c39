// SPDX-License-Identifier: Apache-2.0
#include "physics/ac_supply.h"

#include "base/errors.h"

#include <fmt/format.h>

#include <cmath>
#include <numbers>

namespace windwright::physics {
namespace {

constexpr double pi = std::numbers::pi;

double pulse_share(const AcSupply& supply) {
  return supply.kind == OutputKind::square ? 1.0 : supply.pulse_share;
}

}  // namespace

void check(const AcSupply& supply) {
  if (!(supply.peak_V >= 0.0 && std::isfinite(supply.peak_V))) {
    throw base::BadInput("AC supply", fmt::format("peak voltage is {} V", supply.peak_V),
                         "0 or more");
  }
  if (!(supply.frequency_Hz > 0.0 && std::isfinite(supply.frequency_Hz))) {
    throw base::BadInput("AC supply", fmt::format("frequency is {} Hz", supply.frequency_Hz),
                         "above 0");
  }
  if (supply.kind == OutputKind::quasi_square &&
      !(supply.pulse_share >= 0.0 && supply.pulse_share <= 1.0)) {
    throw base::BadInput("AC supply", fmt::format("pulse share is {}", supply.pulse_share),
                         "a part of half a period, 0 to 1");
  }
}

double rms_V(const AcSupply& supply) {
  if (supply.kind == OutputKind::sine) return supply.peak_V / std::numbers::sqrt2;
  return supply.peak_V * std::sqrt(pulse_share(supply));
}

double rectified_mean_V(const AcSupply& supply) {
  if (supply.kind == OutputKind::sine) return supply.peak_V * 2.0 / pi;
  return supply.peak_V * pulse_share(supply);
}

double harmonic_V(const AcSupply& supply, int order) {
  if (supply.kind == OutputKind::sine) return order == 1 ? rms_V(supply) : 0.0;
  if (order % 2 == 0) return 0.0;
  const double rest_rad = 0.5 * pi * (1.0 - pulse_share(supply));
  return 4.0 * supply.peak_V * std::cos(order * rest_rad) / (order * pi * std::numbers::sqrt2);
}

double distortion(const AcSupply& supply) {
  if (supply.kind == OutputKind::sine) return 0.0;
  const double first_V = harmonic_V(supply, 1);
  if (!(first_V > 0.0)) return 0.0;
  const double ratio = rms_V(supply) / first_V;
  return std::sqrt(ratio * ratio - 1.0);
}

double voltage_V(const AcSupply& supply, double turns) {
  const double part = turns - std::floor(turns);
  if (supply.kind == OutputKind::sine) return supply.peak_V * std::sin(2.0 * pi * part);
  const double reach = 0.25 * pulse_share(supply);
  if (std::abs(part - 0.25) < reach) return supply.peak_V;
  if (std::abs(part - 0.75) < reach) return -supply.peak_V;
  return 0.0;
}

}  // namespace windwright::physics
