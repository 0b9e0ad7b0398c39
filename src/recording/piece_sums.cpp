// SPDX-License-Identifier: Apache-2.0
#include "recording/piece_sums.h"

#include <algorithm>
#include <cassert>
#include <cstddef>
#include <cstdint>
#include <cstring>
#include <limits>
#include <span>

#undef HWY_TARGET_INCLUDE
#define HWY_TARGET_INCLUDE "recording/piece_sums.cpp"
#include <hwy/base.h>
#include <hwy/foreach_target.h>  // IWYU pragma: keep
#include <hwy/highway.h>

HWY_BEFORE_NAMESPACE();
namespace windwright::recording::HWY_NAMESPACE {

namespace hn = hwy::HWY_NAMESPACE;

constexpr std::uint32_t half = 32768;
constexpr std::uint32_t places = std::uint32_t{piece_samples} * (piece_samples - 1) / 2;

// Sums of counts less 32768: as signed numbers they multiply in pairs.
struct SignedSums {
  std::uint32_t sum;  // modulo 2^32, as is the ramp
  std::uint32_t ramp;
  std::uint64_t squares;
  std::uint16_t lowest;
  std::uint16_t highest;
};

#if HWY_TARGET == HWY_SCALAR

HWY_INLINE SignedSums signed_sums(const std::uint16_t* counts) {
  SignedSums sums{.sum = 0, .ramp = 0, .squares = 0, .lowest = counts[0], .highest = counts[0]};
  for (std::uint32_t i = 0; i < piece_samples; ++i) {
    const std::int32_t x = counts[i] - static_cast<std::int32_t>(half);
    sums.sum += static_cast<std::uint32_t>(x);
    sums.ramp += i * static_cast<std::uint32_t>(x);
    sums.squares += static_cast<std::uint64_t>(std::int64_t{x} * x);
    sums.lowest = std::min(sums.lowest, counts[i]);
    sums.highest = std::max(sums.highest, counts[i]);
  }
  return sums;
}

#else

using Short = hn::ScalableTag<std::int16_t>;
using Wide = hn::RepartitionToWide<Short>;
using Long = hn::RepartitionToWide<hn::RebindToUnsigned<Wide>>;

// A pair of squares may need all 32 bits without a sign.
HWY_INLINE hn::Vec<Long> widened(hn::Vec<Wide> pairs) {
  const Long l;
  const auto both = hn::BitCast(l, pairs);
  return hn::Add(hn::And(both, hn::Set(l, std::numeric_limits<std::uint32_t>::max())),
                 hn::ShiftRight<32>(both));
}

HWY_INLINE SignedSums signed_sums(const std::uint16_t* counts) {
  const Short d;
  const hn::RebindToUnsigned<Short> u;
  const Wide w;
  const Long l;
  const auto ones = hn::Set(d, 1);
  const auto step = hn::Set(d, static_cast<std::int16_t>(hn::Lanes(d)));
  auto place = hn::Iota(d, 0);
  auto lowest = hn::Set(u, std::numeric_limits<std::uint16_t>::max());
  auto highest = hn::Zero(u);
  auto sum = hn::Zero(w), sum_1 = hn::Zero(w);
  auto ramp = hn::Zero(w), ramp_1 = hn::Zero(w);
  auto squares = hn::Zero(l);
  for (std::size_t i = 0; i < piece_samples; i += hn::Lanes(d)) {
    const auto each = hn::LoadU(u, counts + i);
    lowest = hn::Min(lowest, each);
    highest = hn::Max(highest, each);
    const auto x = hn::BitCast(d, hn::Xor(each, hn::Set(u, static_cast<std::uint16_t>(half))));
    sum = hn::ReorderWidenMulAccumulate(w, x, ones, sum, sum_1);
    ramp = hn::ReorderWidenMulAccumulate(w, x, place, ramp, ramp_1);
    auto pairs_1 = hn::Zero(w);
    const auto pairs = hn::ReorderWidenMulAccumulate(w, x, x, hn::Zero(w), pairs_1);
    squares = hn::Add(squares, hn::Add(widened(pairs), widened(pairs_1)));
    place = hn::Add(place, step);
  }
  return {.sum = static_cast<std::uint32_t>(hn::GetLane(hn::SumOfLanes(w, hn::Add(sum, sum_1)))),
          .ramp = static_cast<std::uint32_t>(hn::GetLane(hn::SumOfLanes(w, hn::Add(ramp, ramp_1)))),
          .squares = hn::GetLane(hn::SumOfLanes(l, squares)),
          .lowest = hn::GetLane(hn::MinOfLanes(u, lowest)),
          .highest = hn::GetLane(hn::MaxOfLanes(u, highest))};
}

#endif

HWY_INLINE PieceSums sums_of(const std::uint16_t* counts) {
  const SignedSums sums = signed_sums(counts);
  const std::uint32_t sum = sums.sum + piece_samples * half;
  return {.sum = sum,
          .ramp = sums.ramp + half * places,
          .squares = sums.squares + 2 * std::uint64_t{half} * sum -
                     piece_samples * std::uint64_t{half} * half,
          .lowest = sums.lowest,
          .highest = sums.highest};
}

HWY_NOINLINE void sum_all(const std::uint16_t* counts, std::size_t pieces, PieceSums* sums) {
  for (std::size_t k = 0; k < pieces; ++k)
    sums[k] = sums_of(counts + k * piece_samples);
}

HWY_NOINLINE void narrow_all(const std::int32_t* counts, std::size_t count, std::uint16_t* to) {
  const hn::ScalableTag<std::int32_t> d;
  const hn::Rebind<std::uint16_t, hn::ScalableTag<std::int32_t>> u;
  std::size_t i = 0;
  for (; i + hn::Lanes(d) <= count; i += hn::Lanes(d))
    hn::StoreU(hn::DemoteTo(u, hn::LoadU(d, counts + i)), u, to + i);
  for (; i < count; ++i)
    to[i] = static_cast<std::uint16_t>(std::clamp(counts[i], 0, 65535));
}

}  // namespace windwright::recording::HWY_NAMESPACE
HWY_AFTER_NAMESPACE();

#if HWY_ONCE

namespace windwright::recording {
namespace {

HWY_EXPORT(sum_all);
HWY_EXPORT(narrow_all);

// The filter reads words with the high byte first; swapping a word's bytes is multiplying it by 256
// modulo 65535. It never gives 0 but for words that are all 0.
std::uint32_t folded(std::uint64_t of_words) {
  return of_words == 0 ? 0
                       : static_cast<std::uint32_t>((of_words % 65535 * 256 + 65534) % 65535 + 1);
}

std::uint32_t both(std::uint64_t sum, std::uint64_t sum_of_sums) {
  return folded(sum_of_sums) << 16 | folded(sum);
}

}  // namespace

void sum_pieces(std::span<const std::uint16_t> counts, std::span<PieceSums> pieces) {
  assert(counts.size() == pieces.size() * piece_samples);
  HWY_DYNAMIC_DISPATCH(sum_all)(counts.data(), pieces.size(), pieces.data());
}

void narrow(std::span<const std::int32_t> counts, std::uint16_t* to) {
  HWY_DYNAMIC_DISPATCH(narrow_all)(counts.data(), counts.size(), to);
}

std::uint32_t fletcher32(std::span<const PieceSums> pieces) {
  std::uint64_t sum = 0;
  std::uint64_t sum_of_sums = 0;
  std::uint64_t left = pieces.size() * piece_samples;  // words from this piece on
  for (const PieceSums& piece : pieces) {
    sum += piece.sum;
    sum_of_sums += left * piece.sum - piece.ramp;
    left -= piece_samples;
  }
  return both(sum, sum_of_sums);
}

std::uint32_t fletcher32(std::span<const std::byte> bytes) {
  std::uint64_t sum = 0;
  std::uint64_t sum_of_sums = 0;
  for (std::size_t i = 0; i + 1 < bytes.size(); i += 2) {
    std::uint16_t word = 0;
    std::memcpy(&word, bytes.data() + i, sizeof word);
    sum += word;
    sum_of_sums += sum;
  }
  if (bytes.size() % 2 == 1) {
    sum += static_cast<std::uint8_t>(bytes.back());
    sum_of_sums += sum;
  }
  return both(sum, sum_of_sums);
}

}  // namespace windwright::recording

#endif
