// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstdint>
#include <span>
#include <string_view>

namespace windwright::base {

/// Random numbers by counter: the n-th number of a stream depends on seed, stream name and n alone,
/// so a simulation can be taken up again anywhere. splitmix64 finaliser (Steele, Lea, Flood, Fast
/// splittable pseudorandom number generators, OOPSLA 2014) over the counter.
class RandomStream {
 public:
  RandomStream(std::uint64_t seed, std::string_view name);
  /// In (0, 1).
  double uniform(std::uint64_t n) const;
  /// Standard normal.
  double normal(std::uint64_t n) const;
  /// normal(first), normal(first + 1) and so on, to the bit, in half the time.
  void normals(std::uint64_t first, std::span<double> numbers) const;
  /// What makes this stream differ from others: vector lanes that compute the same numbers many at
  /// a time start from it.
  std::uint64_t key() const { return key_; }

 private:
  std::uint64_t bits(std::uint64_t n) const;
  std::uint64_t key_;
};

}  // namespace windwright::base
