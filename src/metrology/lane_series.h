// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <array>

namespace windwright::metrology {

// Series of elementary functions with an error below 1e-17 on the stretch that lane_functions.h
// uses. Rising powers. Taylor's, cut there; logarithm, sine and cosine, which every normal number
// needs, economised: Taylor's 16 (14) terms written in Chebyshev polynomials of that stretch, the
// small ones dropped, written back, all in exact fractions (Mason and Handscomb, Chebyshev
// Polynomials (2003), 4.6, from memory), which saves one to three terms.

/// exp(x), |x| up to ln(2)/2.
inline constexpr std::array<double, 14> exp_series{1.0,
                                                   1.0,
                                                   1.0 / 2,
                                                   1.0 / 6,
                                                   1.0 / 24,
                                                   1.0 / 120,
                                                   1.0 / 720,
                                                   1.0 / 5040,
                                                   1.0 / 40320,
                                                   1.0 / 362880,
                                                   1.0 / 3628800,
                                                   1.0 / 39916800,
                                                   1.0 / 479001600,
                                                   1.0 / 6227020800.0};

/// (exp(x) - 1) / x, |x| up to ln(2)/2.
inline constexpr std::array<double, 14> exp_less_one_series{1.0,
                                                            1.0 / 2,
                                                            1.0 / 6,
                                                            1.0 / 24,
                                                            1.0 / 120,
                                                            1.0 / 720,
                                                            1.0 / 5040,
                                                            1.0 / 40320,
                                                            1.0 / 362880,
                                                            1.0 / 3628800,
                                                            1.0 / 39916800,
                                                            1.0 / 479001600,
                                                            1.0 / 6227020800.0,
                                                            1.0 / 87178291200.0};

/// ln((1 + f)/(1 - f)) / (2 f) in powers of f^2, f up to 0.1716.
inline constexpr std::array<double, 8> log_series{1.0,
                                                  0.33333333333333826,
                                                  0.19999999999649118,
                                                  0.14285714380754716,
                                                  0.11111098484742916,
                                                  0.09091818088351931,
                                                  0.07656206682676223,
                                                  0.07405430106486327};

/// sin(x) / x in powers of x^2, |x| up to pi/4.
inline constexpr std::array<double, 7> sine_series{1.0,
                                                   -0.16666666666666616,
                                                   0.008333333333320366,
                                                   -0.00019841269828652788,
                                                   2.755731337717005e-06,
                                                   -2.5050717083864503e-08,
                                                   1.5894742519179647e-10};

/// cos(x) in powers of x^2, |x| up to pi/4.
inline constexpr std::array<double, 8> cosine_series{1.0,
                                                     -0.5,
                                                     0.04166666666666645,
                                                     -0.00138888888888611,
                                                     2.480158728388366e-05,
                                                     -2.755731309837908e-07,
                                                     2.0875582449261705e-09,
                                                     -1.1353382776502543e-11};

/// atan(x) / x in powers of x^2, |x| up to tan(pi/8).
inline constexpr std::array<double, 21> atan_series{
    1.0,       -1.0 / 3,  1.0 / 5,   -1.0 / 7,  1.0 / 9,   -1.0 / 11, 1.0 / 13,
    -1.0 / 15, 1.0 / 17,  -1.0 / 19, 1.0 / 21,  -1.0 / 23, 1.0 / 25,  -1.0 / 27,
    1.0 / 29,  -1.0 / 31, 1.0 / 33,  -1.0 / 35, 1.0 / 37,  -1.0 / 39, 1.0 / 41};

}  // namespace windwright::metrology
