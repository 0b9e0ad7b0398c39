// SPDX-License-Identifier: Apache-2.0
// Elementary functions of vector lanes. Products and sums stay apart (no fused multiply-add), so
// that every vector width gives the same bits. Included once per instruction set.
#if defined(WINDWRIGHT_PHYSICS_LANE_MATH_H) == defined(HWY_TARGET_TOGGLE)
#ifdef WINDWRIGHT_PHYSICS_LANE_MATH_H
#undef WINDWRIGHT_PHYSICS_LANE_MATH_H
#else
#define WINDWRIGHT_PHYSICS_LANE_MATH_H
#endif

#include <hwy/highway.h>

#include <array>
#include <cstddef>
#include <numbers>
#include <utility>

HWY_BEFORE_NAMESPACE();
namespace windwright::physics::HWY_NAMESPACE {

namespace hn = hwy::HWY_NAMESPACE;

inline constexpr std::array<double, 14> exp_of_minus_series{1.0,
                                                            -1.0,
                                                            1.0 / 2,
                                                            -1.0 / 6,
                                                            1.0 / 24,
                                                            -1.0 / 120,
                                                            1.0 / 720,
                                                            -1.0 / 5040,
                                                            1.0 / 40320,
                                                            -1.0 / 362880,
                                                            1.0 / 3628800,
                                                            -1.0 / 39916800,
                                                            1.0 / 479001600,
                                                            -1.0 / 6227020800};
inline constexpr std::array<double, 17> acos_factor{
    9.42809041582063356e-01,  -4.83933466980763713e-02, 7.02147893385920725e-03,
    -1.36818238180050366e-03, 3.06885171922180119e-04,  -7.47471154300493159e-05,
    1.92177492690867744e-05,  -5.13344761731647278e-06, 1.41077469790743139e-06,
    -3.96188754486443857e-07, 1.13258982836108323e-07,  -3.30911660524216134e-08,
    9.71345309414986391e-09,  -2.61146534462434763e-09, 7.78425585428308070e-10,
    -3.87136231568895142e-10, 1.17879588443389261e-10};
inline constexpr std::array<double, 4> arc_sine_series{
    std::numbers::inv_pi * 2.0, std::numbers::inv_pi / 3.0, std::numbers::inv_pi * 3.0 / 20.0,
    std::numbers::inv_pi * 5.0 / 56.0};
inline constexpr std::array<double, 11> log_series{1.0,      1.0 / 3,  1.0 / 5,  1.0 / 7,
                                                   1.0 / 9,  1.0 / 11, 1.0 / 13, 1.0 / 15,
                                                   1.0 / 17, 1.0 / 19, 1.0 / 21};
inline constexpr std::array<double, 6> sine_series{1.0,         -1.0 / 6,     1.0 / 120,
                                                   -1.0 / 5040, 1.0 / 362880, -1.0 / 39916800};
inline constexpr std::array<double, 6> cosine_series{1.0,        -1.0 / 2,    1.0 / 24,
                                                     -1.0 / 720, 1.0 / 40320, -1.0 / 3628800};

// Of the powers first, first + 2, ... of x, whose square is given.
template <const auto& rising, std::size_t first, class D, std::size_t... i>
HWY_INLINE hn::Vec<D> every_other(D d, hn::Vec<D> square, std::index_sequence<i...>) {
  constexpr std::size_t last = first + 2 * sizeof...(i);
  auto sum = hn::Set(d, rising[last]);
  ((sum = hn::Add(hn::Mul(sum, square), hn::Set(d, rising[last - 2 - 2 * i]))), ...);
  return sum;
}

/// Sum of rising[k] x^k. Even and odd powers apart: half as many steps wait for each other.
template <const auto& rising, class D>
HWY_INLINE hn::Vec<D> polynomial(D d, hn::Vec<D> x) {
  constexpr std::size_t odd = rising.size() / 2;
  constexpr std::size_t even = rising.size() - odd;
  const auto square = hn::Mul(x, x);
  const auto low = every_other<rising, 0>(d, square, std::make_index_sequence<even - 1>());
  const auto high = every_other<rising, 1>(d, square, std::make_index_sequence<odd - 1>());
  return hn::Add(low, hn::Mul(x, high));
}

/// exp(-x) for x from 0 to 700. Relative error below 1e-15.
template <class D>
HWY_INLINE hn::Vec<D> exp_of_minus(D d, hn::Vec<D> x) {
  const hn::RebindToSigned<D> di;
  const auto halvings = hn::Round(hn::Mul(x, hn::Set(d, 1.4426950408889634)));
  // ln 2 in two parts, the first with trailing zeros.
  auto rest = hn::Sub(x, hn::Mul(halvings, hn::Set(d, 6.93147180369123816490e-01)));
  rest = hn::Sub(rest, hn::Mul(halvings, hn::Set(d, 1.90821492927058770002e-10)));
  const auto exponent = hn::ShiftLeft<52>(hn::Sub(hn::Set(di, 1023), hn::ConvertTo(di, halvings)));
  return hn::Mul(polynomial<exp_of_minus_series>(d, rest), hn::BitCast(d, exponent));
}

/// (2/pi) acos(e) for e from 0 to 1: sqrt(1 - e) times a polynomial in 2 e - 1, which interpolates
/// at the Chebyshev points. Relative error below 2e-15.
template <class D>
HWY_INLINE hn::Vec<D> acos_over_right_angle(D d, hn::Vec<D> e) {
  const auto one = hn::Set(d, 1.0);
  const auto t = hn::Sub(hn::Add(e, e), one);
  return hn::Mul(hn::Sqrt(hn::Max(hn::Sub(one, e), hn::Zero(d))), polynomial<acos_factor>(d, t));
}

/// (2/pi) asin(e) for e from 0 to exp(-4): its series. Error below 1e-17.
template <class D>
HWY_INLINE hn::Vec<D> arc_sine_over_right_angle(D d, hn::Vec<D> e) {
  const auto square = hn::Mul(e, e);
  return hn::Mul(e, polynomial<arc_sine_series>(d, square));
}

/// ln(x) for normal x above 0. Relative error below 1e-15 away from 1, absolute 1e-15 near it.
template <class D>
HWY_INLINE hn::Vec<D> log_of(D d, hn::Vec<D> x) {
  const hn::RebindToSigned<D> di;
  // Mantissa from sqrt(1/2) to sqrt(2).
  const auto bits = hn::BitCast(di, x);
  const auto shifted = hn::Sub(bits, hn::Set(di, 0x3fe6a09e667f3bcdLL));
  const auto exponent = hn::ShiftRight<52>(shifted);
  const auto mantissa = hn::BitCast(d, hn::Sub(bits, hn::ShiftLeft<52>(exponent)));
  const auto one = hn::Set(d, 1.0);
  const auto f = hn::Div(hn::Sub(mantissa, one), hn::Add(mantissa, one));
  const auto tail = hn::Mul(hn::Add(f, f), polynomial<log_series>(d, hn::Mul(f, f)));
  return hn::Add(hn::Mul(hn::ConvertTo(d, exponent), hn::Set(d, 0.6931471805599453)), tail);
}

template <class D>
struct SineCosine {
  hn::Vec<D> sine;
  hn::Vec<D> cosine;
};

/// Of a known angle's sine and cosine and a turn of at most 0.1 beyond it. Error below 1e-16.
template <class D>
HWY_INLINE SineCosine<D> turned(D d, hn::Vec<D> sine, hn::Vec<D> cosine, hn::Vec<D> turn) {
  const auto square = hn::Mul(turn, turn);
  const auto s = hn::Mul(turn, polynomial<sine_series>(d, square));
  const auto c = polynomial<cosine_series>(d, square);
  return {hn::Add(hn::Mul(sine, c), hn::Mul(cosine, s)),
          hn::Sub(hn::Mul(cosine, c), hn::Mul(sine, s))};
}

}  // namespace windwright::physics::HWY_NAMESPACE
HWY_AFTER_NAMESPACE();

#endif
