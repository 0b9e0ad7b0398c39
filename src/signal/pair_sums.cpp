// SPDX-License-Identifier: Apache-2.0
#include "signal/pair_sums.h"

#include <algorithm>
#include <array>
#include <cassert>
#include <cmath>
#include <cstddef>
#include <span>

#undef HWY_TARGET_INCLUDE
#define HWY_TARGET_INCLUDE "signal/pair_sums.cpp"
#include <hwy/base.h>
#include <hwy/foreach_target.h>  // IWYU pragma: keep
#include <hwy/highway.h>

HWY_BEFORE_NAMESPACE();
namespace windwright::signal::HWY_NAMESPACE {

namespace hn = hwy::HWY_NAMESPACE;

// Eight partial sums in as many vectors as the machine needs for them.
constexpr std::size_t partial = 8;
using Lanes = hn::CappedTag<double, partial>;
constexpr std::size_t width = hn::MaxLanes(Lanes());
constexpr std::size_t vectors = partial / width;
using V = hn::Vec<Lanes>;

HWY_INLINE double total(const std::array<double, partial>& s) {
  return ((s[0] + s[1]) + (s[2] + s[3])) + ((s[4] + s[5]) + (s[6] + s[7]));
}

HWY_INLINE double total(const V* sums) {
  std::array<double, partial> all;
  for (std::size_t k = 0; k < vectors; ++k)
    hn::StoreU(sums[k], Lanes(), all.data() + k * width);
  return total(all);
}

// A stretch of whole blocks of eight.
HWY_NOINLINE void add_blocks(const double* v, const double* i, std::size_t count, PairSums& sums) {
  const Lanes d;
  V of_v[vectors], of_i[vectors], vv[vectors], ii[vectors], vi[vectors], av[vectors], ai[vectors];
  for (std::size_t k = 0; k < vectors; ++k)
    of_v[k] = of_i[k] = vv[k] = ii[k] = vi[k] = av[k] = ai[k] = hn::Zero(d);
  for (std::size_t n = 0; n < count; n += partial) {
    for (std::size_t k = 0; k < vectors; ++k) {
      const V x = hn::LoadU(d, v + n + k * width);
      const V y = hn::LoadU(d, i + n + k * width);
      of_v[k] = hn::Add(of_v[k], x);
      of_i[k] = hn::Add(of_i[k], y);
      vv[k] = hn::Add(vv[k], hn::Mul(x, x));
      ii[k] = hn::Add(ii[k], hn::Mul(y, y));
      vi[k] = hn::Add(vi[k], hn::Mul(x, y));
      av[k] = hn::Add(av[k], hn::Abs(x));
      ai[k] = hn::Add(ai[k], hn::Abs(y));
    }
  }
  sums.weight += static_cast<double>(count);
  sums.v += total(of_v);
  sums.i += total(of_i);
  sums.v_squared += total(vv);
  sums.i_squared += total(ii);
  sums.v_i += total(vi);
  sums.v_size += total(av);
  sums.i_size += total(ai);
}

HWY_NOINLINE Extremes extremes_of_blocks(const double* x, std::size_t count) {
  const Lanes d;
  V least = hn::Set(d, x[0]);
  V largest = least;
  for (std::size_t n = 0; n < count; n += width) {
    const V value = hn::LoadU(d, x + n);
    least = hn::Min(least, value);
    largest = hn::Max(largest, value);
  }
  return {.least = hn::GetLane(hn::MinOfLanes(d, least)),
          .largest = hn::GetLane(hn::MaxOfLanes(d, largest))};
}

struct PairProduct {
  double v;
  double i;
};
HWY_INLINE PairProduct product(const double* taps, std::size_t count, const double* v,
                               const double* i) {
  const Lanes d;
  V of_v[vectors], of_i[vectors];
  for (std::size_t k = 0; k < vectors; ++k)
    of_v[k] = of_i[k] = hn::Zero(d);
  for (std::size_t j = 0; j < count; j += partial) {
    for (std::size_t k = 0; k < vectors; ++k) {
      const V tap = hn::LoadU(d, taps + j + k * width);
      of_v[k] = hn::Add(of_v[k], hn::Mul(tap, hn::LoadU(d, v + j + k * width)));
      of_i[k] = hn::Add(of_i[k], hn::Mul(tap, hn::LoadU(d, i + j + k * width)));
    }
  }
  return {.v = total(of_v), .i = total(of_i)};
}

void filter(std::span<const double> taps, std::size_t step,
            std::span<const std::span<const double>, 2> from,
            std::span<const std::span<double>, 2> to) {
  for (std::size_t k = 0; k < to[0].size(); ++k) {
    const PairProduct sum =
        product(taps.data(), taps.size(), from[0].data() + k * step, from[1].data() + k * step);
    to[0][k] = sum.v;
    to[1][k] = sum.i;
  }
}

}  // namespace windwright::signal::HWY_NAMESPACE
HWY_AFTER_NAMESPACE();

#if HWY_ONCE

namespace windwright::signal {

namespace {

HWY_EXPORT(add_blocks);
HWY_EXPORT(extremes_of_blocks);
HWY_EXPORT(filter);

}  // namespace

void add(std::span<const double> v, std::span<const double> i, PairSums& sums) {
  assert(v.size() == i.size());
  const std::size_t whole = v.size() - v.size() % 8;
  HWY_DYNAMIC_DISPATCH(add_blocks)(v.data(), i.data(), whole, sums);
  const std::array<double, 8> ones{1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0};
  add(v.subspan(whole), i.subspan(whole), std::span(ones).first(v.size() - whole), sums);
}

void add(std::span<const double> v, std::span<const double> i, std::span<const double> weights,
         PairSums& sums) {
  for (std::size_t n = 0; n < weights.size(); ++n) {
    const double w = weights[n];
    sums.weight += w;
    sums.v += w * v[n];
    sums.i += w * i[n];
    sums.v_squared += w * v[n] * v[n];
    sums.i_squared += w * i[n] * i[n];
    sums.v_i += w * v[n] * i[n];
    sums.v_size += w * std::abs(v[n]);
    sums.i_size += w * std::abs(i[n]);
  }
}

Extremes extremes_of(std::span<const double> samples) {
  const std::size_t whole = samples.size() - samples.size() % 8;
  Extremes result{.least = samples.front(), .largest = samples.front()};
  if (whole > 0) result = HWY_DYNAMIC_DISPATCH(extremes_of_blocks)(samples.data(), whole);
  for (const double sample : samples.subspan(whole)) {
    result.least = std::min(result.least, sample);
    result.largest = std::max(result.largest, sample);
  }
  return result;
}

void filter_pair(std::span<const double> taps, std::size_t step,
                 std::span<const std::span<const double>, 2> from,
                 std::span<const std::span<double>, 2> to) {
  HWY_DYNAMIC_DISPATCH(filter)(taps, step, from, to);
}

}  // namespace windwright::signal

#endif
