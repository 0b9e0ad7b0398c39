// SPDX-License-Identifier: Apache-2.0
#include "signal/power_terms.h"

#include "base/errors.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <cstddef>
#include <numbers>

namespace windwright::signal {

namespace {

using Complex = std::complex<double>;

// What is left of a square; rounding may take it below 0.
double rest(double whole, double part) {
  return std::sqrt(std::max(0.0, (whole - part) * (whole + part)));
}

double ratio(double part, double whole) {
  return whole > 0.0 ? part / whole : 0.0;
}

struct Sequences {
  double positive;
  double negative;
  Complex positive_phasor;
};
Sequences sequences(const std::array<Complex, 3>& x) {
  const Complex a = std::polar(1.0, 2.0 * std::numbers::pi / 3.0);
  const Complex positive = (x[0] + a * x[1] + a * a * x[2]) / 3.0;
  const Complex negative = (x[0] + a * a * x[1] + a * x[2]) / 3.0;
  return {
      .positive = std::abs(positive), .negative = std::abs(negative), .positive_phasor = positive};
}

}  // namespace

PowerTerms power_terms(const PowerParts& parts) {
  if (!(parts.fundamental_voltage_V > 0.0)) {
    throw base::BadInput("power quantities", "the voltage has no fundamental",
                         "a fundamental to refer to");
  }
  const double harmonic_voltage_V = rest(parts.voltage_rms_V, parts.fundamental_voltage_V);
  const double harmonic_current_A = rest(parts.current_rms_A, parts.fundamental_current_A);
  PowerTerms terms{};
  terms.apparent_power_VA = parts.voltage_rms_V * parts.current_rms_A;
  terms.fundamental_apparent_power_VA = parts.fundamental_voltage_V * parts.fundamental_current_A;
  terms.current_distortion_power_var = parts.fundamental_voltage_V * harmonic_current_A;
  terms.voltage_distortion_power_var = harmonic_voltage_V * parts.fundamental_current_A;
  terms.harmonic_apparent_power_VA = harmonic_voltage_V * harmonic_current_A;
  terms.non_fundamental_apparent_power_VA =
      std::hypot(terms.current_distortion_power_var, terms.voltage_distortion_power_var,
                 terms.harmonic_apparent_power_VA);
  terms.harmonic_active_power_W = parts.active_power_W - parts.fundamental_active_power_W;
  terms.harmonic_distortion_power_var =
      rest(terms.harmonic_apparent_power_VA, terms.harmonic_active_power_W);
  terms.nonactive_power_var = rest(terms.apparent_power_VA, parts.active_power_W);
  terms.voltage_distortion = harmonic_voltage_V / parts.fundamental_voltage_V;
  terms.current_distortion = ratio(harmonic_current_A, parts.fundamental_current_A);
  terms.power_factor = ratio(parts.active_power_W, terms.apparent_power_VA);
  terms.displacement_factor =
      ratio(parts.fundamental_active_power_W, terms.fundamental_apparent_power_VA);
  return terms;
}

ThreePhasePower three_phase_power(const ThreePhases& phases) {
  ThreePhasePower power{};
  double between = 0.0;  // squares of the voltages between two phases
  double currents = 0.0;
  for (std::size_t k = 0; k < 3; ++k) {
    power.active_power_W += std::real(phases.voltage_V[k] * std::conj(phases.current_A[k]));
    between += std::norm(phases.voltage_V[k] - phases.voltage_V[(k + 1) % 3]);
    currents += std::norm(phases.current_A[k]);
  }
  power.effective_voltage_V = std::sqrt(between / 9.0);
  power.effective_current_A = std::sqrt(currents / 3.0);
  power.effective_apparent_power_VA = 3.0 * power.effective_voltage_V * power.effective_current_A;
  power.effective_power_factor = ratio(power.active_power_W, power.effective_apparent_power_VA);
  const Sequences voltage = sequences(phases.voltage_V);
  const Sequences current = sequences(phases.current_A);
  power.positive_voltage_V = voltage.positive;
  power.negative_voltage_V = voltage.negative;
  power.positive_current_A = current.positive;
  power.negative_current_A = current.negative;
  power.positive_active_power_W =
      3.0 * std::real(voltage.positive_phasor * std::conj(current.positive_phasor));
  power.positive_apparent_power_VA = 3.0 * voltage.positive * current.positive;
  return power;
}

}  // namespace windwright::signal
