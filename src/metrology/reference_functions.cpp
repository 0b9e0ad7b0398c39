// SPDX-License-Identifier: Apache-2.0
#include "metrology/reference_functions.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <span>
#include <string_view>

namespace windwright::metrology {

namespace {

// Rising powers of the temperature in degC; emf in mV, as printed.
struct Piece {
  char type;
  double from_C;
  double to_C;
  std::span<const double> coefficients;
};

constexpr double b_1[] = {0.0,
                          -0.00024650818346,
                          5.9040421171e-06,
                          -1.3257931636e-09,
                          1.5668291901e-12,
                          -1.694452924e-15,
                          6.2990347094e-19};
constexpr double b_2[] = {-3.8938168621,     0.02857174747,     -8.4885104785e-05,
                          1.5785280164e-07,  -1.6835344864e-10, 1.1109794013e-13,
                          -4.4515431033e-17, 9.8975640821e-21,  -9.3791330289e-25};
constexpr double e_1[] = {0.0,
                          0.058665508708,
                          4.5410977124e-05,
                          -7.7998048686e-07,
                          -2.5800160843e-08,
                          -5.9452583057e-10,
                          -9.3214058667e-12,
                          -1.0287605534e-13,
                          -8.0370123621e-16,
                          -4.3979497391e-18,
                          -1.6414776355e-20,
                          -3.9673619516e-23,
                          -5.5827328721e-26,
                          -3.4657842013e-29};
constexpr double e_2[] = {0.0,
                          0.05866550871,
                          4.5032275582e-05,
                          2.8908407212e-08,
                          -3.3056896652e-10,
                          6.502440327e-13,
                          -1.9197495504e-16,
                          -1.2536600497e-18,
                          2.1489217569e-21,
                          -1.4388041782e-24,
                          3.5960899481e-28};
constexpr double j_1[] = {0.0,
                          0.050381187815,
                          3.047583693e-05,
                          -8.568106572e-08,
                          1.3228195295e-10,
                          -1.7052958337e-13,
                          2.0948090697e-16,
                          -1.2538395336e-19,
                          1.5631725697e-23};
constexpr double j_2[] = {296.45625681,      -1.4976127786,    0.0031787103924,
                          -3.1847686701e-06, 1.5720819004e-09, -3.0691369056e-13};
constexpr double k_1[] = {0.0,
                          0.039450128025,
                          2.3622373598e-05,
                          -3.2858906784e-07,
                          -4.9904828777e-09,
                          -6.7509059173e-11,
                          -5.7410327428e-13,
                          -3.1088872894e-15,
                          -1.0451609365e-17,
                          -1.9889266878e-20,
                          -1.6322697486e-23};
constexpr double k_2[] = {-0.017600413686,  0.038921204975,    1.8558770032e-05, -9.9457592874e-08,
                          3.1840945719e-10, -5.6072844889e-13, 5.6075059059e-16, -3.2020720003e-19,
                          9.7151147152e-23, -1.2104721275e-26};
constexpr double n_1[] = {0.0,
                          0.026159105962,
                          1.0957484228e-05,
                          -9.3841111554e-08,
                          -4.6412039759e-11,
                          -2.6303357716e-12,
                          -2.2653438003e-14,
                          -7.6089300791e-17,
                          -9.3419667835e-20};
constexpr double n_2[] = {0.0,
                          0.025929394601,
                          1.571014188e-05,
                          4.3825627237e-08,
                          -2.5261169794e-10,
                          6.4311819339e-13,
                          -1.0063471519e-15,
                          9.9745338992e-19,
                          -6.0863245607e-22,
                          2.0849229339e-25,
                          -3.0682196151e-29};
constexpr double r_1[] = {0.0,
                          0.00528961729765,
                          1.39166589782e-05,
                          -2.38855693017e-08,
                          3.56916001063e-11,
                          -4.62347666298e-14,
                          5.00777441034e-17,
                          -3.73105886191e-20,
                          1.57716482367e-23,
                          -2.81038625251e-27};
constexpr double r_2[] = {2.95157925316,      -0.00252061251332, 1.59564501865e-05,
                          -7.64085947576e-09, 2.05305291024e-12, -2.93359668173e-16};
constexpr double r_3[] = {152.232118209, -0.268819888545, 0.000171280280471, -3.45895706453e-08,
                          -9.34633971046e-15};
constexpr double s_1[] = {0.0,
                          0.00540313308631,
                          1.2593428974e-05,
                          -2.32477968689e-08,
                          3.22028823036e-11,
                          -3.31465196389e-14,
                          2.55744251786e-17,
                          -1.25068871393e-20,
                          2.71443176145e-24};
constexpr double s_2[] = {1.32900444085, 0.00334509311344, 6.54805192818e-06, -1.64856259209e-09,
                          1.29989605174e-14};
constexpr double s_3[] = {146.628232636, -0.258430516752, 0.000163693574641, -3.30439046987e-08,
                          -9.43223690612e-15};
constexpr double t_1[] = {0.0,
                          0.038748106364,
                          4.4194434347e-05,
                          1.1844323105e-07,
                          2.0032973554e-08,
                          9.0138019559e-10,
                          2.2651156593e-11,
                          3.6071154205e-13,
                          3.8493939883e-15,
                          2.8213521925e-17,
                          1.4251594779e-19,
                          4.8768662286e-22,
                          1.079553927e-24,
                          1.3945027062e-27,
                          7.9795153927e-31};
constexpr double t_2[] = {0.0,
                          0.038748106364,
                          3.329222788e-05,
                          2.0618243404e-07,
                          -2.1882256846e-09,
                          1.0996880928e-11,
                          -3.0815758772e-14,
                          4.547913529e-17,
                          -2.7512901673e-20};
constexpr Piece pieces[] = {
    {'B', 0.0, 630.615, b_1},   {'B', 630.615, 1820.0, b_2}, {'E', -270.0, 0.0, e_1},
    {'E', 0.0, 1000.0, e_2},    {'J', -210.0, 760.0, j_1},   {'J', 760.0, 1200.0, j_2},
    {'K', -270.0, 0.0, k_1},    {'K', 0.0, 1372.0, k_2},     {'N', -270.0, 0.0, n_1},
    {'N', 0.0, 1300.0, n_2},    {'R', -50.0, 1064.18, r_1},  {'R', 1064.18, 1664.5, r_2},
    {'R', 1664.5, 1768.1, r_3}, {'S', -50.0, 1064.18, s_1},  {'S', 1064.18, 1664.5, s_2},
    {'S', 1664.5, 1768.1, s_3}, {'T', -270.0, 0.0, t_1},     {'T', 0.0, 400.0, t_2}};

// Of type K above 0 degC: a0 exp(a1 (t - a2)^2), in mV.
constexpr double k_a0 = 0.1185976;
constexpr double k_a1 = -0.1183432e-3;
constexpr double k_a2 = 126.9686;

constexpr double volts = 1e-3;  // a millivolt

// The piece that holds a temperature: the first that ends above it, or the type's last.
const Piece& piece_of(char type, double temperature_C) {
  const Piece* found = nullptr;
  for (const Piece& piece : pieces) {
    if (piece.type != type) continue;
    found = &piece;
    if (temperature_C < piece.to_C) break;
  }
  return *found;
}

// Lowest temperature of the branch on which the emf rises.
double rises_from_C(char type) {
  constexpr double lowest_emf_of_b_C = 21.020262;
  return type == 'B' ? lowest_emf_of_b_C : thermocouple_range(type).lowest_C;
}

}  // namespace

double platinum_resistance_ohm(double temperature_C, double ice_point_ohm) {
  const double t = temperature_C;
  const double below = t < 0.0 ? platinum_c * (t - 100.0) * t * t * t : 0.0;
  return ice_point_ohm * (1.0 + t * (platinum_a + t * platinum_b) + below);
}

double platinum_temperature_C(double resistance_ohm, double ice_point_ohm) {
  const double ratio = resistance_ohm / ice_point_ohm;
  // The root of the quadratic that is 0 at the ice point, in the form that does not cancel.
  const double root =
      std::sqrt(std::max(0.0, platinum_a * platinum_a - 4.0 * platinum_b * (1.0 - ratio)));
  double t = 2.0 * (ratio - 1.0) / (platinum_a + root);
  if (t >= 0.0) return t;
  constexpr int rounds = 20;  // Newton's method; four do
  for (int round = 0; round < rounds; ++round) {
    const double slope = platinum_a + 2.0 * platinum_b * t + platinum_c * (4.0 * t - 300.0) * t * t;
    const double step = (platinum_resistance_ohm(t, 1.0) - ratio) / slope;
    t -= step;
    if (std::abs(step) < 1e-13 * std::abs(t)) break;
  }
  return t;
}

double platinum_tolerance_K(std::string_view tolerance_class, double temperature_C) {
  const double t = std::abs(temperature_C);
  if (tolerance_class == "AA") return 0.1 + 0.0017 * t;
  if (tolerance_class == "A") return 0.15 + 0.002 * t;
  if (tolerance_class == "B") return 0.3 + 0.005 * t;
  if (tolerance_class == "C") return 0.6 + 0.01 * t;
  return std::numeric_limits<double>::quiet_NaN();
}

std::string_view thermocouple_types() {
  return "BEJKNRST";
}

Emf thermocouple_emf(char type, double temperature_C) {
  const Piece& piece = piece_of(type, temperature_C);
  double emf = 0.0;
  double slope = 0.0;
  for (std::size_t k = piece.coefficients.size(); k-- > 0;) {
    slope = slope * temperature_C + emf;
    emf = emf * temperature_C + piece.coefficients[k];
  }
  if (type == 'K' && temperature_C >= 0.0) {
    const double away = temperature_C - k_a2;
    const double bell = k_a0 * std::exp(k_a1 * away * away);
    emf += bell;
    slope += 2.0 * k_a1 * away * bell;
  }
  return {.emf_V = volts * emf, .slope_V_K = volts * slope};
}

TemperatureRange thermocouple_range(char type) {
  TemperatureRange range{.lowest_C = std::numeric_limits<double>::infinity(),
                         .highest_C = -std::numeric_limits<double>::infinity()};
  for (const Piece& piece : pieces) {
    if (piece.type != type) continue;
    range.lowest_C = std::min(range.lowest_C, piece.from_C);
    range.highest_C = std::max(range.highest_C, piece.to_C);
  }
  return range;
}

double thermocouple_temperature_C(char type, double emf_V) {
  double below = rises_from_C(type);
  double above = thermocouple_range(type).highest_C;
  for (const double end : {below, above}) {
    const Emf at = thermocouple_emf(type, end);
    const bool is_beyond = end == below ? emf_V <= at.emf_V : emf_V >= at.emf_V;
    if (is_beyond) return at.slope_V_K > 0.0 ? end + (emf_V - at.emf_V) / at.slope_V_K : end;
  }
  double t = 0.5 * (below + above);
  constexpr int rounds = 100;  // Newton's method inside a shrinking bracket
  for (int round = 0; round < rounds; ++round) {
    const Emf at = thermocouple_emf(type, t);
    (at.emf_V < emf_V ? below : above) = t;
    double next = t - (at.emf_V - emf_V) / at.slope_V_K;
    if (!(next > below && next < above)) next = 0.5 * (below + above);
    if (std::abs(next - t) <= 1e-12 * std::max(1.0, std::abs(t))) return next;
    t = next;
  }
  return t;
}

double pitot_speed_m_s(double difference_Pa, double density_kg_m3, double factor) {
  return factor * std::sqrt(2.0 * difference_Pa / density_kg_m3);
}

double pitot_speed_compressible_m_s(double difference_Pa, double static_Pa, double static_K) {
  constexpr double gamma = 1.4;
  constexpr double gas_constant_J_kg_K = 287.053;  // dry air
  const double speed_of_sound_2 = gamma * gas_constant_J_kg_K * static_K;
  // (p0 / p)^((gamma - 1) / gamma) - 1 without cancellation at low speed
  const double rise = std::expm1((gamma - 1.0) / gamma * std::log1p(difference_Pa / static_Pa));
  return std::sqrt(2.0 / (gamma - 1.0) * speed_of_sound_2 * rise);
}

}  // namespace windwright::metrology
