// SPDX-License-Identifier: Apache-2.0
#include "signal/fft.h"

#include <kissfft/kissfft.hh>

#include <cassert>
#include <complex>
#include <cstddef>
#include <memory>
#include <span>

namespace windwright::signal {

struct Fft::Plan {
  explicit Plan(std::size_t length) : size(length), transform(length, false) {}
  std::size_t size;
  kissfft<double> transform;
};

Fft::Fft(std::size_t size) : plan_(std::make_unique<Plan>(size)) {}
Fft::Fft(Fft&& other) noexcept = default;
Fft& Fft::operator=(Fft&& other) noexcept = default;
Fft::~Fft() = default;

std::size_t Fft::size() const {
  return plan_->size;
}

void Fft::transform(std::span<const std::complex<double>> from,
                    std::span<std::complex<double>> to) const {
  assert(from.size() == plan_->size && to.size() == plan_->size && from.data() != to.data());
  plan_->transform.transform(from.data(), to.data());
}

std::size_t quick_fft_size(std::size_t size) {
  for (;; ++size) {
    std::size_t rest = size;
    for (const std::size_t factor : {2U, 3U, 5U}) {
      while (rest > 1 && rest % factor == 0)
        rest /= factor;
    }
    if (rest <= 1) return size;
  }
}

}  // namespace windwright::signal
