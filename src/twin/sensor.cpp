// SPDX-License-Identifier: Apache-2.0
#include "twin/sensor.h"

#include "base/errors.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <numbers>
#include <string>
#include <string_view>

namespace windwright::twin {

Sensor::Sensor(const bench::Channel& channel, std::uint64_t seed, double sample_rate_hz)
    : converter_(channel.converter), references_(channel.calibration.references) {
  if (!channel.simulated) {
    throw base::BadInput("simulated bench",
                         fmt::format("channel '{}' has no [channel.simulated]", channel.name),
                         "that table, so that the channel can be simulated");
  }
  const auto normal = [&](std::string_view what) {
    return base::RandomStream(seed, fmt::format("{}: {}", channel.name, what)).normal(0);
  };
  const bench::SimulatedSensor& sensor = *channel.simulated;
  const auto [lowest, highest] = std::minmax_element(references_.begin(), references_.end());
  lowest_ = *lowest;
  span_ = *highest - *lowest;
  offset_V_ = sensor.offset_V + sensor.u_offset_V * normal("offset");
  sensitivity_V_ =
      sensor.sensitivity_V * (1.0 + sensor.u_sensitivity_relative * normal("sensitivity"));
  bow_V_ = sensor.nonlinearity_relative * std::abs(sensor.sensitivity_V) * span_ * normal("bow");
  noise_V_ = sensor.noise_V;
  drift_ = channel.u_drift * normal("drift");
  standard_error_ = channel.calibration.u_standard * normal("standard");
  standard_error_relative_ = channel.calibration.u_standard_relative * normal("standard, relative");
  if (channel.check_standard) {
    has_check_ = true;
    check_value_ = channel.check_standard->value;
    check_error_ = channel.check_standard->u * normal("check standard");
  }
  if (std::isfinite(sensor.bandwidth_Hz)) {
    // y' = (x - y) / tau with x linear over one sample h, solved exactly; with q = h / tau:
    // y(h) = y0 e^-q + x0 ((1 - e^-q) / q - e^-q) + x1 (1 - (1 - e^-q) / q).
    const double q = 2.0 * std::numbers::pi * sensor.bandwidth_Hz / sample_rate_hz;
    keep_ = std::exp(-q);
    const double mean = -std::expm1(-q) / q;
    from_old_ = mean - keep_;
    from_new_ = 1.0 - mean;
  }
  for (const char* kind : {"noise", "noise in calibration", "noise in check"})
    noise_.emplace_back(seed, fmt::format("{}: {}", channel.name, kind));
}

Sensor::Input Sensor::kind_of_known_input(double value) const {
  if (std::find(references_.begin(), references_.end(), value) != references_.end()) {
    return Input::reference;
  }
  return Input::check;
}

double Sensor::true_input(Input kind, double value) const {
  switch (kind) {
    case Input::reference:
      return value + standard_error_ + standard_error_relative_ * value;
    case Input::check:
      return value + drift_ + (has_check_ && value == check_value_ ? check_error_ : 0.0);
    case Input::process:
      break;
  }
  return value + drift_;
}

std::int32_t Sensor::counts(Input kind, double true_input, std::int64_t sample) {
  const double xi = (true_input - lowest_) / span_;
  const double input_V = offset_V_ + sensitivity_V_ * true_input + bow_V_ * 4.0 * xi * (1.0 - xi);
  output_V_ = settled_ ? keep_ * output_V_ + from_old_ * input_V_ + from_new_ * input_V : input_V;
  input_V_ = input_V;
  settled_ = true;
  const double noise =
      noise_[static_cast<std::size_t>(kind)].normal(static_cast<std::uint64_t>(sample));
  const double steps = std::ldexp(1.0, converter_.bits);
  const double place = (output_V_ + noise_V_ * noise - converter_.lower_V) /
                       (converter_.upper_V - converter_.lower_V) * steps;
  return static_cast<std::int32_t>(std::clamp(std::floor(place), 0.0, steps - 1.0));
}

void Sensor::restore(const Memory& memory) {
  settled_ = memory.settled;
  input_V_ = memory.input_V;
  output_V_ = memory.output_V;
}

}  // namespace windwright::twin
