// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <complex>
#include <cstddef>
#include <memory>
#include <span>

namespace windwright::signal {

/// Complex discrete Fourier transform of one length, X[k] = sum x[n] exp(-2 pi j n k / size).
/// The only place that knows which library does it.
class Fft {
 public:
  /// @param size  1 or more; quick where it has no prime factor above 5
  explicit Fft(std::size_t size);
  Fft(Fft&& other) noexcept;
  Fft& operator=(Fft&& other) noexcept;
  ~Fft();

  std::size_t size() const;
  /// @param from, to  (size) each, not the same memory
  void transform(std::span<const std::complex<double>> from,
                 std::span<std::complex<double>> to) const;

 private:
  struct Plan;
  std::unique_ptr<Plan> plan_;
};

/// The smallest length of at least `size` that has no prime factor above 5.
std::size_t quick_fft_size(std::size_t size);

}  // namespace windwright::signal
