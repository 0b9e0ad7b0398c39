// SPDX-License-Identifier: Apache-2.0
// The model's commutation is a closed solution of the circuit; here the same circuit is integrated
// step by step.
#include "bench_generator.h"
#include "physics/generator.h"

#include <gtest/gtest.h>

#include <cmath>
#include <numbers>
#include <string>

namespace windwright::physics {
namespace {

constexpr double pi = std::numbers::pi;
constexpr double sqrt3 = std::numbers::sqrt3;

struct Circuit {
  double dc_voltage_V;
  double line_current_rms_A;
  double overlap_rad;
};

/// Mean DC voltage of EMF, resistance, inductance and diodes at a smooth current, overlap up to 60
/// degrees: 2 L di/dt = e_a - e_c + (R + R_diode) (Id - 2 i) from where the diode of phase a
/// becomes forward biased, e_a = e_c - (R + R_diode) Id, until i = Id; Runge-Kutta of fourth order.
Circuit circuit(const Generator& generator, double speed_rad_s, double current_A) {
  const double electrical_rad_s = generator.pole_pairs * speed_rad_s;
  const double emf_V = generator.flux_linkage_V_s * electrical_rad_s;
  const double series_ohm = generator.winding_resistance_ohm + generator.diode_resistance_ohm;
  const double reactance_ohm = electrical_rad_s * generator.winding_inductance_H;
  const auto slope_A = [&](double theta, double rising_A) {
    return (sqrt3 * emf_V * std::sin(theta) + series_ohm * (current_A - 2.0 * rising_A)) /
           (2.0 * reactance_ohm);
  };
  const auto emf_at_V = [&](double theta) { return emf_V * std::sin(theta + pi / 6.0); };
  const double start_rad = -std::asin(series_ohm * current_A / (sqrt3 * emf_V));
  constexpr double step_rad = 1e-5;
  double theta_rad = start_rad;
  double rising_A = 0.0;
  double power_integral = 0.0;  // over half a period, as all integrals here
  double square_integral = 0.0;
  while (rising_A < current_A) {
    const double k1 = slope_A(theta_rad, rising_A);
    const double k2 = slope_A(theta_rad + step_rad / 2, rising_A + step_rad / 2 * k1);
    const double k3 = slope_A(theta_rad + step_rad / 2, rising_A + step_rad / 2 * k2);
    const double k4 = slope_A(theta_rad + step_rad, rising_A + step_rad * k3);
    const double next_A = rising_A + step_rad / 6 * (k1 + 2 * k2 + 2 * k3 + k4);
    const double middle_A = 0.5 * (rising_A + next_A);
    const double middle_rad = theta_rad + 0.5 * step_rad;
    const double falling_A = current_A - middle_A;
    power_integral += step_rad * (emf_at_V(middle_rad) * middle_A +
                                  emf_at_V(middle_rad + 2.0 * pi / 3.0) * falling_A);
    square_integral += step_rad * (middle_A * middle_A + falling_A * falling_A);
    theta_rad += step_rad;
    rising_A = next_A;
  }
  const double flat_end_rad = start_rad + 2.0 * pi / 3.0;
  power_integral +=
      current_A * emf_V * (std::cos(theta_rad + pi / 6.0) - std::cos(flat_end_rad + pi / 6.0));
  square_integral += current_A * current_A * (flat_end_rad - theta_rad);
  const double mean_square = square_integral / pi;
  return {.dc_voltage_V = (3.0 * power_integral / pi - 3.0 * series_ohm * mean_square) / current_A -
                          2.0 * generator.diode_drop_V,
          .line_current_rms_A = std::sqrt(mean_square),
          .overlap_rad = theta_rad - start_rad};
}

TEST(GeneratorCircuit, AgreesWithTheModelWithAndWithoutResistance) {
  for (const double part : {0.0, 0.1, 1.0}) {
    Generator generator = bench_generator();
    generator.winding_resistance_ohm *= part;
    generator.diode_resistance_ohm *= part;
    for (const double resistance_ohm : {3.0, 5.0, 10.0, 60.0}) {
      for (const double speed_rad_s : {60.0, 120.0, 250.0}) {
        const GeneratorLoad load = generator_load(generator, speed_rad_s, resistance_ohm);
        const Circuit exact = circuit(generator, speed_rad_s, load.dc_current_A);
        const std::string at = std::to_string(resistance_ohm) + " ohm, " +
                               std::to_string(speed_rad_s) + " rad/s, part " + std::to_string(part);
        ASSERT_LT(exact.overlap_rad, pi / 3.0) << at;
        EXPECT_NEAR(exact.dc_voltage_V / load.dc_voltage_V, 1.0, 1e-5) << at;
        EXPECT_NEAR(exact.line_current_rms_A / load.line_current_rms_A, 1.0, 1e-5) << at;
        EXPECT_NEAR(exact.overlap_rad, load.overlap_rad, 2e-5) << at;
      }
    }
  }
}

}  // namespace
}  // namespace windwright::physics
