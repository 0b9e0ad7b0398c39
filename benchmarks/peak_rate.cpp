// SPDX-License-Identifier: Apache-2.0
#include "peak_rate.h"

#include <algorithm>
#include <cstddef>
#include <ctime>

// This file compiles itself once per instruction set; what follows is read each time, in this
// order.
// clang-format off
#undef HWY_TARGET_INCLUDE
#define HWY_TARGET_INCLUDE "peak_rate.cpp"
#include <hwy/foreach_target.h>  // IWYU pragma: keep
#include <hwy/highway.h>
// clang-format on

HWY_BEFORE_NAMESPACE();
namespace windwright::HWY_NAMESPACE {

namespace hn = hwy::HWY_NAMESPACE;

// @return  sums and products done
double work(double* out) {
  constexpr std::size_t rounds = 100000;
  const hn::ScalableTag<double> d;
  const auto x = hn::Set(d, 1.0 - 1e-9);
  // All different, so that the compiler cannot do several at once.
  const auto start = [&](double k) HWY_ATTR { return hn::Set(d, 1.0 + 1e-3 * k); };
  auto a0 = start(0), a1 = start(1), a2 = start(2), a3 = start(3);
  auto a4 = start(4), a5 = start(5), a6 = start(6), a7 = start(7);
  auto b0 = start(8), b1 = start(9), b2 = start(10), b3 = start(11);
  auto b4 = start(12), b5 = start(13), b6 = start(14), b7 = start(15);
  for (std::size_t i = 0; i < rounds; ++i) {
    a0 = hn::Mul(a0, x), b0 = hn::Add(b0, x), a1 = hn::Mul(a1, x), b1 = hn::Add(b1, x);
    a2 = hn::Mul(a2, x), b2 = hn::Add(b2, x), a3 = hn::Mul(a3, x), b3 = hn::Add(b3, x);
    a4 = hn::Mul(a4, x), b4 = hn::Add(b4, x), a5 = hn::Mul(a5, x), b5 = hn::Add(b5, x);
    a6 = hn::Mul(a6, x), b6 = hn::Add(b6, x), a7 = hn::Mul(a7, x), b7 = hn::Add(b7, x);
  }
  auto sum = hn::Zero(d);
  for (const auto& part : {a0, a1, a2, a3, a4, a5, a6, a7, b0, b1, b2, b3, b4, b5, b6, b7})
    sum = hn::Add(sum, part);
  *out = hn::GetLane(sum);
  return static_cast<double>(16 * rounds * hn::Lanes(d));
}

}  // namespace windwright::HWY_NAMESPACE
HWY_AFTER_NAMESPACE();

#if HWY_ONCE
namespace windwright {

HWY_EXPORT(work);

double peak_rate_per_s() {
  double best = 0.0;
  for (int i = 0; i < 20; ++i) {
    volatile double sink = 0.0;
    double out = 0.0;
    const auto start = std::clock();
    const double done = HWY_DYNAMIC_DISPATCH(work)(&out);
    const auto ticks = std::max<std::clock_t>(1, std::clock() - start);
    sink = out;
    static_cast<void>(sink);
    best = std::max(best, done * CLOCKS_PER_SEC / static_cast<double>(ticks));
  }
  return best;
}

}  // namespace windwright
#endif
