// SPDX-License-Identifier: Apache-2.0
// Inside the guard module.
#pragma once

#include <array>
#include <atomic>
#include <cstddef>
#include <cstdint>
#include <cstring>
#include <optional>
#include <type_traits>

namespace windwright::guard {

/// A value in shared memory that one process writes and others read, whole or not at all: a
/// sequence lock. All zeroes is a valid state and holds nothing. The loads and stores of the words
/// are acquire and release, so that none moves out from between those of the turn (Boehm, Can
/// seqlocks get along with programming language memory models?, MSPC 2012).
template <typename Value>
class Whole {
  static_assert(std::is_trivially_copyable_v<Value> && sizeof(Value) % sizeof(std::uint64_t) == 0);
  static_assert(std::atomic<std::uint64_t>::is_always_lock_free);
  static constexpr std::size_t words = sizeof(Value) / sizeof(std::uint64_t);
  using Words = std::array<std::uint64_t, words>;

 public:
  void store(const Value& value) {
    Words plain;
    std::memcpy(plain.data(), &value, sizeof value);
    // Odd already where a writer died within.
    const std::uint64_t turn = turn_.load(std::memory_order_relaxed) | 1U;
    turn_.store(turn, std::memory_order_relaxed);
    for (std::size_t i = 0; i < words; ++i)
      words_[i].store(plain[i], std::memory_order_release);
    turn_.store(turn + 1, std::memory_order_release);
  }

  /// Nothing where nothing was ever stored, or a writer is at it and does not come to an end.
  std::optional<Value> load() const {
    constexpr int tries = 1000;
    for (int i = 0; i < tries; ++i) {
      const std::uint64_t turn = turn_.load(std::memory_order_acquire);
      if (turn == 0) return std::nullopt;
      Words plain;
      for (std::size_t k = 0; k < words; ++k)
        plain[k] = words_[k].load(std::memory_order_acquire);
      if (turn % 2 != 0 || turn_.load(std::memory_order_relaxed) != turn) continue;
      Value value;
      std::memcpy(static_cast<void*>(&value), plain.data(), sizeof value);
      return value;
    }
    return std::nullopt;
  }

 private:
  std::atomic<std::uint64_t> turn_;
  std::array<std::atomic<std::uint64_t>, words> words_;
};

}  // namespace windwright::guard
