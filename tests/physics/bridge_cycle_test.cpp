// SPDX-License-Identifier: Apache-2.0
#include "physics/bridge_cycle.h"

#include "base/errors.h"
#include "physics/bridge_table.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <numbers>
#include <string>

namespace windwright::physics {
namespace {

constexpr double pi = std::numbers::pi;
constexpr double sqrt3 = std::numbers::sqrt3;

/// Unit EMF and impedance. @param lag_rad  of current behind voltage, 0 resistance to pi/2
/// reactance
BridgeCircuit circuit(double voltage, double lag_rad, BridgeFault fault = BridgeFault::none) {
  return {.emf_peak_V = 1.0,
          .resistance_ohm = std::max(0.0, std::cos(lag_rad)),
          .reactance_ohm = std::sin(lag_rad),
          .dc_voltage_V = 0.96 * voltage * sqrt3,
          .diode_drop_V = 0.02 * voltage * sqrt3,
          .fault = fault};
}

/// Terminal voltage of phase k against the star point, diode slope counted with the winding.
double terminal_V(const LineArc& line, std::size_t k, double angle_rad) {
  const double lag_rad = 2.0 * pi / 3.0 * static_cast<double>(k);
  return std::sin(angle_rad - lag_rad) - line.drive_V.steady -
         line.drive_V.cosine * std::cos(angle_rad) - line.drive_V.sine * std::sin(angle_rad);
}

/// What must hold at every instant of a cycle, and the EMFs' power by quadrature over it.
void expect_a_circuit(const BridgeCircuit& in, const std::string& at) {
  const BridgeCycle cycle = bridge_cycle(in);
  double emf_W = 0.0;
  double dc_A = 0.0;
  for (const BridgeArc& arc : cycle.arcs) {
    constexpr int points = 1500;
    const double step_rad = (arc.end_rad - arc.begin_rad) / points;
    for (int i = 0; i < points; ++i) {
      const double angle_rad = arc.begin_rad + (i + 0.5) * step_rad;
      std::array<double, 3> current_A{};
      std::array<double, 3> voltage_V{};
      for (std::size_t k = 0; k < 3; ++k) {
        current_A[k] = arc_current_A(arc.line[k], arc, cycle.decay, angle_rad);
        voltage_V[k] = terminal_V(arc.line[k], k, angle_rad);
        const bool shorted = in.fault == BridgeFault::shorted_diode && k == 0;
        if (!shorted) {
          ASSERT_GT(arc.line[k].rail * current_A[k], -1e-9) << at;
        }
        if (arc.line[k].rail == 0) {
          ASSERT_EQ(current_A[k], 0.0) << at;
        }
        emf_W += current_A[k] * std::sin(angle_rad - 2.0 * pi / 3.0 * static_cast<double>(k)) *
                 step_rad / (2.0 * pi);
        if (arc.line[k].rail > 0) dc_A += current_A[k] * step_rad / (2.0 * pi);
      }
      ASSERT_NEAR(current_A[0] + current_A[1] + current_A[2], 0.0, 1e-9) << at;
      const auto cut = in.fault == BridgeFault::open_phase ? 1U : 0U;
      const auto [low, high] = std::minmax_element(voltage_V.begin() + cut, voltage_V.end());
      ASSERT_LT(*high - *low, in.dc_voltage_V + 2.0 * in.diode_drop_V + 1e-9) << at;
    }
  }
  EXPECT_NEAR(emf_W, cycle.electromagnetic_W, 2e-6 * (cycle.electromagnetic_W + 1e-3)) << at;
  EXPECT_NEAR(dc_A, cycle.dc_current_A, 2e-6 * (cycle.dc_current_A + 1e-3)) << at;
  // The last currents meet the first ones.
  for (std::size_t k = 0; k < 3; ++k) {
    const BridgeArc& first = cycle.arcs.front();
    const BridgeArc& last = cycle.arcs.back();
    EXPECT_NEAR(arc_current_A(first.line[k], first, cycle.decay, first.begin_rad),
                arc_current_A(last.line[k], last, cycle.decay, last.end_rad), 1e-9)
        << at;
  }
}

TEST(BridgeCycle, ObeysTheCircuitInEveryModeAndFault) {
  for (const BridgeFault fault :
       {BridgeFault::none, BridgeFault::open_phase, BridgeFault::shorted_diode}) {
    for (const double voltage : {0.0, 0.02, 0.3, 0.7, 0.86, 0.93, 0.947, 0.96, 0.999, 1.3}) {
      for (const double lag_deg : {0.0, 1.0, 20.0, 45.0, 70.0, 88.0}) {
        expect_a_circuit(circuit(voltage, lag_deg * pi / 180.0, fault),
                         "fault " + std::to_string(static_cast<int>(fault)) + ", u " +
                             std::to_string(voltage) + ", lag " + std::to_string(lag_deg));
      }
    }
  }
}

TEST(BridgeCycle, PassesThroughItsModes) {
  const double lag_rad = 60.0 * pi / 180.0;
  EXPECT_EQ(bridge_cycle(circuit(1.001, lag_rad)).mode, BridgeMode::none);
  EXPECT_EQ(bridge_cycle(circuit(0.97, lag_rad)).mode, BridgeMode::discontinuous);
  EXPECT_EQ(bridge_cycle(circuit(0.8, lag_rad)).mode, BridgeMode::two_three);
  EXPECT_EQ(bridge_cycle(circuit(0.3, lag_rad)).mode, BridgeMode::three);
}

// Pulses of a resistance alone: line EMF less u, each line in four pulses a period, two of each
// sign; elementary integrals.
TEST(BridgeCycle, HasTheClosedFormOfPulsesThroughAResistance) {
  for (const double u : {0.87, 0.9, 0.95, 0.99}) {
    const double start_rad = std::asin(u);
    const double width_rad = pi - 2.0 * start_rad;
    const double area = 2.0 * std::cos(start_rad) - u * width_rad;
    const double square = 0.5 * width_rad + 0.5 * std::sin(2.0 * start_rad) -
                          4.0 * u * std::cos(start_rad) + u * u * width_rad;
    const BridgeCycle cycle = bridge_cycle(circuit(u, 0.0));
    EXPECT_NEAR(cycle.dc_current_A, 3.0 / pi * 0.5 * sqrt3 * area, 1e-8);
    EXPECT_NEAR(cycle.line_current_rms_A[0], std::sqrt(0.75 * square * 2.0 / pi), 1e-8);
  }
}

// While three diodes conduct at every instant, each terminal steps between the rails where its own
// current passes zero. A Fourier series of those six-step voltages (harmonics 6k +- 1, amplitude 2
// V / (pi n); Mohan, Undeland, Robbins, Power Electronics, ch. 8) through the impedance at each
// harmonic is the same current.
TEST(BridgeCycle, IsTheFourierSeriesOfSixStepsWhenThreeDiodesAlwaysConduct) {
  using Complex = std::complex<double>;
  for (const double lag_deg : {30.0, 60.0, 85.0}) {
    for (const double u : {0.05, 0.2, 0.4}) {
      const BridgeCircuit in = circuit(u, lag_deg * pi / 180.0);
      const BridgeCycle cycle = bridge_cycle(in);
      if (cycle.mode != BridgeMode::three) continue;
      const double across_V = u * sqrt3;
      constexpr int harmonics = 200000;
      const auto impedance = [&](int n) {
        return Complex(in.resistance_ohm, n * in.reactance_ohm);
      };
      const auto step_current = [&](int n) { return 2.0 * across_V / (pi * n) / impedance(n); };
      // Current of the EMF at the step's angle less that of the steps at their own zero.
      double at_step = 0.0;
      for (int n = 1; n < harmonics; ++n) {
        if (n % 2 != 0 && n % 3 != 0) at_step += step_current(n).imag();
      }
      // sin(d - lag) = at_step
      const double step_rad = std::asin(at_step) + lag_deg * pi / 180.0;
      double square = 0.0;
      for (int n = 1; n < harmonics; ++n) {
        if (n % 2 == 0 || n % 3 == 0) continue;
        Complex current = -step_current(n) * std::polar(1.0, -n * step_rad);
        if (n == 1) current += 1.0 / impedance(1);
        square += 0.5 * std::norm(current);
      }
      EXPECT_NEAR(cycle.line_current_rms_A[0], std::sqrt(square), 1e-6) << u << " " << lag_deg;
      // EMF power from the fundamental alone.
      const Complex first = 1.0 / impedance(1) - step_current(1) * std::polar(1.0, -step_rad);
      EXPECT_NEAR(cycle.electromagnetic_W, 1.5 * first.real(), 1e-6) << u << " " << lag_deg;
    }
  }
}

TEST(BridgeCycle, OpenPhaseLeavesTheOtherTwoAndAShortedDiodeADirectLineCurrent) {
  const BridgeCycle open = bridge_cycle(circuit(0.5, 0.9, BridgeFault::open_phase));
  EXPECT_EQ(open.line_current_rms_A[0], 0.0);
  EXPECT_NEAR(open.line_current_rms_A[1], open.line_current_rms_A[2], 1e-12);
  EXPECT_LT(open.dc_current_A, bridge_cycle(circuit(0.5, 0.9)).dc_current_A);
  const BridgeCycle shorted = bridge_cycle(circuit(0.5, 0.9, BridgeFault::shorted_diode));
  EXPECT_LT(shorted.line_current_mean_A[0], -0.1);  // the other phases feed into it
  EXPECT_NEAR(shorted.line_current_mean_A[0] + shorted.line_current_mean_A[1] +
                  shorted.line_current_mean_A[2],
              0.0, 1e-9);
  EXPECT_GT(shorted.line_current_rms_A[0],
            1.5 * bridge_cycle(circuit(0.5, 0.9)).line_current_rms_A[0]);
}

TEST(BridgeCycle, RefusesWhatIsNoCircuit) {
  BridgeCircuit in = circuit(0.5, 0.9);
  in.dc_voltage_V = -1.0;
  EXPECT_THROW(bridge_cycle(in), base::BadInput);
  in = circuit(0.5, 0.9);
  in.emf_peak_V = std::nan("");
  EXPECT_THROW(bridge_cycle(in), base::BadInput);
  in = circuit(0.5, 0.9);
  in.resistance_ohm = in.reactance_ohm = 0.0;
  EXPECT_THROW(bridge_cycle(in), base::BadInput);
}

// Points off the nodes of the table, crowded towards u = 1 and towards resistance alone.
TEST(BridgeTable, KeepsToTheExactSolution) {
  double worst_current = 0.0;
  double worst_rms = 0.0;
  double worst_slope = 0.0;
  for (int i = 0; i < 120; ++i) {
    for (int j = 0; j < 60; ++j) {
      const double part = (i + 0.37) / 120.0;
      const double s = j % 2 == 0 ? part : std::pow(10.0, -2.5 * part);
      const double lag_part = (j + 0.61) / 60.0;
      const double lag_rad = 0.5 * pi * (i % 2 == 0 ? lag_part : std::pow(10.0, -4.0 * lag_part));
      const BridgePoint point{
          .voltage = 1.0 - s * s, .resistance = std::cos(lag_rad), .reactance = std::sin(lag_rad)};
      BridgeCircuit in = circuit(point.voltage, lag_rad);
      const BridgeCycle exact = bridge_cycle(in);
      const BridgeMeans means = bridge_means(point);
      worst_current =
          std::max(worst_current, std::abs(means.dc_current / exact.dc_current_A - 1.0));
      worst_rms = std::max(
          worst_rms,
          std::abs(std::sqrt(means.line_current_square) / exact.line_current_rms_A[0] - 1.0));
      const double step = 1e-4 * s * s;
      BridgePoint above = point;
      above.voltage += step;
      in = circuit(above.voltage, lag_rad);
      const double slope = (bridge_cycle(in).dc_current_A - exact.dc_current_A) / step;
      worst_slope = std::max(
          worst_slope, std::abs(means.dc_current_slope - slope) / (std::abs(slope) + 0.05 * s));
      ASSERT_LE(means.dc_current_slope, 0.0);
      ASSERT_LE(bridge_means(above).dc_current, means.dc_current);
    }
  }
  EXPECT_LT(worst_current, 1e-4);
  EXPECT_LT(worst_rms, 1e-4);
  EXPECT_LT(worst_slope, 1e-2);
}

}  // namespace
}  // namespace windwright::physics
