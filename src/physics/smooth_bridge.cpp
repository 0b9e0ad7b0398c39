// SPDX-License-Identifier: Apache-2.0
#include "base/errors.h"
#include "physics/bridge_cycle.h"

#include <boost/math/quadrature/gauss.hpp>
#include <boost/math/tools/toms748_solve.hpp>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <numbers>
#include <optional>
#include <span>
#include <string>
#include <utility>

namespace windwright::physics {
namespace {

constexpr double pi = std::numbers::pi;
constexpr double sqrt3 = std::numbers::sqrt3;
constexpr double deg_30 = pi / 6.0;
constexpr double deg_60 = pi / 3.0;

/// A sixth of a period in units of EMF and impedance. Angles count from the natural commutation
/// point of phase a (its EMF's 30 degrees); the lower diode of phase b carries all of the current
/// j, the upper ones pass it from c to a.
struct Sixth {
  std::array<BridgeArc, 2> arcs;
  std::size_t count;
  double bridge_voltage;  // mean
  double overlap_rad;
  BridgeMode mode;
};

/// First root of a function that is below 0 at `low` and not below at `high`.
template <typename Function>
double rise_through_zero(const Function& function, double low, double high) {
  const double at_low = function(low);
  const double at_high = function(high);
  if (!(at_low < 0.0)) return low;
  if (!(at_high > 0.0)) return high;
  std::uintmax_t steps = 100;
  const auto [below, above] = boost::math::tools::toms748_solve(
      function, low, high, at_low, at_high, boost::math::tools::eps_tolerance<double>(52), steps);
  return 0.5 * (below + above);
}

class Solver {
 public:
  Solver(double current, double resistance, double reactance)
      : j_(current),
        r_(resistance),
        x_(reactance),
        decay_(resistance / reactance),
        sine_(-resistance * current / sqrt3),
        cosine_(std::sqrt(1.0 - sine_ * sine_)) {}

  /// The overlap of mode 1, where the incoming diode starts as soon as it can and is through within
  /// 60 degrees: most of a bench's life, so without arcs and with few calls of the library.
  std::optional<double> simple_overlap_rad() const {
    double low = 0.0;
    double high = deg_60;
    double theta_rad = guessed_overlap_rad();
    // The guess is within a tenth, so only a long one may hide an overlap beyond 60 degrees.
    const Half sixth{.sine = 0.5, .cosine = 0.5 * sqrt3, .angle_rad = deg_30};
    if (theta_rad > 0.8 * deg_60 && rising(sixth).current < j_) return std::nullopt;
    for (int step = 0; step < 100; ++step) {
      const Rising now = rising(half_of(theta_rad));
      const double short_of = now.current - j_;
      (short_of < 0.0 ? low : high) = theta_rad;
      const double next_rad = theta_rad - short_of / now.slope;
      // Newton's next error is about the square of this step.
      const bool last = std::abs(next_rad - theta_rad) <= 1e-9 * theta_rad;
      const bool inside = now.slope > 0.0 && next_rad > low && next_rad < high;
      theta_rad = inside || last ? next_rad : 0.5 * (low + high);
      if (last || high - low <= 1e-15 * high) break;
    }
    const Half half = half_of(theta_rad);
    const double cosine_at_end =
        cosine_ * (1.0 - 2.0 * half.sine * half.sine) - sine_ * 2.0 * half.sine * half.cosine;
    if (cosine_at_end < r_ * j_) return std::nullopt;
    return theta_rad;
  }

  double simple_voltage(double overlap_rad) const { return voltage(sine_, cosine_, overlap_rad); }

  /// How current at the end of an overlap and voltage of mode 1 change with the direct current.
  struct Slopes {
    double shortage;    // risen current less the direct one
    double by_overlap;  // of the shortage
    double by_current;
    double voltage;
    double voltage_by_overlap;
    double voltage_by_current;
  };
  Slopes slopes(double overlap_rad) const {
    const Half half = half_of(overlap_rad);
    const double risen = -std::expm1(-decay_ * overlap_rad);
    const Rising now = rising(half, risen);
    const double sine_by = -r_ / sqrt3;
    const double cosine_by = -sine_ / cosine_ * sine_by;
    const double sine_lag_by = sine_by * r_ - cosine_by * x_;
    const double cosine_lag_by = cosine_by * r_ + sine_by * x_;
    const double current_by =
        sqrt3 * (cosine_lag_by * half.cosine - sine_lag_by * half.sine) * half.sine +
        0.5 * (sqrt3 * sine_lag_by + 1.0) * risen;
    const double sine_w = 2.0 * half.sine * half.cosine;
    const double cosine_w = 1.0 - 2.0 * half.sine * half.sine;
    const auto split = [&](double sine, double cosine) {
      return std::pair(sine * cosine_w + cosine * sine_w, cosine * cosine_w - sine * sine_w);
    };
    // As voltage() has it; linear in sine, cosine and current.
    const auto mean = [&](double sine, double cosine, double current) {
      const auto [split_sine, split_cosine] = split(sine, cosine);
      const double three = 1.5 * (split_sine - sine - r_ * current * overlap_rad);
      const double two =
          sqrt3 * (0.5 * (split_cosine + cosine) + 0.5 * sqrt3 * (sine - split_sine)) -
          2.0 * r_ * current * (deg_60 - overlap_rad);
      return (three + two) / deg_60;
    };
    const auto [end_sine, end_cosine] = split(sine_, cosine_);
    return {.shortage = now.current - j_,
            .by_overlap = now.slope,
            .by_current = current_by - 1.0,
            .voltage = mean(sine_, cosine_, j_),
            .voltage_by_overlap =
                (1.5 * (end_cosine - r_ * j_) -
                 sqrt3 * (0.5 * end_sine + 0.5 * sqrt3 * end_cosine) + 2.0 * r_ * j_) /
                deg_60,
            .voltage_by_current = mean(sine_by, cosine_by, 1.0)};
  }
  /// Where i = (sqrt3 cos / 4 X) theta^2 / (1 + R theta / 2 X), right for X and for R alone.
  double guessed_overlap_rad() const {
    const double a = 0.25 * sqrt3 * cosine_;
    const double b = 0.5 * r_ * j_;
    return std::min(deg_60, (b + std::sqrt(b * b + 4.0 * a * j_ * x_)) / (2.0 * a));
  }
  bool waits_at_end(double overlap_rad) const {
    return sine_ * -std::sin(overlap_rad) + cosine_ * std::cos(overlap_rad) < r_ * j_;
  }

  double simple_begin_rad() const { return std::asin(sine_) + deg_30; }

  /// A line of the sixth (0 takes over, 1 carries all, 2 hands over), theta after its beginning.
  PhasePoint simple_point(double overlap_rad, std::size_t line, double theta_rad) const {
    if (line == 1) return {.current_A = -j_, .drive_V = -r_ * j_};
    if (theta_rad >= overlap_rad) {
      return line == 0 ? PhasePoint{.current_A = j_, .drive_V = r_ * j_} : PhasePoint{};
    }
    const Rising now = rising(half_of(theta_rad));
    const double drive = x_ * now.slope + r_ * now.current;
    if (line == 0) return {.current_A = now.current, .drive_V = drive};
    return {.current_A = j_ - now.current, .drive_V = r_ * j_ - drive};
  }

  /// Sum of the three lines' squares, integrated over a sixth of a period.
  double simple_square(double overlap_rad) const {
    if (decay_ * overlap_rad > 2.0) {
      const Sixth sixth = two_three(std::asin(sine_), overlap_rad);
      return squares(sixth);
    }
    using Rule = boost::math::quadrature::gauss<double, 7>;
    // Angles and exponentials of the nodes from those of the middle, by products.
    const Half middle = half_of(0.5 * overlap_rad);
    const double fading = std::exp(-0.5 * decay_ * overlap_rad);
    double sum = 0.0;  // of i (j - i): what sharing takes off
    const auto add = [&](double sine, double cosine, double left, double weight) {
      const double current =
          rising({.sine = sine, .cosine = cosine, .angle_rad = 0.0}, 1.0 - left).current;
      sum += weight * current * (j_ - current);
    };
    for (std::size_t n = 0; n < Rule::abscissa().size(); ++n) {
      const double offset = Rule::abscissa()[n];
      const double weight = Rule::weights()[n];
      if (offset == 0.0) {
        add(middle.sine, middle.cosine, fading, weight);
        continue;
      }
      const Half turn = half_of(0.5 * overlap_rad * offset);
      const double grows = std::exp(0.5 * decay_ * overlap_rad * offset);
      const double sc = middle.sine * turn.cosine;
      const double cs = middle.cosine * turn.sine;
      const double cc = middle.cosine * turn.cosine;
      const double ss = middle.sine * turn.sine;
      add(sc + cs, cc - ss, fading / grows, weight);
      add(sc - cs, cc + ss, fading * grows, weight);
    }
    return 2.0 * (j_ * j_ * deg_60 - 0.5 * overlap_rad * sum);
  }

  double squares(const Sixth& sixth) const {
    double square = 0.0;
    for (const BridgeArc& arc : std::span(sixth.arcs).first(sixth.count)) {
      for (const LineArc& line : arc.line)
        square += arc_integral(line, arc, decay_).square;
    }
    return square;
  }

  Sixth solve() const {
    if (const std::optional<double> overlap_rad = simple_overlap_rad()) {
      return two_three(std::asin(sine_), *overlap_rad);
    }
    const double lag_rad = std::atan2(x_, r_);
    // The commutation that takes 60 degrees: the start follows from a sine.
    const double left = std::exp(-decay_ * deg_60);
    const double across = 0.5 * sqrt3;
    const double along = 0.5 - left;
    const double sine = j_ * (1.0 + left) / (sqrt3 * std::hypot(across, along));
    if (sine > 1.0) return three_four();
    const double delay_rad = lag_rad - std::atan2(across, along) + std::asin(sine);
    // Through within 60 degrees from the natural start, but the voltage came to zero before.
    if (delay_rad < std::asin(sine_)) return three_four();
    if (std::cos(delay_rad + deg_60) < r_ * j_) return three_four();
    return two_three(delay_rad, deg_60);
  }

 private:
  struct Half {  // of an angle
    double sine;
    double cosine;
    double angle_rad;
  };
  static Half half_of(double angle_rad) {
    return {.sine = std::sin(0.5 * angle_rad),
            .cosine = std::cos(0.5 * angle_rad),
            .angle_rad = 0.5 * angle_rad};
  }

  struct Rising {
    double current;
    double slope;
  };

  /// Current of phase a after it began to take over at the natural start, and its slope.
  Rising rising(const Half& half) const {
    return rising(half, -std::expm1(-2.0 * decay_ * half.angle_rad));
  }
  /// @param risen  1 - exp(-decay twice the half angle)
  Rising rising(const Half& half, double risen) const {
    // Start less the lag of the impedance, whose sine and cosine are x and r.
    const double sine = sine_ * r_ - cosine_ * x_;
    const double cosine = cosine_ * r_ + sine_ * x_;
    const double current = sqrt3 * (cosine * half.cosine - sine * half.sine) * half.sine +
                           0.5 * (sqrt3 * sine + j_) * risen;
    const double sine_now =
        sine_ * (1.0 - 2.0 * half.sine * half.sine) + cosine_ * 2.0 * half.sine * half.cosine;
    return {.current = current, .slope = (0.5 * (sqrt3 * sine_now + r_ * j_) - r_ * current) / x_};
  }

  /// Mean: -(3/2) e_b = (3/2) cos theta while three conduct, e_a - e_b = sqrt3 sin(theta + 60 deg)
  /// then. @param sine, cosine  of the start
  double voltage(double sine, double cosine, double overlap_rad) const {
    const double sine_w = std::sin(overlap_rad);
    const double cosine_w = std::cos(overlap_rad);
    const double split_sine = sine * cosine_w + cosine * sine_w;
    const double split_cosine = cosine * cosine_w - sine * sine_w;
    const double three = 1.5 * (split_sine - sine - r_ * j_ * overlap_rad);
    const double two = sqrt3 * (0.5 * (split_cosine + cosine) + 0.5 * sqrt3 * (sine - split_sine)) -
                       2.0 * r_ * j_ * (deg_60 - overlap_rad);
    return (three + two) / deg_60;
  }

  LineArc line(const Sinusoid& drive, double current, double begin_rad) const {
    const double p = r_ * drive.cosine - x_ * drive.sine;
    const double q = x_ * drive.cosine + r_ * drive.sine;
    return {.cosine_A = p,
            .sine_A = q,
            .fading_A = current - p * std::cos(begin_rad) - q * std::sin(begin_rad),
            .rising_A = drive.steady / r_,
            .drive_V = drive,
            .rail = 0};
  }
  LineArc steady(double current) const {
    return {.cosine_A = 0.0,
            .sine_A = 0.0,
            .fading_A = current,
            .rising_A = current,
            .drive_V = {.steady = r_ * current, .cosine = 0.0, .sine = 0.0},
            .rail = current > 0.0 ? 1 : -1};
  }
  static LineArc with_rail(LineArc arc, int rail) {
    arc.rail = rail;
    return arc;
  }

  Sixth two_three(double start_rad, double overlap_rad) const {
    const double begin_rad = start_rad + deg_30;
    const double middle_rad = begin_rad + overlap_rad;
    const double end_rad = begin_rad + deg_60;
    // (e_a - e_c) / 2 = (sqrt3/2) sin(angle - 30 deg)
    const Sinusoid up{.steady = 0.5 * r_ * j_, .cosine = -0.25 * sqrt3, .sine = 0.75};
    const Sinusoid down{.steady = 0.5 * r_ * j_, .cosine = 0.25 * sqrt3, .sine = -0.75};
    Sixth sixth{};
    sixth.arcs[0] = {.begin_rad = begin_rad,
                     .end_rad = middle_rad,
                     .line = {with_rail(line(up, 0.0, begin_rad), 1), steady(-j_),
                              with_rail(line(down, j_, begin_rad), 1)}};
    sixth.arcs[1] = {
        .begin_rad = middle_rad, .end_rad = end_rad, .line = {steady(j_), steady(-j_), LineArc{}}};
    const bool always_three = !(overlap_rad < deg_60);
    sixth.count = always_three ? 1 : 2;
    sixth.bridge_voltage = voltage(std::sin(start_rad), std::cos(start_rad), overlap_rad);
    sixth.overlap_rad = overlap_rad;
    sixth.mode = always_three ? BridgeMode::three : BridgeMode::two_three;
    return sixth;
  }

  /// Four diodes from where the voltage of three has come to zero until phase a carries all.
  Sixth four_then_three(double current) const {
    const double begin_rad = std::acos(std::min(1.0, r_ * j_)) + deg_30;
    const double end_rad = begin_rad + deg_60;
    const Sinusoid emf_a{.steady = 0.0, .cosine = 0.0, .sine = 1.0};
    const Sinusoid emf_b{.steady = 0.0, .cosine = -0.5 * sqrt3, .sine = -0.5};
    const Sinusoid emf_c{.steady = 0.0, .cosine = 0.5 * sqrt3, .sine = -0.5};
    Sixth sixth{};
    sixth.arcs[0] = {.begin_rad = begin_rad,
                     .end_rad = end_rad,
                     .line = {with_rail(line(emf_a, current, begin_rad), 1),
                              with_rail(line(emf_b, -j_, begin_rad), -1),
                              with_rail(line(emf_c, j_ - current, begin_rad), 1)}};
    const BridgeArc& four = sixth.arcs[0];
    const double split_rad = rise_through_zero(
        [&](double angle_rad) { return arc_current_A(four.line[0], four, decay_, angle_rad) - j_; },
        std::max(begin_rad, std::asin(std::min(1.0, r_ * j_))), end_rad);
    sixth.arcs[0].end_rad = split_rad;
    // (e_b - e_c) / 2 = -(sqrt3/2) cos(angle)
    const Sinusoid off{.steady = -0.5 * r_ * j_, .cosine = -0.5 * sqrt3, .sine = 0.0};
    const Sinusoid on{.steady = -0.5 * r_ * j_, .cosine = 0.5 * sqrt3, .sine = 0.0};
    const double b = arc_current_A(four.line[1], four, decay_, split_rad);
    sixth.arcs[1] = {.begin_rad = split_rad,
                     .end_rad = end_rad,
                     .line = {steady(j_), with_rail(line(off, b, split_rad), -1),
                              with_rail(line(on, -j_ - b, split_rad), -1)}};
    sixth.count = 2;
    const double three_rad = end_rad - split_rad;
    sixth.bridge_voltage = std::max(
        0.0, 1.5 * (std::cos(split_rad) - std::cos(end_rad) - r_ * j_ * three_rad) / deg_60);
    sixth.overlap_rad = 2.0 * deg_60 - three_rad;
    sixth.mode = three_rad > 0.0 ? BridgeMode::three_four : BridgeMode::short_circuited;
    return sixth;
  }

  Sixth three_four() const {
    // What phase a carries when four diodes begin to conduct is what c takes on 60 degrees later.
    const auto shortage = [&](double current) {
      const Sixth sixth = four_then_three(current);
      const BridgeArc& last = sixth.arcs[1];
      return current + arc_current_A(last.line[2], last, decay_, last.end_rad);
    };
    return four_then_three(rise_through_zero(shortage, -j_, j_));
  }

  double j_;
  double r_;
  double x_;
  double decay_;
  double sine_;  // of the natural start, counted from the natural commutation point
  double cosine_;
};

void require(double value, const char* name) {
  if (std::isfinite(value) && value >= 0.0) return;
  throw base::BadInput(name, std::to_string(value), "a number of 0 or more");
}

struct Units {
  double impedance_ohm;
  double resistance;
  double reactance;
  double current;
};

Units units_of(const SmoothBridge& bridge) {
  require(bridge.emf_peak_V, "EMF");
  require(bridge.resistance_ohm, "phase resistance");
  require(bridge.reactance_ohm, "phase reactance");
  require(bridge.dc_current_A, "direct current");
  const double impedance_ohm = std::hypot(bridge.resistance_ohm, bridge.reactance_ohm);
  const double drop_V = bridge.dc_current_A * impedance_ohm;
  if (!(drop_V <= bridge.emf_peak_V * (1.0 + 1e-9))) {
    throw base::BadInput("direct current", std::to_string(bridge.dc_current_A) + " A",
                         "at most the short-circuit current, EMF over impedance");
  }
  Units units{.impedance_ohm = impedance_ohm, .resistance = 1.0, .reactance = 1e-9, .current = 0.0};
  if (impedance_ohm > 0.0) {
    units.resistance = std::max(1e-9, bridge.resistance_ohm / impedance_ohm);
    units.reactance = std::max(1e-9, bridge.reactance_ohm / impedance_ohm);
  }
  if (bridge.emf_peak_V > 0.0) units.current = std::min(1.0, drop_V / bridge.emf_peak_V);
  return units;
}

}  // namespace

SmoothMeans smooth_bridge_means(const SmoothBridge& bridge) {
  const Units units = units_of(bridge);
  if (!(bridge.dc_current_A > 0.0)) {
    return {.bridge_voltage_V = 3.0 * sqrt3 / pi * bridge.emf_peak_V,
            .line_current_rms_A = 0.0,
            .overlap_rad = 0.0,
            .mode = BridgeMode::none};
  }
  if (!(units.current > 0.0)) {  // no impedance: nothing overlaps
    return {.bridge_voltage_V = 3.0 * sqrt3 / pi * bridge.emf_peak_V,
            .line_current_rms_A = std::sqrt(2.0 / 3.0) * bridge.dc_current_A,
            .overlap_rad = 0.0,
            .mode = BridgeMode::two_three};
  }
  const Solver solver(units.current, units.resistance, units.reactance);
  const double unit_A = bridge.dc_current_A / units.current;
  if (const std::optional<double> overlap_rad = solver.simple_overlap_rad()) {
    return {.bridge_voltage_V = solver.simple_voltage(*overlap_rad) * bridge.emf_peak_V,
            .line_current_rms_A = std::sqrt(solver.simple_square(*overlap_rad) / pi) * unit_A,
            .overlap_rad = *overlap_rad,
            .mode = BridgeMode::two_three};
  }
  const Sixth sixth = solver.solve();
  return {.bridge_voltage_V = sixth.bridge_voltage * bridge.emf_peak_V,
          .line_current_rms_A = std::sqrt(solver.squares(sixth) / pi) * unit_A,
          .overlap_rad = sixth.overlap_rad,
          .mode = sixth.mode};
}

std::optional<SmoothLoad> smooth_bridge_load(const SmoothBridge& bridge, double load_resistance_ohm,
                                             double threshold_V) {
  constexpr double longest_rad = 0.8 * deg_60;
  const double impedance_ohm = std::sqrt(bridge.resistance_ohm * bridge.resistance_ohm +
                                         bridge.reactance_ohm * bridge.reactance_ohm);
  const double resistance = std::max(1e-9, bridge.resistance_ohm / impedance_ohm);
  const double reactance = std::max(1e-9, bridge.reactance_ohm / impedance_ohm);
  const double threshold = threshold_V / bridge.emf_peak_V;
  const double load = load_resistance_ohm / impedance_ohm;
  double current =
      (3.0 * sqrt3 / pi - threshold) / (load + 2.0 * resistance + 3.0 / pi * reactance);
  // Next to no reactance: the overlap is too short for its square to be small.
  if (!(current > 0.0 && current < 0.9 && reactance > 1e-3)) return std::nullopt;
  double overlap_rad = Solver(current, resistance, reactance).guessed_overlap_rad();
  for (int step = 0; step < 12; ++step) {
    const Solver::Slopes at = Solver(current, resistance, reactance).slopes(overlap_rad);
    const double excess = at.voltage - threshold - load * current;
    const double excess_by_current = at.voltage_by_current - load;
    const double determinant =
        at.by_overlap * excess_by_current - at.by_current * at.voltage_by_overlap;
    const double overlap_step =
        (at.shortage * excess_by_current - excess * at.by_current) / determinant;
    const double current_step =
        (excess * at.by_overlap - at.shortage * at.voltage_by_overlap) / determinant;
    current -= current_step;
    overlap_rad -= overlap_step;
    if (!(current > 0.0 && current < 0.9 && overlap_rad > 0.0 && overlap_rad < longest_rad)) {
      return std::nullopt;
    }
    // Newton's next error is about the square of this step.
    if (std::abs(current_step) > 1e-9 * current || std::abs(overlap_step) > 1e-9 * overlap_rad) {
      continue;
    }
    const Solver solver(current, resistance, reactance);
    if (solver.waits_at_end(overlap_rad)) return std::nullopt;
    const double unit_A = bridge.emf_peak_V / impedance_ohm;
    return SmoothLoad{
        .dc_current_A = current * unit_A,
        .line_current_rms_A = std::sqrt(solver.simple_square(overlap_rad) / pi) * unit_A,
        .overlap_rad = overlap_rad};
  }
  return std::nullopt;
}

double smooth_bridge_voltage_V(const SmoothBridge& bridge) {
  const Units units = units_of(bridge);
  if (!(units.current > 0.0)) return 3.0 * sqrt3 / pi * bridge.emf_peak_V;
  const Solver solver(units.current, units.resistance, units.reactance);
  const std::optional<double> overlap_rad = solver.simple_overlap_rad();
  return bridge.emf_peak_V *
         (overlap_rad ? solver.simple_voltage(*overlap_rad) : solver.solve().bridge_voltage);
}

PhasePoint smooth_bridge_point(const SmoothBridge& bridge, double angle_rad) {
  const Units units = units_of(bridge);
  if (!(bridge.dc_current_A > 0.0)) return {.current_A = 0.0, .drive_V = 0.0};
  const double current = std::max(units.current, 1e-12);
  const Solver solver(current, units.resistance, units.reactance);
  const std::optional<double> overlap_rad = solver.simple_overlap_rad();
  const Sixth sixth = overlap_rad ? Sixth{} : solver.solve();
  // Sixths after this one: a does the opposite of b in the first, then what c does, and so on.
  const double begin_rad = overlap_rad ? solver.simple_begin_rad() : sixth.arcs[0].begin_rad;
  double within_rad = std::fmod(angle_rad - begin_rad, 2.0 * pi);
  if (within_rad < 0.0) within_rad += 2.0 * pi;
  const auto sixths = static_cast<std::size_t>(std::min(5.0, std::floor(within_rad / deg_60)));
  within_rad -= static_cast<double>(sixths) * deg_60;
  const std::size_t line = sixths % 3;
  PhasePoint point{};
  if (overlap_rad) {
    point = solver.simple_point(*overlap_rad, line, within_rad);
  } else {
    const bool second = sixth.count > 1 && begin_rad + within_rad >= sixth.arcs[0].end_rad;
    const BridgeArc& arc = sixth.arcs[second ? 1 : 0];
    point =
        arc_point(arc.line[line], arc, units.resistance / units.reactance, begin_rad + within_rad);
  }
  const double sign = sixths % 2 == 0 ? 1.0 : -1.0;
  return {.current_A = sign * point.current_A * (bridge.dc_current_A / current),
          .drive_V = sign * point.drive_V * bridge.emf_peak_V};
}

BridgeCycle smooth_bridge_cycle(const SmoothBridge& bridge) {
  const SmoothMeans means = smooth_bridge_means(bridge);
  const SmoothPeriod period = smooth_bridge_period(bridge);
  BridgeCycle cycle{};
  cycle.arcs.assign(period.arcs.begin(),
                    period.arcs.begin() + static_cast<std::ptrdiff_t>(period.count));
  cycle.decay = period.decay;
  cycle.mode = means.mode;
  cycle.dc_current_A = bridge.dc_current_A;
  cycle.line_current_rms_A.fill(means.line_current_rms_A);
  const double rms_A = means.line_current_rms_A;
  cycle.electromagnetic_W =
      means.bridge_voltage_V * bridge.dc_current_A + 3.0 * bridge.resistance_ohm * rms_A * rms_A;
  return cycle;
}

SmoothPeriod smooth_bridge_period(const SmoothBridge& bridge) {
  const Units units = units_of(bridge);
  SmoothPeriod period{};
  period.decay = units.resistance / units.reactance;
  if (!(bridge.dc_current_A > 0.0)) {
    period.arcs[0] = {.begin_rad = 0.0, .end_rad = 2.0 * pi, .line = {}};
    period.count = 1;
    return period;
  }
  const double current = std::max(units.current, 1e-12);
  const Sixth sixth = Solver(current, units.resistance, units.reactance).solve();
  const double unit_A = bridge.dc_current_A / current;
  for (std::size_t i = 0; i < sixth.count; ++i) {
    BridgeArc& arc = period.arcs[i];
    arc = sixth.arcs[i];
    for (LineArc& line : arc.line) {
      for (double* part : {&line.cosine_A, &line.sine_A, &line.fading_A, &line.rising_A})
        *part *= unit_A;
      for (double* part : {&line.drive_V.steady, &line.drive_V.cosine, &line.drive_V.sine})
        *part *= bridge.emf_peak_V;
    }
  }
  period.count = 6 * sixth.count;
  complete_period(std::span(period.arcs).first(period.count));
  return period;
}

}  // namespace windwright::physics
