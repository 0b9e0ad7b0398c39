// SPDX-License-Identifier: Apache-2.0
#include "acquisition/value_sums.h"

#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <span>

#undef HWY_TARGET_INCLUDE
#define HWY_TARGET_INCLUDE "acquisition/value_sums.cpp"
#include <hwy/base.h>
#include <hwy/foreach_target.h>  // IWYU pragma: keep
#include <hwy/highway.h>

HWY_BEFORE_NAMESPACE();
namespace windwright::acquisition::HWY_NAMESPACE {

namespace hn = hwy::HWY_NAMESPACE;

using F = hn::ScalableTag<float>;
using I = hn::RebindToSigned<F>;
using V = hn::Vec<F>;

// Sums in single precision over so many samples, in double beyond.
constexpr std::size_t stretch = 256;

// Makes vectors of values, one after the other, and sums what they were made of.
template <typename Make>
HWY_INLINE ValueSums fill(std::size_t count, float* values, float first, const Make& make) {
  const F d;
  ValueSums sums{.origin = static_cast<double>(first),
                 .sum = 0,
                 .squares = 0,
                 .lowest = first,
                 .highest = first};
  const V origin = hn::Set(d, first);
  V lowest = origin;
  V highest = origin;
  std::size_t i = 0;
  const std::size_t whole = count - count % hn::Lanes(d);
  while (i < whole) {
    V sum = hn::Zero(d);
    V squares = hn::Zero(d);
    for (const std::size_t end = std::min(whole, i + stretch); i < end; i += hn::Lanes(d)) {
      const V value = make(i);
      hn::StoreU(value, d, values + i);
      lowest = hn::Min(lowest, value);
      highest = hn::Max(highest, value);
      const V x = hn::Sub(value, origin);
      sum = hn::Add(sum, x);
      squares = hn::Add(squares, hn::Mul(x, x));
    }
    sums.sum += static_cast<double>(hn::GetLane(hn::SumOfLanes(d, sum)));
    sums.squares += static_cast<double>(hn::GetLane(hn::SumOfLanes(d, squares)));
  }
  sums.lowest = hn::GetLane(hn::MinOfLanes(d, lowest));
  sums.highest = hn::GetLane(hn::MaxOfLanes(d, highest));
  return sums;
}

// What fills no vector.
template <typename Make>
HWY_INLINE void finish(std::size_t count, float* values, const Make& make, ValueSums& sums) {
  for (std::size_t i = count - count % hn::Lanes(F()); i < count; ++i) {
    const float value = make(i);
    values[i] = value;
    sums.lowest = std::min(sums.lowest, value);
    sums.highest = std::max(sums.highest, value);
    const double x = static_cast<double>(value) - sums.origin;
    sums.sum += x;
    sums.squares += x * x;
  }
}

template <std::size_t degree>
HWY_INLINE ValueSums powers_of(const std::int32_t* counts, std::size_t count, const Powers& law,
                               float* values) {
  const F d;
  const I n;
  const V scale = hn::Set(d, law.scale);
  const V shift = hn::Set(d, law.shift);
  const V low = hn::Set(d, -1.0F);
  const V high = hn::Set(d, 1.0F);
  const V slope_below = hn::Set(d, law.slope_below);
  const V slope_above = hn::Set(d, law.slope_above);
  const auto one = [&](std::size_t i) {
    const float t = law.scale * static_cast<float>(counts[i]) + law.shift;
    const float inside = degree > 1 ? std::clamp(t, -1.0F, 1.0F) : t;
    float value = law.factors[degree];
    for (std::size_t k = degree; k-- > 0;)
      value = value * inside + law.factors[k];
    return value + (t < inside ? law.slope_below : law.slope_above) * (t - inside);
  };
  ValueSums sums = fill(count, values, one(0), [&](std::size_t i) {
    const V t = hn::MulAdd(scale, hn::ConvertTo(d, hn::LoadU(n, counts + i)), shift);
    const V inside = degree > 1 ? hn::Min(hn::Max(t, low), high) : t;
    V value = hn::Set(d, law.factors[degree]);
    for (std::size_t k = degree; k-- > 0;)
      value = hn::MulAdd(value, inside, hn::Set(d, law.factors[k]));
    if (degree == 1) return value;
    const V beyond = hn::Sub(t, inside);
    value = hn::MulAdd(hn::Min(beyond, hn::Zero(d)), slope_below, value);
    return hn::MulAdd(hn::Max(beyond, hn::Zero(d)), slope_above, value);
  });
  finish(count, values, one, sums);
  return sums;
}

HWY_NOINLINE ValueSums of_powers(const std::int32_t* counts, std::size_t count, const Powers& law,
                                 float* values) {
  if (law.degree == 1) return powers_of<1>(counts, count, law, values);
  if (law.degree <= 3) return powers_of<3>(counts, count, law, values);
  return powers_of<7>(counts, count, law, values);
}

HWY_NOINLINE ValueSums looked_up(const std::int32_t* counts, std::size_t count, const float* table,
                                 std::int32_t last, float* values) {
  const F d;
  const I n;
  const auto lowest = hn::Zero(n);
  const auto highest = hn::Set(n, last);
  const auto one = [&](std::size_t i) { return table[std::clamp(counts[i], 0, last)]; };
  ValueSums sums = fill(count, values, one(0), [&](std::size_t i) {
    const auto index = hn::Min(hn::Max(hn::LoadU(n, counts + i), lowest), highest);
    return hn::GatherIndex(d, table, index);
  });
  finish(count, values, one, sums);
  return sums;
}

HWY_NOINLINE ValueSums multiplied(const float* a, const float* b, std::size_t count,
                                  float* values) {
  const F d;
  const auto one = [&](std::size_t i) { return a[i] * b[i]; };
  ValueSums sums = fill(count, values, one(0), [&](std::size_t i) {
    return hn::Mul(hn::LoadU(d, a + i), hn::LoadU(d, b + i));
  });
  finish(count, values, one, sums);
  return sums;
}

}  // namespace windwright::acquisition::HWY_NAMESPACE
HWY_AFTER_NAMESPACE();

#if HWY_ONCE

namespace windwright::acquisition {
namespace {

HWY_EXPORT(of_powers);
HWY_EXPORT(looked_up);
HWY_EXPORT(multiplied);

}  // namespace

ValueSums values_of_powers(std::span<const std::int32_t> counts, const Powers& law, float* values) {
  return HWY_DYNAMIC_DISPATCH(of_powers)(counts.data(), counts.size(), law, values);
}

ValueSums looked_up_values(std::span<const std::int32_t> counts, std::span<const float> table,
                           float* values) {
  return HWY_DYNAMIC_DISPATCH(looked_up)(counts.data(), counts.size(), table.data(),
                                         static_cast<std::int32_t>(table.size()) - 1, values);
}

ValueSums products(std::span<const float> a, std::span<const float> b, float* values) {
  return HWY_DYNAMIC_DISPATCH(multiplied)(a.data(), b.data(), a.size(), values);
}

}  // namespace windwright::acquisition

#endif
