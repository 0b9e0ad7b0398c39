// SPDX-License-Identifier: Apache-2.0
#include "physics/bridge_cycle.h"

#include <boost/math/quadrature/gauss.hpp>

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <span>
#include <vector>

namespace windwright::physics {
namespace {

constexpr double deg_60 = std::numbers::pi / 3.0;

/// The same arc 60 degrees later with the opposite sign.
LineArc turned(const LineArc& line) {
  const double c = std::cos(deg_60);
  const double s = std::sin(deg_60);
  const auto cosine = [&](double x, double y) { return -(x * c - y * s); };
  const auto sine = [&](double x, double y) { return -(x * s + y * c); };
  return {.cosine_A = cosine(line.cosine_A, line.sine_A),
          .sine_A = sine(line.cosine_A, line.sine_A),
          .fading_A = -line.fading_A,
          .rising_A = -line.rising_A,
          .drive_V = {-line.drive_V.steady, cosine(line.drive_V.cosine, line.drive_V.sine),
                      sine(line.drive_V.cosine, line.drive_V.sine)},
          .rail = -line.rail};
}

/// Closed forms, for arcs over which the exponential fades.
ArcIntegral fading_integral(const LineArc& line, const BridgeArc& arc, double decay) {
  const double a = arc.begin_rad;
  const double b = arc.end_rad;
  const double end = std::exp(-decay * (b - a));
  const double cos_a = std::cos(a);
  const double sin_a = std::sin(a);
  const double cos_b = std::cos(b);
  const double sin_b = std::sin(b);
  const double sinus = sin_b - sin_a;
  const double cosinus = cos_a - cos_b;
  const double fade = (1.0 - end) / decay;
  const double fade_square = (1.0 - end * end) / (2.0 * decay);
  const double scale = 1.0 / (1.0 + decay * decay);
  const double fade_cos = scale * (end * (sin_b - decay * cos_b) - (sin_a - decay * cos_a));
  const double fade_sin = scale * (-end * (cos_b + decay * sin_b) + (cos_a + decay * sin_a));
  const double p = line.cosine_A;
  const double q = line.sine_A;
  const double c = line.rising_A;
  const double e = line.fading_A - line.rising_A;
  const double double_angle = 0.5 * (sin_b * cos_b - sin_a * cos_a);
  const double half = 0.5 * (b - a);
  return {.current = p * sinus + q * cosinus + c * (b - a) + e * fade,
          .square =
              p * p * (half + double_angle) + q * q * (half - double_angle) +
              p * q * (sin_b * sin_b - sin_a * sin_a) + c * c * (b - a) + e * e * fade_square +
              2.0 * (c * (p * sinus + q * cosinus + e * fade) + e * (p * fade_cos + q * fade_sin))};
}

void add_quadrature(const LineArc& line, const BridgeArc& arc, double decay,
                    std::array<double, 2> range_rad, ArcIntegral& sum) {
  using Rule = boost::math::quadrature::gauss<double, 15>;
  const double middle_rad = 0.5 * (range_rad[0] + range_rad[1]);
  const double half_rad = 0.5 * (range_rad[1] - range_rad[0]);
  const auto add = [&](double offset_rad, double weight) {
    const double current_A = arc_current_A(line, arc, decay, middle_rad + offset_rad);
    sum.current += weight * half_rad * current_A;
    sum.square += weight * half_rad * current_A * current_A;
  };
  for (std::size_t i = 0; i < Rule::abscissa().size(); ++i) {
    const double offset_rad = half_rad * Rule::abscissa()[i];
    add(offset_rad, Rule::weights()[i]);
    if (offset_rad != 0.0) add(-offset_rad, Rule::weights()[i]);
  }
}

}  // namespace

double arc_current_A(const LineArc& line, const BridgeArc& arc, double decay, double angle_rad) {
  const double risen = -std::expm1(-decay * (angle_rad - arc.begin_rad));
  return line.cosine_A * std::cos(angle_rad) + line.sine_A * std::sin(angle_rad) +
         line.fading_A * (1.0 - risen) + line.rising_A * risen;
}

PhasePoint phase_point(const BridgeCycle& cycle, std::size_t phase, double angle_rad) {
  const double begin_rad = cycle.arcs.front().begin_rad;
  double within_rad = std::fmod(angle_rad - begin_rad, 2.0 * std::numbers::pi);
  if (within_rad < 0.0) within_rad += 2.0 * std::numbers::pi;
  within_rad += begin_rad;
  std::size_t i = 0;
  while (i + 1 < cycle.arcs.size() && within_rad >= cycle.arcs[i].end_rad)
    ++i;
  return arc_point(cycle.arcs[i].line[phase], cycle.arcs[i], cycle.decay, within_rad);
}

PhasePoint arc_point(const LineArc& line, const BridgeArc& arc, double decay, double angle_rad) {
  return {.current_A = arc_current_A(line, arc, decay, angle_rad),
          .drive_V = line.drive_V.steady + line.drive_V.cosine * std::cos(angle_rad) +
                     line.drive_V.sine * std::sin(angle_rad)};
}

ArcIntegral arc_integral(const LineArc& line, const BridgeArc& arc, double decay) {
  const double length_rad = arc.end_rad - arc.begin_rad;
  if (!(length_rad > 0.0)) return {.current = 0.0, .square = 0.0};
  const bool fades = decay * length_rad > 1.0;
  if (fades && length_rad > 0.1) return fading_integral(line, arc, decay);
  // With little resistance, or over a short arc, the closed forms would be small differences of
  // large terms: by quadrature, in pieces as long as the exponential wants.
  ArcIntegral sum{.current = 0.0, .square = 0.0};
  double from_rad = arc.begin_rad;
  for (const double fadings : {1.0, 4.0, 12.0, 40.0}) {
    const double to_rad = arc.begin_rad + fadings / decay;
    if (!fades || to_rad >= arc.end_rad) break;
    add_quadrature(line, arc, decay, {from_rad, to_rad}, sum);
    from_rad = to_rad;
  }
  add_quadrature(line, arc, decay, {from_rad, arc.end_rad}, sum);
  return sum;
}

std::vector<BridgeArc> whole_period(std::span<const BridgeArc> sixth) {
  std::vector<BridgeArc> arcs(6 * sixth.size());
  std::copy(sixth.begin(), sixth.end(), arcs.begin());
  complete_period(arcs);
  return arcs;
}

void complete_period(std::span<BridgeArc> arcs) {
  const std::size_t sixth = arcs.size() / 6;
  for (std::size_t i = 0; i < 5 * sixth; ++i) {
    const BridgeArc& before = arcs[i];
    arcs[i + sixth] = {
        .begin_rad = before.begin_rad + deg_60,
        .end_rad = before.end_rad + deg_60,
        .line = {turned(before.line[1]), turned(before.line[2]), turned(before.line[0])}};
  }
}

}  // namespace windwright::physics
