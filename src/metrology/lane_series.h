// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <array>

namespace windwright::metrology {

// Taylor's series of elementary functions, cut where the next term is below 1e-17 on the stretch
// that lane_functions.h uses. Rising powers.

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
inline constexpr std::array<double, 11> log_series{1.0,      1.0 / 3,  1.0 / 5,  1.0 / 7,
                                                   1.0 / 9,  1.0 / 11, 1.0 / 13, 1.0 / 15,
                                                   1.0 / 17, 1.0 / 19, 1.0 / 21};

/// sin(x) / x in powers of x^2, |x| up to pi/4.
inline constexpr std::array<double, 9> sine_series{1.0,
                                                   -1.0 / 6,
                                                   1.0 / 120,
                                                   -1.0 / 5040,
                                                   1.0 / 362880,
                                                   -1.0 / 39916800,
                                                   1.0 / 6227020800.0,
                                                   -1.0 / 1307674368000.0,
                                                   1.0 / 355687428096000.0};

/// cos(x) in powers of x^2, |x| up to pi/4.
inline constexpr std::array<double, 9> cosine_series{1.0,
                                                     -1.0 / 2,
                                                     1.0 / 24,
                                                     -1.0 / 720,
                                                     1.0 / 40320,
                                                     -1.0 / 3628800,
                                                     1.0 / 479001600,
                                                     -1.0 / 87178291200.0,
                                                     1.0 / 20922789888000.0};

/// atan(x) / x in powers of x^2, |x| up to tan(pi/8).
inline constexpr std::array<double, 21> atan_series{
    1.0,       -1.0 / 3,  1.0 / 5,   -1.0 / 7,  1.0 / 9,   -1.0 / 11, 1.0 / 13,
    -1.0 / 15, 1.0 / 17,  -1.0 / 19, 1.0 / 21,  -1.0 / 23, 1.0 / 25,  -1.0 / 27,
    1.0 / 29,  -1.0 / 31, 1.0 / 33,  -1.0 / 35, 1.0 / 37,  -1.0 / 39, 1.0 / 41};

}  // namespace windwright::metrology
