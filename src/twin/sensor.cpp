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
    : converter_(channel.converter),
      references_(channel.calibration.references),
      clamp_(seed, fmt::format("{}: clamp", channel.name)),
      disturbance_(seed, fmt::format("{}: disturbance", channel.name)),
      sample_rate_hz_(sample_rate_hz) {
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
  steps_ = std::ldexp(1.0, converter_.bits);
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

double Sensor::transferred_V(double sensed) const {
  const double xi = (sensed - lowest_) / span_;
  return offset_V_ + sensitivity_V_ * sensed + bow_V_ * 4.0 * xi * (1.0 - xi);
}

std::int32_t Sensor::converted(double input_V) const {
  const double place =
      (input_V - converter_.lower_V) / (converter_.upper_V - converter_.lower_V) * steps_;
  return static_cast<std::int32_t>(std::clamp(std::floor(place), 0.0, steps_ - 1.0));
}

std::int32_t Sensor::counts(Input kind, double true_input, std::int64_t sample) {
  std::int32_t shown = 0;
  counts({.kind = kind, .lagged = false, .first = sample, .true_input = {&true_input, 1}},
         {&shown, 1});
  return shown;
}

void Sensor::counts(const Samples& samples, std::span<std::int32_t> shown) {
  Memory& m = memory_;
  if (m.fault == static_cast<std::int64_t>(FaultKind::stuck_sensor)) {
    std::fill(shown.begin(), shown.end(), static_cast<std::int32_t>(m.counts));
    return;
  }
  if (m.fault == static_cast<std::int64_t>(FaultKind::lost_sensor)) {
    m.settled = false;
    m.counts = m.fault_amount < 0.0 ? 0 : static_cast<std::int64_t>(steps_) - 1;
    std::fill(shown.begin(), shown.end(), static_cast<std::int32_t>(m.counts));
    return;
  }
  make_room(shown.size());
  const std::span<double> noise = std::span(numbers_).first(shown.size());
  noise_[static_cast<std::size_t>(samples.kind)].normals(static_cast<std::uint64_t>(samples.first),
                                                         noise);
  const bool sound = m.fault == no_fault;
  for (std::size_t i = 0; i < shown.size(); ++i) {
    const double input = samples.true_input[i];
    const double input_V =
        transferred_V(sound ? input : felt(input, samples.first + static_cast<std::int64_t>(i)));
    const bool follows = m.settled && !samples.lagged;
    m.output_V =
        follows ? keep_ * m.output_V + from_old_ * m.input_V + from_new_ * input_V : input_V;
    m.input_V = input_V;
    m.settled = !samples.lagged;
    shown[i] = converted(m.output_V + noise_V_ * noise[i]);
  }
  if (!shown.empty()) m.counts = shown.back();
}

// What acts on the sensor's element, its fault included.
double Sensor::felt(double true_input, std::int64_t sample) const {
  const Memory& m = memory_;
  if (m.fault == no_fault) return true_input;
  switch (static_cast<FaultKind>(m.fault)) {
    case FaultKind::drifted_sensor: {
      const double gone_s = static_cast<double>(sample - m.fault_sample) / sample_rate_hz_;
      const double part = m.fault_over_s > 0.0 ? std::min(1.0, gone_s / m.fault_over_s) : 1.0;
      return true_input + part * m.fault_amount;
    }
    case FaultKind::swapped_polarity:
      return -true_input;
    case FaultKind::scaled_sensor:
      return m.fault_amount * true_input;
    case FaultKind::noisy_sensor:
      return true_input + m.fault_amount * disturbance_.normal(static_cast<std::uint64_t>(sample));
    case FaultKind::loose_clamp: {
      // The jaw opens and closes with the hum of the bench, some ten times a second.
      constexpr double contact_s = 0.1;
      const auto contact =
          std::llround(std::floor(static_cast<double>(sample) / (contact_s * sample_rate_hz_)));
      const double open = 2.0 * clamp_.uniform(static_cast<std::uint64_t>(contact));
      return true_input * (1.0 - m.fault_amount * open);
    }
    default:
      return true_input;
  }
}

void Sensor::start_fault(const Fault& fault, std::int64_t sample) {
  memory_.fault = static_cast<std::int64_t>(fault.kind);
  memory_.fault_sample = sample;
  memory_.fault_amount = fault.amount;
  memory_.fault_over_s = fault.over_s;
}

}  // namespace windwright::twin
