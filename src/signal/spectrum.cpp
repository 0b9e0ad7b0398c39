// SPDX-License-Identifier: Apache-2.0
#include "signal/spectrum.h"

#include "base/errors.h"
#include "signal/statistics.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cassert>
#include <cmath>
#include <complex>
#include <cstddef>
#include <cstdint>
#include <numbers>
#include <numeric>
#include <span>
#include <string_view>
#include <vector>

namespace windwright::signal {
namespace {

std::size_t at_least_two(std::size_t segment) {
  if (segment >= 2) return segment;
  throw base::BadInput("segment", fmt::format("has {} samples", segment), "two or more");
}

double square_sum(std::span<const double> weights) {
  return std::inner_product(weights.begin(), weights.end(), weights.begin(), 0.0);
}

// Into the real or the imaginary part of the pair.
double& part_of(std::complex<double>& value, bool imaginary) {
  return reinterpret_cast<double(&)[2]>(value)[imaginary ? 1 : 0];
}

}  // namespace

std::string_view name_of(Taper taper) {
  switch (taper) {
    case Taper::hann:
      return "hann";
    case Taper::flat_top:
      return "flat-top";
    case Taper::none:
      break;
  }
  return "none";
}

std::vector<double> taper_weights(Taper taper, std::size_t size) {
  constexpr std::array<double, 5> hann = {0.5, -0.5, 0.0, 0.0, 0.0};
  constexpr std::array<double, 5> flat_top = {0.21557895, -0.41663158, 0.277263158, -0.083578947,
                                              0.006947368};
  std::vector<double> weights(size, 1.0);
  if (taper == Taper::none) return weights;
  const auto& terms = taper == Taper::hann ? hann : flat_top;
  for (std::size_t n = 0; n < size; ++n) {
    const double angle =
        2.0 * std::numbers::pi * static_cast<double>(n) / static_cast<double>(size);
    weights[n] = 0.0;
    for (std::size_t term = 0; term < terms.size(); ++term)
      weights[n] += terms[term] * std::cos(static_cast<double>(term) * angle);
  }
  return weights;
}

Welch::Welch(Taper taper, std::size_t segment)
    : taper_(taper),
      weights_(taper_weights(taper, at_least_two(segment))),
      fft_(segment),
      pair_(segment),
      transformed_(segment),
      squares_(segment / 2 + 1, 0.0) {}

std::size_t Welch::step() const {
  switch (taper_) {
    case Taper::hann:
      return (segment() + 1) / 2;
    case Taper::flat_top:
      return (segment() + 3) / 4;
    case Taper::none:
      break;
  }
  return segment();
}

void Welch::add(std::span<const double> samples, std::int64_t place) {
  assert(samples.size() == segment() && (places_.empty() || place > places_.back()));
  const double level = mean(samples);
  for (std::size_t n = 0; n < samples.size(); ++n)
    part_of(pair_[n], half_) = weights_[n] * (samples[n] - level);
  places_.push_back(place);
  half_ = !half_;
  if (!half_) transform();
}

// Of two real segments a and b in one transform Z of a + jb, |A[k]|^2 + |B[k]|^2 is half of
// |Z[k]|^2 + |Z[-k]|^2.
void Welch::transform() {
  fft_.transform(pair_, transformed_);
  const std::size_t size = segment();
  for (std::size_t k = 0; k < squares_.size(); ++k)
    squares_[k] += 0.5 * (std::norm(transformed_[k]) + std::norm(transformed_[(size - k) % size]));
}

// Sum over pairs of segments of the squared correlation of their tapers, a pair each way, over the
// number of segments (Welch, section on the variance): 0 where none overlap.
double Welch::mean_correlation() const {
  const double whole = square_sum(weights_);
  std::vector<double> squared{1.0};  // by the distance in steps
  for (std::size_t lag = step(); lag < segment(); lag += step()) {
    const double shared = std::inner_product(weights_.begin() + static_cast<std::ptrdiff_t>(lag),
                                             weights_.end(), weights_.begin(), 0.0);
    squared.push_back(shared * shared / (whole * whole));
  }
  double sum = 0.0;
  for (std::size_t later = 1; later < places_.size(); ++later) {
    for (std::size_t earlier = later; earlier-- > 0;) {
      const auto steps = static_cast<std::size_t>(places_[later] - places_[earlier]) / step();
      if (steps >= squared.size()) break;
      sum += 2.0 * squared[steps];
    }
  }
  return sum / static_cast<double>(places_.size());
}

Spectrum Welch::spectrum(double sample_rate_Hz) {
  if (places_.empty()) throw base::BadInput("spectrum", "has no segment", "one or more");
  if (half_) {
    for (std::complex<double>& each : pair_)
      each = each.real();
    transform();
    half_ = false;
  }
  const auto size = static_cast<double>(segment());
  const auto segments = static_cast<double>(places_.size());
  const double sum = std::accumulate(weights_.begin(), weights_.end(), 0.0);
  const double square = square_sum(weights_);
  const double relative_u = std::sqrt((1.0 + mean_correlation()) / segments);
  Spectrum spectrum{.line_spacing_Hz = sample_rate_Hz / size,
                    .noise_bandwidth_Hz = sample_rate_Hz * square / (sum * sum),
                    .density = {},
                    .amplitude = {},
                    .segment = segment(),
                    .segments = places_.size(),
                    .relative_u = relative_u,
                    .dof = 2.0 / (relative_u * relative_u)};
  for (std::size_t k = 0; k < squares_.size(); ++k) {
    const bool both_sides = k != 0 && 2 * k != segment();
    const double mean_square = squares_[k] / segments;
    spectrum.density.push_back((both_sides ? 2.0 : 1.0) * mean_square / (sample_rate_Hz * square));
    spectrum.amplitude.push_back((both_sides ? 2.0 : 1.0) * std::sqrt(mean_square) / sum);
  }
  return spectrum;
}

}  // namespace windwright::signal
