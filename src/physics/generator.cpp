// SPDX-License-Identifier: Apache-2.0
#include "physics/generator.h"

#include "base/errors.h"
#include "base/text.h"
#include "physics/bridge_cycle.h"
#include "physics/bridge_table.h"

#include <boost/math/tools/minima.hpp>
#include <boost/math/tools/toms748_solve.hpp>

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <limits>
#include <numbers>
#include <optional>

namespace windwright::physics {
namespace {

constexpr double pi = std::numbers::pi;
constexpr double sqrt3 = std::numbers::sqrt3;
constexpr double highest_number = std::numeric_limits<double>::max();

/// The machine at one speed, as the bridge sees it.
struct Source {
  double electrical_rad_s;  // magnitude
  double emf_peak_V;        // phase
  double no_load_V;         // mean DC voltage without current and losses
  double resistance_ohm;    // one phase with its diode
  double reactance_ohm;

  double short_circuit_A() const {
    return emf_peak_V / std::sqrt(resistance_ohm * resistance_ohm + reactance_ohm * reactance_ohm);
  }
  SmoothBridge smooth(double current_A) const {
    return {.emf_peak_V = emf_peak_V,
            .resistance_ohm = resistance_ohm,
            .reactance_ohm = reactance_ohm,
            .dc_current_A = current_A > 0.0 ? std::min(current_A, short_circuit_A()) : current_A};
  }
};

Source source_at(const Generator& generator, double rotor_speed_rad_s) {
  const double electrical_rad_s = generator.pole_pairs * std::abs(rotor_speed_rad_s);
  const double emf_peak_V = generator.flux_linkage_V_s * electrical_rad_s;
  return {.electrical_rad_s = electrical_rad_s,
          .emf_peak_V = emf_peak_V,
          .no_load_V = 3.0 * sqrt3 * emf_peak_V / pi,
          .resistance_ohm = generator.winding_resistance_ohm + generator.diode_resistance_ohm,
          .reactance_ohm = electrical_rad_s * generator.winding_inductance_H};
}

/// Root between two arguments at which a function has different signs.
template <typename Function>
double root_between(const Function& function, double low, double high, double at_low,
                    double at_high) {
  if (at_low == 0.0) return low;
  if (at_high == 0.0) return high;
  std::uintmax_t steps = 80;
  const auto [below, above] = boost::math::tools::toms748_solve(
      function, low, high, at_low, at_high, boost::math::tools::eps_tolerance<double>(50), steps);
  return 0.5 * (below + above);
}

double direct_current_A(const Generator& generator, const Source& source,
                        double load_resistance_ohm) {
  const double driving_V = source.no_load_V - 2.0 * generator.diode_drop_V;
  if (!(driving_V > 0.0) || std::isinf(load_resistance_ohm)) return 0.0;
  const double limit_A = source.short_circuit_A();
  if (!(limit_A < highest_number)) return driving_V / load_resistance_ohm;
  const auto excess_V = [&](double current_A) {
    return smooth_bridge_voltage_V(source.smooth(current_A)) - 2.0 * generator.diode_drop_V -
           load_resistance_ohm * current_A;
  };
  // Secants from the slope that the lossless commutation has: four steps as a rule. What they do
  // not bring to rest goes to the bracketed search.
  const double slope_ohm =
      load_resistance_ohm + 2.0 * source.resistance_ohm + 3.0 / pi * source.reactance_ohm;
  double last_A = 0.0;
  double at_last_V = driving_V;
  double current_A = driving_V / slope_ohm;
  for (int step = 0; step < 10 && current_A > 0.0 && current_A < limit_A; ++step) {
    const double at_V = excess_V(current_A);
    double fall_ohm = (at_last_V - at_V) / (current_A - last_A);
    if (step == 0 || !(fall_ohm > 0.3 * slope_ohm)) fall_ohm = slope_ohm;
    const double next_A = current_A + at_V / fall_ohm;
    if (std::abs(next_A - current_A) <= 1e-13 * current_A) return next_A;
    // A secant's next error is about the product of its last two: this step is the last.
    if (step > 1 && std::abs(next_A - current_A) <= 1e-8 * current_A) return next_A;
    last_A = current_A;
    at_last_V = at_V;
    current_A = next_A;
  }
  const double at_limit_V = excess_V(limit_A);
  if (at_limit_V >= 0.0) return limit_A;  // by rounding only
  return root_between(excess_V, 0.0, limit_A, driving_V, at_limit_V);
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

/// From the DC side and the currents' squares to the shaft; every sum closes by being formed here.
void close_balance(const Generator& generator, const Source& source, double rotor_speed_rad_s,
                   double square_sum, GeneratorLoad& load) {
  load.electrical_rad_s = generator.pole_pairs * rotor_speed_rad_s;
  load.phase_emf_peak_V = source.emf_peak_V;
  load.winding_loss_W = generator.winding_resistance_ohm * square_sum;
  load.dc_power_W = load.dc_voltage_V * load.dc_current_A;
  load.ac_power_W = load.dc_power_W + load.rectifier_loss_W;
  load.electromagnetic_power_W = load.ac_power_W + load.winding_loss_W;
  load.iron_loss_W = iron_loss_W(generator, source.electrical_rad_s);
  load.bearing_loss_W = bearing_loss_W(generator, rotor_speed_rad_s);
  if (rotor_speed_rad_s != 0.0) {
    load.shaft_torque_N_m =
        (load.electromagnetic_power_W + load.iron_loss_W + load.bearing_loss_W) / rotor_speed_rad_s;
  }
}

/// A smooth current into the DC voltage that is set already.
void carry(const Generator& generator, const Source& source, double rotor_speed_rad_s,
           const SmoothLoad& carried, GeneratorLoad& load) {
  load.dc_current_A = carried.dc_current_A;
  load.overlap_rad = carried.overlap_rad;
  load.line_current_rms_A = carried.line_current_rms_A;
  const double mean_square = carried.line_current_rms_A * carried.line_current_rms_A;
  load.rectifier_loss_W = 2.0 * carried.dc_current_A * generator.diode_drop_V +
                          3.0 * generator.diode_resistance_ohm * mean_square;
  close_balance(generator, source, rotor_speed_rad_s, 3.0 * mean_square, load);
}
void carry_smooth_current(const Generator& generator, const Source& source,
                          double rotor_speed_rad_s, double current_A, GeneratorLoad& load) {
  const SmoothMeans means = smooth_bridge_means(source.smooth(current_A));
  carry(generator, source, rotor_speed_rad_s,
        {.dc_current_A = current_A,
         .line_current_rms_A = means.line_current_rms_A,
         .overlap_rad = means.overlap_rad},
        load);
}

/// EMF power at a smooth direct current.
double electromagnetic_power_W(const Source& source, double current_A) {
  const SmoothMeans means = smooth_bridge_means(source.smooth(current_A));
  return means.bridge_voltage_V * current_A +
         3.0 * source.resistance_ohm * means.line_current_rms_A * means.line_current_rms_A;
}

/// The lowest smooth current that takes up a power. The power rises to a single top, which lies
/// below the short-circuit current where reactance prevails.
std::optional<double> current_of_power_A(const Source& source, double power_W) {
  // No pattern of currents draws more than the no-load voltage times their mean.
  double below_A = power_W / source.no_load_V;
  const double limit_A = source.short_circuit_A();
  if (!(limit_A < highest_number)) return below_A;
  if (below_A > limit_A) return std::nullopt;
  const auto excess_W = [&](double current_A) {
    return electromagnetic_power_W(source, current_A) - power_W;
  };
  double at_below_W = excess_W(below_A);
  if (at_below_W >= 0.0) return below_A;
  const double step_A = 0.05 * below_A;
  for (double part = 1.0; below_A < limit_A; part *= 2.0) {
    double above_A = std::min(limit_A, below_A + part * step_A);
    double at_above_W = excess_W(above_A);
    if (at_above_W < 0.0) {  // perhaps the top lies between
      const auto [top_A, at_top_W] = boost::math::tools::brent_find_minima(
          [&](double current_A) { return -excess_W(current_A); }, below_A, above_A, 30);
      if (-at_top_W >= 0.0) {
        above_A = top_A;
        at_above_W = -at_top_W;
      } else if (top_A < 0.999 * above_A && at_above_W < at_below_W) {
        return std::nullopt;
      }
    }
    if (at_above_W >= 0.0) return root_between(excess_W, below_A, above_A, at_below_W, at_above_W);
    below_A = above_A;
    at_below_W = at_above_W;
  }
  return std::nullopt;
}

void require_resistance(double load_resistance_ohm) {
  if (load_resistance_ohm > 0.0) return;
  throw base::BadInput("load resistance", base::number_text(load_resistance_ohm) + " ohm",
                       "a resistance above 0");
}

VoltageLoad healthy_on_voltage(const Generator& generator, const Source& source,
                               double rotor_speed_rad_s, double dc_voltage_V) {
  VoltageLoad result{};
  GeneratorLoad& load = result.load;
  load.dc_voltage_V = dc_voltage_V;
  double mean_square = 0.0;
  const double line_V = sqrt3 * source.emf_peak_V;
  const double across_V = dc_voltage_V + 2.0 * generator.diode_drop_V;
  if (across_V < line_V) {
    const double impedance_ohm = std::sqrt(source.resistance_ohm * source.resistance_ohm +
                                           source.reactance_ohm * source.reactance_ohm);
    const BridgeMeans means = bridge_means({.voltage = across_V / line_V,
                                            .resistance = source.resistance_ohm / impedance_ohm,
                                            .reactance = source.reactance_ohm / impedance_ohm});
    const double unit_A = source.emf_peak_V / impedance_ohm;
    load.dc_current_A = means.dc_current * unit_A;
    mean_square = means.line_current_square * unit_A * unit_A;
    result.dc_current_slope_S = means.dc_current_slope / (sqrt3 * impedance_ohm);
  }
  load.line_current_rms_A = std::sqrt(mean_square);
  result.line_current_rms_A.fill(load.line_current_rms_A);
  load.rectifier_loss_W = 2.0 * generator.diode_drop_V * load.dc_current_A +
                          3.0 * generator.diode_resistance_ohm * mean_square;
  close_balance(generator, source, rotor_speed_rad_s, 3.0 * mean_square, load);
  return result;
}

VoltageLoad faulty_on_voltage(const Generator& generator, const Source& source,
                              double rotor_speed_rad_s, const BridgeCircuit& circuit) {
  const BridgeCycle cycle = bridge_cycle(circuit);
  VoltageLoad result{};
  GeneratorLoad& load = result.load;
  load.dc_voltage_V = circuit.dc_voltage_V;
  load.dc_current_A = cycle.dc_current_A;
  result.line_current_rms_A = cycle.line_current_rms_A;
  double square_sum = 0.0;
  for (const double rms_A : cycle.line_current_rms_A) {
    load.line_current_rms_A = std::max(load.line_current_rms_A, rms_A);
    square_sum += rms_A * rms_A;
  }
  load.rectifier_loss_W = cycle.threshold_loss_W + generator.diode_resistance_ohm * square_sum;
  close_balance(generator, source, rotor_speed_rad_s, square_sum, load);
  const double step_V = 1e-5 * (circuit.dc_voltage_V + source.emf_peak_V);
  BridgeCircuit lower = circuit;
  BridgeCircuit upper = circuit;
  lower.dc_voltage_V = std::max(0.0, circuit.dc_voltage_V - step_V);
  upper.dc_voltage_V += step_V;
  const double change_A = bridge_cycle(upper).dc_current_A - bridge_cycle(lower).dc_current_A;
  result.dc_current_slope_S = change_A / (upper.dc_voltage_V - lower.dc_voltage_V);
  return result;
}

}  // namespace

void require_generator(const Generator& generator) {
  const auto require = [](bool right, const char* wrong, const char* what) {
    if (!right) throw base::BadInput("generator", wrong, what);
  };
  require(generator.pole_pairs >= 1, "no pole pair", "1 or more");
  require(std::isfinite(generator.flux_linkage_V_s) && generator.flux_linkage_V_s > 0.0,
          "the flux linkage is not above 0", "above 0 V s");
  for (const double figure :
       {generator.winding_resistance_ohm, generator.winding_inductance_H, generator.diode_drop_V,
        generator.diode_resistance_ohm, generator.bearing_torque_N_m,
        generator.bearing_viscous_N_m_s, generator.iron_hysteresis_J, generator.iron_eddy_J_s,
        generator.cogging_torque_N_m}) {
    require(std::isfinite(figure) && figure >= 0.0, "a figure is below 0 or not finite",
            "0 or more");
  }
  require(generator.winding_resistance_ohm > 0.0 || generator.winding_inductance_H > 0.0,
          "neither resistance nor inductance", "one of them above 0");
}

GeneratorLoad generator_load(const Generator& generator, double rotor_speed_rad_s,
                             double load_resistance_ohm) {
  require_resistance(load_resistance_ohm);
  const Source source = source_at(generator, rotor_speed_rad_s);
  GeneratorLoad load{};
  const double threshold_V = 2.0 * generator.diode_drop_V;
  if (source.no_load_V > threshold_V && load_resistance_ohm < highest_number &&
      source.resistance_ohm + source.reactance_ohm > 0.0) {
    if (const auto quick =
            smooth_bridge_load(source.smooth(0.0), load_resistance_ohm, threshold_V)) {
      load.dc_voltage_V = load_resistance_ohm * quick->dc_current_A;
      carry(generator, source, rotor_speed_rad_s, *quick, load);
      return load;
    }
  }
  const double current_A = direct_current_A(generator, source, load_resistance_ohm);
  if (current_A > 0.0) {
    load.dc_voltage_V = load_resistance_ohm * current_A;
    carry_smooth_current(generator, source, rotor_speed_rad_s, current_A, load);
    return load;
  }
  if (std::isinf(load_resistance_ohm)) {
    load.dc_voltage_V = std::max(0.0, source.no_load_V - 2.0 * generator.diode_drop_V);
  }
  close_balance(generator, source, rotor_speed_rad_s, 0.0, load);
  return load;
}

GeneratorLoad generator_at_current(const Generator& generator, double rotor_speed_rad_s,
                                   double dc_current_A) {
  if (!(dc_current_A >= 0.0) || std::isinf(dc_current_A)) {
    throw base::BadInput("direct current", base::number_text(dc_current_A) + " A", "0 A or more");
  }
  const Source source = source_at(generator, rotor_speed_rad_s);
  const SmoothBridge bridge = source.smooth(dc_current_A);
  GeneratorLoad load{};
  load.dc_voltage_V = smooth_bridge_voltage_V(bridge) - 2.0 * generator.diode_drop_V;
  carry_smooth_current(generator, source, rotor_speed_rad_s, bridge.dc_current_A, load);
  return load;
}

VoltageLoad generator_on_voltage(const Generator& generator, double rotor_speed_rad_s,
                                 double dc_voltage_V, BridgeFault fault) {
  if (!(dc_voltage_V >= 0.0) || std::isinf(dc_voltage_V)) {
    throw base::BadInput("DC voltage", base::number_text(dc_voltage_V) + " V", "0 V or more");
  }
  if (!std::isfinite(rotor_speed_rad_s)) {
    throw base::BadInput("rotor speed", base::number_text(rotor_speed_rad_s) + " rad/s",
                         "a finite speed");
  }
  const Source source = source_at(generator, rotor_speed_rad_s);
  if (!(source.resistance_ohm > 0.0) && !(generator.winding_inductance_H > 0.0)) {
    throw base::BadInput("generator", "neither resistance nor inductance",
                         "a winding that limits its current into a held voltage");
  }
  if (fault == BridgeFault::none || !(source.emf_peak_V > 0.0)) {
    return healthy_on_voltage(generator, source, rotor_speed_rad_s, dc_voltage_V);
  }
  return faulty_on_voltage(generator, source, rotor_speed_rad_s,
                           {.emf_peak_V = source.emf_peak_V,
                            .resistance_ohm = source.resistance_ohm,
                            .reactance_ohm = source.reactance_ohm,
                            .dc_voltage_V = dc_voltage_V,
                            .diode_drop_V = generator.diode_drop_V,
                            .fault = fault});
}

VoltageLoad generator_on_capacitor(const Generator& generator, double rotor_speed_rad_s,
                                   double load_resistance_ohm, BridgeFault fault) {
  require_resistance(load_resistance_ohm);
  const double peak_V = sqrt3 * source_at(generator, rotor_speed_rad_s).emf_peak_V;
  const double highest_V = std::max(0.0, peak_V - 2.0 * generator.diode_drop_V);
  if (std::isinf(load_resistance_ohm) || highest_V == 0.0) {
    return generator_on_voltage(generator, rotor_speed_rad_s, highest_V, fault);
  }
  // The current falls with the voltage while the resistance's rises: one crossing.
  const auto excess_A = [&](double voltage_V) {
    return generator_on_voltage(generator, rotor_speed_rad_s, voltage_V, fault).load.dc_current_A -
           voltage_V / load_resistance_ohm;
  };
  const double at_zero_A = excess_A(0.0);
  if (at_zero_A <= 0.0) return generator_on_voltage(generator, rotor_speed_rad_s, 0.0, fault);
  const double voltage_V = root_between(excess_A, 0.0, highest_V, at_zero_A, excess_A(highest_V));
  return generator_on_voltage(generator, rotor_speed_rad_s, voltage_V, fault);
}

Generator with_worn_bearing(Generator generator, double friction_factor) {
  if (!(friction_factor >= 1.0) || std::isinf(friction_factor)) {
    throw base::BadInput("bearing friction factor", base::number_text(friction_factor),
                         "1 (as new) or more");
  }
  generator.bearing_torque_N_m *= friction_factor;
  generator.bearing_viscous_N_m_s *= friction_factor;
  return generator;
}

std::optional<double> balancing_resistance_ohm(const Generator& generator, double rotor_speed_rad_s,
                                               double shaft_torque_N_m) {
  const Source source = source_at(generator, rotor_speed_rad_s);
  const double power_W = shaft_torque_N_m * rotor_speed_rad_s -
                         iron_loss_W(generator, source.electrical_rad_s) -
                         bearing_loss_W(generator, rotor_speed_rad_s);
  if (rotor_speed_rad_s == 0.0 || !(power_W >= 0.0)) return std::nullopt;
  if (power_W == 0.0) return std::numeric_limits<double>::infinity();
  const std::optional<double> current_A = current_of_power_A(source, power_W);
  if (!current_A) return std::nullopt;
  const double voltage_V =
      smooth_bridge_voltage_V(source.smooth(*current_A)) - 2.0 * generator.diode_drop_V;
  if (!(voltage_V > 0.0)) return std::nullopt;
  return voltage_V / *current_A;
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
  const SmoothBridge bridge = source.smooth(std::max(0.0, load.dc_current_A));
  if (!(bridge.dc_current_A > 0.0)) return {.voltage_V = emf_V, .current_A = 0.0};
  const PhasePoint point = smooth_bridge_point(bridge, angle_rad);
  return {.voltage_V = emf_V - point.drive_V + generator.diode_resistance_ohm * point.current_A,
          .current_A = point.current_A};
}

}  // namespace windwright::physics
