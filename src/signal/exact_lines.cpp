// SPDX-License-Identifier: Apache-2.0
#include "signal/exact_lines.h"

#include "signal/exact_window.h"
#include "signal/fft.h"

#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <numbers>
#include <span>
#include <vector>

namespace windwright::signal {

namespace {

using Complex = std::complex<double>;

// Both factors are finite: the plain formula, without the library's care for infinities.
Complex product(Complex a, Complex b) {
  return {a.real() * b.real() - a.imag() * b.imag(), a.real() * b.imag() + a.imag() * b.real()};
}

// exp(j pi spacing m^2) for m = 0 .. count - 1: each from the one before, afresh every 32.
std::vector<Complex> chirp(double spacing, std::size_t count) {
  constexpr std::size_t afresh = 32;
  const double pi = std::numbers::pi;
  const Complex twice = std::polar(1.0, 2.0 * pi * spacing);
  std::vector<Complex> result(count);
  Complex now;
  Complex step;
  for (std::size_t m = 0; m < count; ++m) {
    if (m % afresh == 0) {
      const auto at = static_cast<double>(m);
      now = std::polar(1.0, pi * spacing * at * at);
      step = std::polar(1.0, pi * spacing * (2.0 * at + 1.0));
    }
    result[m] = now;
    now = product(now, step);
    step = product(step, twice);
  }
  return result;
}

// Voltage as real part and current as imaginary part, weighted.
std::vector<Complex> packed(std::span<const double> v, std::span<const double> i,
                            const ExactWindow& window, std::size_t size) {
  std::vector<Complex> z(size);
  const std::size_t count = window.size();
  for (std::size_t n = 0; n < count; ++n)
    z[n] = {v[n], i[n]};
  for (std::size_t n = 0; n < window.lead().size(); ++n)
    z[n] *= window.lead()[n];
  const std::size_t tail = count - window.tail().size();
  for (std::size_t n = tail; n < count; ++n)
    z[n] *= window.tail()[n - tail];
  return z;
}

}  // namespace

PairLines ExactLines::of(std::span<const double> v, std::span<const double> i,
                         const ExactWindow& window, double spacing, std::size_t lines) {
  // k n = (k^2 + n^2 - (k - n)^2) / 2 makes the sum over n a convolution with a chirp. Lines below
  // zero part the two channels.
  const std::size_t count = window.size();
  const std::size_t below = lines - 1;
  const std::size_t size = quick_fft_size(count + 2 * below);
  const std::vector<Complex> q = chirp(spacing, count + below);
  std::vector<Complex> z = packed(v, i, window, size);
  for (std::size_t n = 0; n < count; ++n)
    z[n] = product(z[n], std::conj(q[n]));
  std::vector<Complex> kernel(
      size);  // at k - n, from -(count - 1 + below) to below, around the end
  for (std::size_t m = 0; m <= below; ++m)
    kernel[m] = q[m];
  for (std::size_t m = 1; m < count + below; ++m)
    kernel[size - m] = q[m];
  if (fft_.size() != size) fft_ = Fft(size);
  std::vector<Complex> z_lines(size);
  std::vector<Complex> kernel_lines(size);
  fft_.transform(z, z_lines);
  fft_.transform(kernel, kernel_lines);
  // Conjugated before and after, the forward transform is the inverse one.
  for (std::size_t k = 0; k < size; ++k)
    z[k] = std::conj(product(z_lines[k], kernel_lines[k]));
  fft_.transform(z, z_lines);
  const auto line = [&](std::size_t place, std::size_t k) {
    return product(std::conj(z_lines[place]), std::conj(q[k]));
  };
  PairLines result{.v = std::vector<Complex>(lines), .i = std::vector<Complex>(lines)};
  const double mean = 1.0 / (static_cast<double>(size) * window.sum());
  for (std::size_t k = 0; k < lines; ++k) {
    const Complex above = line(k, k);
    const Complex beneath = std::conj(k == 0 ? above : line(size - k, k));
    const double scale = (k == 0 ? 0.5 : std::numbers::sqrt2 / 2.0) * mean;
    result.v[k] = scale * (above + beneath);
    result.i[k] = scale * product(above - beneath, {0.0, -1.0});
  }
  // A silent channel has no lines, not even the other's rounding.
  const auto silent = [](double sample) { return sample == 0.0; };
  if (std::all_of(v.begin(), v.end(), silent)) result.v.assign(lines, 0.0);
  if (std::all_of(i.begin(), i.end(), silent)) result.i.assign(lines, 0.0);
  return result;
}

}  // namespace windwright::signal
