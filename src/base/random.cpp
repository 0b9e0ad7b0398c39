// SPDX-License-Identifier: Apache-2.0
#include "base/random.h"

#include <cmath>
#include <cstddef>
#include <cstdint>
#include <numbers>
#include <span>
#include <string_view>

namespace windwright::base {

namespace {

std::uint64_t mixed(std::uint64_t z) {
  z = (z ^ (z >> 30U)) * 0xbf58476d1ce4e5b9U;
  z = (z ^ (z >> 27U)) * 0x94d049bb133111ebU;
  return z ^ (z >> 31U);
}

}  // namespace

RandomStream::RandomStream(std::uint64_t seed, std::string_view name) : key_(mixed(seed)) {
  for (const char c : name)
    key_ = mixed(key_ + static_cast<unsigned char>(c) + 1U);
}

std::uint64_t RandomStream::bits(std::uint64_t n) const {
  return mixed(key_ + (n + 1U) * 0x9e3779b97f4a7c15U);
}

double RandomStream::uniform(std::uint64_t n) const {
  return (static_cast<double>(bits(n) >> 11U) + 0.5) * 0x1p-53;
}

double RandomStream::normal(std::uint64_t n) const {
  // Box and Muller: numbers 2k and 2k+1 come from one pair of uniform ones.
  const std::uint64_t pair = n & ~std::uint64_t{1};
  const double radius = std::sqrt(-2.0 * std::log(uniform(pair)));
  const double angle = 2.0 * std::numbers::pi * uniform(pair + 1U);
  return radius * ((n & 1U) != 0U ? std::sin(angle) : std::cos(angle));
}

void RandomStream::normals(std::uint64_t first, std::span<double> numbers) const {
  std::size_t i = 0;
  if ((first & 1U) != 0U && !numbers.empty()) numbers[i++] = normal(first);
  for (; i + 1 < numbers.size(); i += 2) {
    const std::uint64_t pair = first + i;
    const double radius = std::sqrt(-2.0 * std::log(uniform(pair)));
    const double angle = 2.0 * std::numbers::pi * uniform(pair + 1U);
    numbers[i] = radius * std::cos(angle);
    numbers[i + 1] = radius * std::sin(angle);
  }
  if (i < numbers.size()) numbers[i] = normal(first + i);
}

}  // namespace windwright::base
