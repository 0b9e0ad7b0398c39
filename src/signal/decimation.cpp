// SPDX-License-Identifier: Apache-2.0
#include "signal/decimation.h"

#include <cmath>
#include <cstddef>
#include <numbers>

namespace windwright::signal {

namespace {

constexpr double pi = std::numbers::pi;
constexpr double samples_per_cycle = 5.0;
constexpr double attenuation_dB = 100.0;
constexpr std::size_t block = 8;  // of filter_pair

double bessel_i0(double x) {
  double term = 1.0;
  double sum = 1.0;
  for (int k = 1; term > 1e-17 * sum; ++k) {
    term *= 0.25 * x * x / (static_cast<double>(k) * k);
    sum += term;
  }
  return sum;
}

}  // namespace

Decimation::Decimation(double pass_per_sample) {
  const double room = 1.0 / (samples_per_cycle * pass_per_sample);
  if (room < 2.0) {
    taps_.assign(block, 0.0);
    taps_[0] = 1.0;
    return;
  }
  step_ = static_cast<std::size_t>(room);
  const double rate = 1.0 / static_cast<double>(step_);
  const double transition = rate - 2.0 * pass_per_sample;
  const double length = (attenuation_dB - 8.0) / (2.285 * 2.0 * pi * transition);
  middle_ = static_cast<std::size_t>(std::ceil(0.5 * length));
  const double beta = 0.1102 * (attenuation_dB - 8.7);
  const double cut = 0.5 * rate;  // half-way from pass to what folds onto it
  taps_.assign((2 * middle_ + 1 + block - 1) / block * block, 0.0);
  double sum = 0.0;
  for (std::size_t k = 0; k <= 2 * middle_; ++k) {
    const double x = static_cast<double>(k) - static_cast<double>(middle_);
    const double sinc = x == 0.0 ? 2.0 * cut : std::sin(2.0 * pi * cut * x) / (pi * x);
    const double place = x / static_cast<double>(middle_ + 1);
    taps_[k] = sinc * bessel_i0(beta * std::sqrt(1.0 - place * place)) / bessel_i0(beta);
    sum += taps_[k];
  }
  for (double& tap : taps_)
    tap /= sum;
}

double Decimation::gain(double cycles_per_sample) const {
  if (step_ == 1) return 1.0;
  // cos(k w) from the two before it.
  const double twice = 2.0 * std::cos(2.0 * pi * cycles_per_sample);
  double before = 0.5 * twice;
  double now = 1.0;
  double sum = taps_[middle_];
  for (std::size_t k = 1; k <= middle_; ++k) {
    const double next = twice * now - before;
    before = now;
    now = next;
    sum += 2.0 * now * taps_[middle_ + k];
  }
  return sum;
}

}  // namespace windwright::signal
