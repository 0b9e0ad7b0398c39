// SPDX-License-Identifier: Apache-2.0
#include "physics/generator.h"

#include "base/errors.h"
#include "base/text.h"

#include <boost/math/quadrature/gauss.hpp>
#include <boost/math/tools/toms748_solve.hpp>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <numbers>
#include <optional>

namespace windwright::physics {
namespace {

constexpr double pi = std::numbers::pi;
constexpr double sqrt3 = std::numbers::sqrt3;
constexpr double deg_30 = pi / 6.0;
constexpr double deg_60 = pi / 3.0;
constexpr double deg_90 = pi / 2.0;
constexpr double deg_120 = 2.0 * pi / 3.0;
constexpr double deg_150 = 5.0 * pi / 6.0;

/// State of the bridge at a relative current x = Id / (sqrt3 E / (2 omega_e L)), the peak of the
/// short-circuit current between two phases; x in [0, 2/sqrt3].
struct Commutation {
  double delay_rad;      // of the start of conduction against the natural commutation point
  double overlap_rad;    // u
  double voltage_ratio;  // mean DC voltage over that without current; smooth, falling, concave in x
};

constexpr double highest_relative_current = 2.0 / sqrt3;

Commutation commutation(double x) {
  if (x <= 0.5) {  // x = 1 - cos u
    return {.delay_rad = 0.0,
            .overlap_rad = 2.0 * std::asin(std::sqrt(0.5 * x)),
            .voltage_ratio = 1.0 - 0.5 * x};
  }
  if (x <= 0.5 * sqrt3) {  // x = cos a - cos(a + 60 deg) = sin(a + 30 deg)
    return {.delay_rad = std::asin(x) - deg_30,
            .overlap_rad = deg_60,
            .voltage_ratio = 0.5 * sqrt3 * std::sqrt((1.0 - x) * (1.0 + x))};
  }
  // sqrt3 x = 1 - cos(u + 60 deg)
  return {.delay_rad = deg_30,
          .overlap_rad = std::acos(std::max(-1.0, 1.0 - sqrt3 * x)) - deg_60,
          .voltage_ratio = std::max(0.0, sqrt3 - 1.5 * x)};
}

/// A stretch of the line current over half a period: di/dtheta = slope sin(theta + phase), theta
/// counted from the natural commutation point of the phase, current in units of Id.
struct Stretch {
  double begin_rad;
  double end_rad;
  double amplitude;  // of omega_e L di/dtheta over E: 0 steady, sqrt3/2 two phases, 1 all shorted
  double phase_rad;
  double begin_current;
};

/// Half a period of the line current; the other half is its negative.
struct HalfWave {
  std::array<Stretch, 6> stretches;
  std::size_t count;
  double slope;  // of current in units of Id for amplitude 1: E / (omega_e L Id)
};

double stretch_current(const Stretch& stretch, double slope, double theta_rad) {
  if (stretch.amplitude == 0.0) return stretch.begin_current;
  // The difference of cosines as a product, which keeps its digits for a short overlap.
  return stretch.begin_current +
         stretch.amplitude * slope * 2.0 *
             std::sin(0.5 * (theta_rad + stretch.begin_rad) + stretch.phase_rad) *
             std::sin(0.5 * (theta_rad - stretch.begin_rad));
}

HalfWave half_wave(double x) {
  const Commutation state = commutation(x);
  const double a = state.delay_rad;
  const double u = state.overlap_rad;
  const double slope = x > 0.0 ? 2.0 / (sqrt3 * x) : 0.0;
  if (u <= deg_60) {
    return {.stretches = {{{a, a + u, 0.5 * sqrt3, 0.0, 0.0},
                           {a + u, a + deg_120, 0.0, 0.0, 1.0},
                           {a + deg_120, a + deg_120 + u, 0.5 * sqrt3, deg_60, 1.0},
                           {a + deg_120 + u, a + pi, 0.0, 0.0, 0.0}}},
            .count = 4,
            .slope = slope};
  }
  // More than 60 degrees: between the commutations of two phases, two overlap and short all three.
  HalfWave wave{.stretches = {{{-deg_30, u - deg_90, 1.0, deg_30, -1.0},
                               {u - deg_90, deg_30, 0.5 * sqrt3, deg_60, 0.0},
                               {deg_30, u - deg_30, 1.0, deg_30, 0.0},
                               {u - deg_30, deg_90, 0.5 * sqrt3, 0.0, 0.0},
                               {deg_90, u + deg_30, 1.0, deg_30, 0.0},
                               {u + deg_30, deg_150, 0.0, 0.0, 1.0}}},
                .count = 6,
                .slope = slope};
  for (std::size_t i = 1; i + 1 < wave.count; ++i) {
    const Stretch& before = wave.stretches[i - 1];
    wave.stretches[i].begin_current = stretch_current(before, slope, before.end_rad);
  }
  return wave;
}

/// Integral of f (1 - f) over the overlap, f the rising current over Id up to 60 degrees of
/// overlap: (cos a - cos(a + theta)) / (cos a - cos(a + u)).
double overlap_integral_rad(const Commutation& state) {
  const double a = state.delay_rad;
  const double u = state.overlap_rad;
  if (u < 0.1) {  // no delay yet, and the closed form would lose digits
    return u * (2.0 / 15.0 + u * u * (1.0 / 630.0 - u * u / 12600.0));
  }
  const double whole = std::cos(a) - std::cos(a + u);
  const double sines = std::sin(a + u) - std::sin(a);
  const double first = u * std::cos(a) - sines;
  const double second = std::cos(a) * (u * std::cos(a) - 2.0 * sines) + 0.5 * u +
                        0.25 * (std::sin(2.0 * (a + u)) - std::sin(2.0 * a));
  return (first - second / whole) / whole;
}

/// Mean square of the line current over Id^2: 2/3 without overlap, 1/2 at the short circuit.
double mean_square_ratio(double x) {
  const Commutation state = commutation(x);
  if (x <= 0.5 * sqrt3) return 2.0 / 3.0 - 2.0 / pi * overlap_integral_rad(state);
  // Five different stretches of rise: by quadrature, exact to rounding over so short arcs. Only a
  // bridge that is nearly short-circuited gets here.
  const HalfWave wave = half_wave(x);
  double sum = 0.0;
  for (std::size_t i = 0; i < wave.count; ++i) {
    const Stretch& stretch = wave.stretches[i];
    if (!(stretch.end_rad > stretch.begin_rad)) continue;
    sum += boost::math::quadrature::gauss<double, 7>::integrate(
        [&](double theta) {
          const double current = stretch_current(stretch, wave.slope, theta);
          return current * current;
        },
        stretch.begin_rad, stretch.end_rad);
  }
  return sum / pi;
}

struct Source {
  double electrical_rad_s;        // magnitude
  double emf_peak_V;              // phase
  double no_load_V;               // mean DC voltage without current and losses
  double relative_current_scale;  // x per ampere of direct current; independent of speed
};

Source source_at(const Generator& generator, double rotor_speed_rad_s) {
  const double electrical_rad_s = generator.pole_pairs * std::abs(rotor_speed_rad_s);
  const double emf_peak_V = generator.flux_linkage_V_s * electrical_rad_s;
  return {.electrical_rad_s = electrical_rad_s,
          .emf_peak_V = emf_peak_V,
          .no_load_V = 3.0 * sqrt3 * emf_peak_V / pi,
          .relative_current_scale =
              2.0 * generator.winding_inductance_H / (sqrt3 * generator.flux_linkage_V_s)};
}

/// DC voltage that the machine delivers at a direct current.
double terminal_voltage_V(const Generator& generator, const Source& source, double current_A) {
  const double x = std::min(highest_relative_current, source.relative_current_scale * current_A);
  return source.no_load_V * commutation(x).voltage_ratio -
         3.0 * generator.winding_resistance_ohm * mean_square_ratio(x) * current_A -
         2.0 * (generator.diode_drop_V + generator.diode_resistance_ohm * current_A);
}

double direct_current_A(const Generator& generator, const Source& source,
                        double load_resistance_ohm) {
  const double driving_V = source.no_load_V - 2.0 * generator.diode_drop_V;
  if (!(driving_V > 0.0) || std::isinf(load_resistance_ohm)) return 0.0;
  // The voltage ratio lies between 1 - (sqrt3/2) x and 1 - x/2, the mean square between 1/2 and
  // 2/3: with the bounds in their place the equation is linear, and its roots bracket ours.
  const double linear_ohm = load_resistance_ohm + 2.0 * generator.diode_resistance_ohm;
  const double reactive_ohm = source.no_load_V * source.relative_current_scale;
  const double lowest_A = driving_V / (linear_ohm + 2.0 * generator.winding_resistance_ohm +
                                       0.5 * sqrt3 * reactive_ohm);
  const double highest_A =
      driving_V / (linear_ohm + 1.5 * generator.winding_resistance_ohm + 0.5 * reactive_ohm);
  const auto excess_V = [&](double current_A) {
    return terminal_voltage_V(generator, source, current_A) - load_resistance_ohm * current_A;
  };
  const double at_lowest_V = excess_V(lowest_A);
  const double at_highest_V = excess_V(highest_A);
  if (at_lowest_V <= 0.0) return lowest_A;  // by rounding only
  if (at_highest_V >= 0.0) return highest_A;
  std::uintmax_t steps = 60;
  const auto [below, above] =
      boost::math::tools::toms748_solve(excess_V, lowest_A, highest_A, at_lowest_V, at_highest_V,
                                        boost::math::tools::eps_tolerance<double>(50), steps);
  return 0.5 * (below + above);
}

double iron_loss_W(const Generator& generator, double electrical_rad_s) {
  return electrical_rad_s *
         (generator.iron_hysteresis_J + generator.iron_eddy_J_s * electrical_rad_s);
}

double bearing_loss_W(const Generator& generator, double rotor_speed_rad_s) {
  const double speed_rad_s = std::abs(rotor_speed_rad_s);
  return speed_rad_s *
         (generator.bearing_torque_N_m + generator.bearing_viscous_N_m_s * speed_rad_s);
}

}  // namespace

GeneratorLoad generator_load(const Generator& generator, double rotor_speed_rad_s,
                             double load_resistance_ohm) {
  if (!(load_resistance_ohm > 0.0)) {
    throw base::BadInput("load resistance", base::number_text(load_resistance_ohm) + " ohm",
                         "a resistance above 0");
  }
  const Source source = source_at(generator, rotor_speed_rad_s);
  const double current_A = direct_current_A(generator, source, load_resistance_ohm);
  GeneratorLoad load{};
  load.electrical_rad_s = generator.pole_pairs * rotor_speed_rad_s;
  load.phase_emf_peak_V = source.emf_peak_V;
  if (current_A > 0.0) {
    const double x = std::min(highest_relative_current, source.relative_current_scale * current_A);
    const double mean_square = mean_square_ratio(x) * current_A * current_A;
    load.dc_voltage_V = load_resistance_ohm * current_A;
    load.dc_current_A = current_A;
    load.overlap_rad = commutation(x).overlap_rad;
    load.line_current_rms_A = std::sqrt(mean_square);
    load.winding_loss_W = 3.0 * generator.winding_resistance_ohm * mean_square;
  } else if (std::isinf(load_resistance_ohm)) {
    load.dc_voltage_V = std::max(0.0, source.no_load_V - 2.0 * generator.diode_drop_V);
  }
  load.dc_power_W = load.dc_voltage_V * load.dc_current_A;
  load.rectifier_loss_W =
      2.0 * current_A * (generator.diode_drop_V + generator.diode_resistance_ohm * current_A);
  load.ac_power_W = load.dc_power_W + load.rectifier_loss_W;
  load.electromagnetic_power_W = load.ac_power_W + load.winding_loss_W;
  load.iron_loss_W = iron_loss_W(generator, source.electrical_rad_s);
  load.bearing_loss_W = bearing_loss_W(generator, rotor_speed_rad_s);
  if (rotor_speed_rad_s != 0.0) {
    load.shaft_torque_N_m =
        (load.electromagnetic_power_W + load.iron_loss_W + load.bearing_loss_W) / rotor_speed_rad_s;
  }
  return load;
}

std::optional<double> balancing_resistance_ohm(const Generator& generator, double rotor_speed_rad_s,
                                               double shaft_torque_N_m) {
  const Source source = source_at(generator, rotor_speed_rad_s);
  const double power_W = shaft_torque_N_m * rotor_speed_rad_s -
                         iron_loss_W(generator, source.electrical_rad_s) -
                         bearing_loss_W(generator, rotor_speed_rad_s);
  if (rotor_speed_rad_s == 0.0 || !(power_W >= 0.0)) return std::nullopt;
  if (power_W == 0.0) return std::numeric_limits<double>::infinity();
  // Commutation costs no power, so the electromagnetic power is no_load_V times Id times the
  // voltage ratio, which has closed inverses up to its maximum at x = 1/sqrt2.
  const double ideal_A = power_W / source.no_load_V;
  const double y = source.relative_current_scale * ideal_A;
  double current_A = 0.0;
  if (y <= 0.375) {  // y = x (1 - x/2)
    current_A = ideal_A * 2.0 / (1.0 + std::sqrt(1.0 - 2.0 * y));
  } else if (y <= 0.25 * sqrt3) {  // y = (sqrt3/2) x sqrt(1 - x^2)
    current_A = std::sin(0.5 * std::asin(4.0 * y / sqrt3)) / source.relative_current_scale;
  } else {
    return std::nullopt;
  }
  const double voltage_V = terminal_voltage_V(generator, source, current_A);
  if (!(voltage_V > 0.0)) return std::nullopt;
  return voltage_V / current_A;
}

double breakaway_torque_N_m(const Generator& generator) {
  return generator.cogging_torque_N_m + generator.bearing_torque_N_m +
         generator.pole_pairs * generator.iron_hysteresis_J;
}

PhaseSample phase_sample(const Generator& generator, const GeneratorLoad& load,
                         double rotor_speed_rad_s, double electrical_angle_rad) {
  const Source source = source_at(generator, rotor_speed_rad_s);
  const double angle_rad =
      std::signbit(rotor_speed_rad_s) ? -electrical_angle_rad : electrical_angle_rad;
  const double emf_V = source.emf_peak_V * std::sin(angle_rad);
  if (!(load.dc_current_A > 0.0)) return {.voltage_V = emf_V, .current_A = 0.0};
  const double x =
      std::min(highest_relative_current, source.relative_current_scale * load.dc_current_A);
  const HalfWave wave = half_wave(x);
  const double start_rad = wave.stretches[0].begin_rad;
  double theta_rad = std::fmod(angle_rad - deg_30 - start_rad, 2.0 * pi);
  if (theta_rad < 0.0) theta_rad += 2.0 * pi;
  const double sign = theta_rad >= pi ? -1.0 : 1.0;
  theta_rad += start_rad - (theta_rad >= pi ? pi : 0.0);
  std::size_t i = 0;
  while (i + 1 < wave.count && theta_rad >= wave.stretches[i].end_rad)
    ++i;
  const Stretch& stretch = wave.stretches[i];
  const double current_A =
      sign * load.dc_current_A * stretch_current(stretch, wave.slope, theta_rad);
  const double inductive_V =
      sign * source.emf_peak_V * stretch.amplitude * std::sin(theta_rad + stretch.phase_rad);
  return {.voltage_V = emf_V - generator.winding_resistance_ohm * current_A - inductive_V,
          .current_A = current_A};
}

}  // namespace windwright::physics
