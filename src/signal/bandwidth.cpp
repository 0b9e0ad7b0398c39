// SPDX-License-Identifier: Apache-2.0
#include "signal/bandwidth.h"

#include <fmt/format.h>

#include <algorithm>
#include <string>

namespace windwright::signal {

namespace {

constexpr double told_apart = 0.5 * 31.0 / 32.0;  // of the sample rate

}  // namespace

Bandwidth bandwidth(double sample_rate_hz, double frequency_Hz) {
  const double orders = told_apart * sample_rate_hz / frequency_Hz - 0.5;  // half an order a group
  const int highest = static_cast<int>(std::clamp(orders, 0.0, static_cast<double>(most_orders)));
  const double pass_Hz = (highest + 0.5) * frequency_Hz;
  return {.sample_rate_hz = sample_rate_hz,
          .frequency_Hz = frequency_Hz,
          .highest_order = highest,
          .pass_Hz = pass_Hz,
          .stop_Hz = sample_rate_hz - pass_Hz};
}

std::string bandwidth_text(const Bandwidth& bandwidth) {
  return fmt::format(
      "{:.6g} samples a second carry harmonics up to order {} of {:.6g} Hz. The converter wants an "
      "analogue low-pass before it that lets through up to {:.4g} Hz and holds back what lies from "
      "{:.4g} Hz on: that would be folded onto the harmonics, and nothing here can tell it from "
      "them.{}",
      bandwidth.sample_rate_hz, bandwidth.highest_order, bandwidth.frequency_Hz, bandwidth.pass_Hz,
      bandwidth.stop_Hz,
      bandwidth.stop_Hz < 1.5 * bandwidth.pass_Hz
          ? " No real filter is as steep as that: sample faster, or trust the lower orders only."
          : "");
}

}  // namespace windwright::signal
