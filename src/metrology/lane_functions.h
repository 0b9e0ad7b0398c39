// SPDX-License-Identifier: Apache-2.0
// Elementary functions of vector lanes over their whole domains, NaN outside. Products and sums
// stay apart (no fused multiply-add) and no operation is used whose answer to NaN depends on the
// machine, so that every vector width gives the same bits. Relative errors are a few units in the
// last place; of a power, as many as the logarithm of its value. Included once per instruction set.
#if defined(WINDWRIGHT_METROLOGY_LANE_FUNCTIONS_H) == defined(HWY_TARGET_TOGGLE)
#ifdef WINDWRIGHT_METROLOGY_LANE_FUNCTIONS_H
#undef WINDWRIGHT_METROLOGY_LANE_FUNCTIONS_H
#else
#define WINDWRIGHT_METROLOGY_LANE_FUNCTIONS_H
#endif

#include "metrology/lane_series.h"

#include <hwy/highway.h>

#include <array>
#include <cmath>
#include <cstddef>
#include <limits>
#include <utility>

HWY_BEFORE_NAMESPACE();
namespace windwright::metrology::HWY_NAMESPACE {

namespace hn = hwy::HWY_NAMESPACE;

using Lanes = hn::CappedTag<double, 8>;
using V = hn::Vec<Lanes>;
using Mask = hn::Mask<Lanes>;

HWY_INLINE V of(double number) {
  return hn::Set(Lanes(), number);
}

// Of the powers first, first + 2, ... of x, whose square is given.
template <const auto& rising, std::size_t first, std::size_t... i>
HWY_INLINE V every_other(V square, std::index_sequence<i...>) {
  constexpr std::size_t last = first + 2 * sizeof...(i);
  V sum = of(rising[last]);
  ((sum = hn::Add(hn::Mul(sum, square), of(rising[last - 2 - 2 * i]))), ...);
  return sum;
}

/// Sum of rising[k] x^k. Even and odd powers apart: half as many steps wait for each other.
template <const auto& rising>
HWY_INLINE V series(V x) {
  constexpr std::size_t odd = rising.size() / 2;
  constexpr std::size_t even = rising.size() - odd;
  const V square = hn::Mul(x, x);
  const V low = every_other<rising, 0>(square, std::make_index_sequence<even - 1>());
  const V high = every_other<rising, 1>(square, std::make_index_sequence<odd - 1>());
  return hn::Add(low, hn::Mul(x, high));
}

/// 2^n for whole n from -1022 to 1023.
HWY_INLINE V two_to(V n) {
  const hn::RebindToSigned<Lanes> di;
  return hn::BitCast(Lanes(), hn::ShiftLeft<52>(hn::Add(hn::ConvertTo(di, n), hn::Set(di, 1023))));
}

struct Halved {
  V halvings;  // n
  V rest;      // x - n ln 2
};
HWY_INLINE Halved halved(V x) {
  const V n = hn::Round(hn::Mul(x, of(1.4426950408889634)));
  // ln 2 in two parts, the first with trailing zeros.
  const V rest = hn::Sub(x, hn::Mul(n, of(6.93147180369123816490e-01)));
  return {n, hn::Sub(rest, hn::Mul(n, of(1.90821492927058770002e-10)))};
}

HWY_INLINE V limited(V x, double low, double high) {
  const V above = hn::IfThenElse(hn::Lt(x, of(low)), of(low), x);
  return hn::IfThenElse(hn::Gt(above, of(high)), of(high), above);
}

HWY_INLINE V or_nan_of(V x, V value) {
  return hn::IfThenElse(hn::IsNaN(x), x, value);
}

HWY_INLINE V exp_of(V x) {
  const Halved h = halved(limited(hn::IfThenElse(hn::IsNaN(x), of(0.0), x), -750.0, 720.0));
  // Twice half the power: 2^n itself may be out of range where the product is not.
  const V half = hn::Floor(hn::Mul(h.halvings, of(0.5)));
  const V power = hn::Mul(series<exp_series>(h.rest), two_to(half));
  return or_nan_of(x, hn::Mul(power, two_to(hn::Sub(h.halvings, half))));
}

/// exp(x) - 1 for x from -40 to 40.
HWY_INLINE V exp_less_one_within_40(V x) {
  const Halved h = halved(x);
  const V power = two_to(h.halvings);
  const V part = hn::Mul(h.rest, series<exp_less_one_series>(h.rest));
  return hn::Add(hn::Mul(power, part), hn::Sub(power, of(1.0)));
}

/// ln(x) for normal x above 0.
HWY_INLINE V log_of_normal(V x) {
  const hn::RebindToSigned<Lanes> di;
  // Mantissa from sqrt(1/2) to sqrt(2).
  const auto bits = hn::BitCast(di, x);
  const auto shifted = hn::Sub(bits, hn::Set(di, 0x3fe6a09e667f3bcdLL));
  const auto exponent = hn::ShiftRight<52>(shifted);
  const V mantissa = hn::BitCast(Lanes(), hn::Sub(bits, hn::ShiftLeft<52>(exponent)));
  const V f = hn::Div(hn::Sub(mantissa, of(1.0)), hn::Add(mantissa, of(1.0)));
  const V tail = hn::Mul(hn::Add(f, f), series<log_series>(hn::Mul(f, f)));
  const V n = hn::ConvertTo(Lanes(), exponent);
  return hn::Add(hn::Mul(n, of(6.93147180369123816490e-01)),
                 hn::Add(hn::Mul(n, of(1.90821492927058770002e-10)), tail));
}

HWY_INLINE V log_of(V x) {
  constexpr double infinity = std::numeric_limits<double>::infinity();
  const Mask tiny = hn::Lt(x, of(std::numeric_limits<double>::min()));
  const V scaled = hn::IfThenElse(tiny, hn::Mul(x, of(0x1p54)), x);
  const Mask usual = hn::And(hn::Gt(x, of(0.0)), hn::Lt(x, of(infinity)));
  const V log = hn::Sub(log_of_normal(hn::IfThenElse(usual, scaled, of(1.0))),
                        hn::IfThenElse(tiny, of(54.0 * 0.6931471805599453), of(0.0)));
  const V zero = hn::IfThenElse(hn::Eq(x, of(0.0)), of(-infinity),
                                of(std::numeric_limits<double>::quiet_NaN()));
  const V unusual = hn::IfThenElse(hn::Eq(x, of(infinity)), x, zero);
  return hn::IfThenElse(usual, log, unusual);
}

struct SineCosine {
  V sine;
  V cosine;
};

/// Of a quarter turns and an angle r within an eighth of a turn.
HWY_INLINE SineCosine turned(V quarters, V r) {
  const hn::RebindToSigned<Lanes> di;
  const V square = hn::Mul(r, r);
  const V s = hn::Mul(r, series<sine_series>(square));
  const V c = series<cosine_series>(square);
  const auto n = hn::ConvertTo(di, quarters);
  const auto one = hn::Set(di, 1);
  const Mask odd =
      hn::MaskFromVec(hn::BitCast(Lanes(), hn::VecFromMask(di, hn::Eq(hn::And(n, one), one))));
  const auto sign_of = [&](auto whole) {  // the sign bit from the second bit
    return hn::BitCast(Lanes(), hn::ShiftLeft<62>(hn::And(whole, hn::Set(di, 2))));
  };
  const V sine = hn::Xor(hn::IfThenElse(odd, c, s), sign_of(n));
  const V cosine = hn::Xor(hn::IfThenElse(odd, s, c), sign_of(hn::Add(n, one)));
  return {sine, cosine};
}

constexpr double farthest_angle = 1e5;

/// Sine and cosine of angles up to farthest_angle: pi/2 in three parts, the first two with
/// trailing zeros.
HWY_INLINE SineCosine sine_cosine(V x) {
  const V n = hn::Round(hn::Mul(x, of(0.6366197723675814)));
  V r = hn::Sub(x, hn::Mul(n, of(1.57079632673412561417e+00)));
  r = hn::Sub(r, hn::Mul(n, of(6.07710050630396597660e-11)));
  r = hn::Sub(r, hn::Mul(n, of(2.02226624879595063154e-21)));
  return turned(n, r);
}

/// atan(t) for t from 0 to 1.
HWY_INLINE V arctangent_to_one(V t) {
  const Mask large = hn::Gt(t, of(0.41421356237309503));
  const V turned_back = hn::Div(hn::Sub(t, of(1.0)), hn::Add(t, of(1.0)));
  const V w = hn::IfThenElse(large, turned_back, t);
  const V angle = hn::Mul(w, series<atan_series>(hn::Mul(w, w)));
  return hn::IfThenElse(large, hn::Add(of(0.7853981633974483), angle), angle);
}

/// The angle of the point (x, y).
HWY_INLINE V arctangent_of(V y, V x) {
  const V a = hn::Abs(y);
  const V b = hn::Abs(x);
  const Mask steep = hn::Gt(a, b);
  const V larger = hn::IfThenElse(steep, a, b);
  const V ratio = hn::Div(hn::IfThenElse(steep, b, a), larger);
  const V first = arctangent_to_one(hn::IfThenElse(hn::Eq(larger, of(0.0)), of(0.0), ratio));
  const V quarter = hn::IfThenElse(steep, hn::Sub(of(1.5707963267948966), first), first);
  const V half =
      hn::IfThenElse(hn::Lt(x, of(0.0)), hn::Sub(of(3.141592653589793), quarter), quarter);
  return or_nan_of(hn::Add(x, y), hn::CopySign(half, y));
}

HWY_INLINE V root_of_rest(V x) {  // sqrt(1 - x^2)
  return hn::Sqrt(hn::Mul(hn::Sub(of(1.0), x), hn::Add(of(1.0), x)));
}

/// exp(x) / 2 up to where that is infinite.
HWY_INLINE V half_exp_of(V x) {
  const V root = exp_of(hn::Mul(x, of(0.5)));
  return hn::Mul(hn::Mul(root, of(0.5)), root);
}

HWY_INLINE V hyperbolic_sine(V x) {
  const V size = hn::Abs(x);
  const V e = exp_less_one_within_40(limited(size, 0.0, 40.0));
  const V near = hn::Mul(of(0.5), hn::Add(e, hn::Div(e, hn::Add(e, of(1.0)))));
  const V far = half_exp_of(size);
  return or_nan_of(x, hn::CopySign(hn::IfThenElse(hn::Gt(size, of(40.0)), far, near), x));
}

HWY_INLINE V hyperbolic_cosine(V x) {
  const V size = hn::Abs(x);
  const V e = exp_of(limited(size, 0.0, 700.0));
  const V near = hn::Mul(of(0.5), hn::Add(e, hn::Div(of(1.0), e)));
  const V far = half_exp_of(size);
  return or_nan_of(x, hn::IfThenElse(hn::Gt(size, of(40.0)), far, near));
}

HWY_INLINE V hyperbolic_tangent(V x) {
  const V e = exp_less_one_within_40(hn::Neg(limited(hn::Add(hn::Abs(x), hn::Abs(x)), 0.0, 40.0)));
  return or_nan_of(x, hn::CopySign(hn::Div(hn::Neg(e), hn::Add(of(2.0), e)), x));
}

/// a^b; of a negative base only with a whole exponent.
HWY_INLINE V power_of(V a, V b) {
  const V size = hn::Abs(a);
  const V power = exp_of(hn::Mul(b, log_of(size)));
  const Mask whole = hn::Eq(hn::Round(b), b);
  const V half = hn::Mul(b, of(0.5));
  const Mask odd = hn::And(whole, hn::Ne(hn::Round(half), half));
  const V negative = hn::IfThenElse(odd, hn::Neg(power), power);
  const V below = hn::IfThenElse(whole, negative, of(std::numeric_limits<double>::quiet_NaN()));
  const V result = hn::IfThenElse(hn::Lt(a, of(0.0)), below, power);
  return hn::IfThenElse(hn::Eq(b, of(0.0)), of(1.0), result);
}

HWY_INLINE V whole_power_of(V a, double exponent) {
  V product = of(1.0);
  V square = a;
  for (auto left = static_cast<int>(std::abs(exponent)); left > 0; left /= 2) {
    if (left % 2 == 1) product = hn::Mul(product, square);
    square = hn::Mul(square, square);
  }
  return exponent < 0.0 ? hn::Div(of(1.0), product) : product;
}

}  // namespace windwright::metrology::HWY_NAMESPACE
HWY_AFTER_NAMESPACE();

#endif
