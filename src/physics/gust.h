// SPDX-License-Identifier: Apache-2.0
#pragma once

namespace windwright::physics {

enum class GustShape { one_minus_cosine, extreme_operating };

/// One coherent change of the air speed over the whole disc.
struct Gust {
  GustShape shape;
  double duration_s;     // T, above 0
  double amplitude_m_s;  // A: the peak over the undisturbed air speed; negative for a lull
};

/// What the gust adds to the air speed, `time_s` after its start; 0 before and after it.
///   one_minus_cosine   A/2 (1 - cos(2 pi t / T))
///   extreme_operating  -A/2 sin(3 pi t / T) (1 - cos(2 pi t / T)): a dip, the rise, a dip. It is
///                      the extreme operating gust 0.37 V_gust sin(...) (...) of IEC 61400-1:2005,
///                      6.3.2.2, with V_gust = A / 0.74.
double gust_m_s(const Gust& gust, double time_s);

}  // namespace windwright::physics
