// SPDX-License-Identifier: Apache-2.0
#include "physics/wave_lag.h"

#include "base/errors.h"

#include <gtest/gtest.h>

#include <cmath>
#include <complex>
#include <cstddef>
#include <limits>
#include <memory>
#include <numbers>
#include <vector>

namespace windwright::physics {
namespace {

constexpr double turn_rad = 2.0 * std::numbers::pi;
constexpr double infinity = std::numeric_limits<double>::infinity();

double at_cell(std::size_t k) {
  return turn_rad * static_cast<double>(k) / wave_cells;
}

// Transfer function of a first-order lag, 1 / (1 + j f / f_b) (any textbook on linear systems).
TEST(WaveLag, TurnsAndShrinksASineAsItsTransferFunctionSays) {
  for (const double bandwidth_Hz : {10.0, 50.0, 400.0, 20e3}) {
    auto table = std::make_unique<WaveTable>();
    for (std::size_t k = 0; k < wave_cells; ++k)
      (*table)[k] = {std::sin(at_cell(k)) + 0.5, std::sin(at_cell(k + 1)) - std::sin(at_cell(k))};
    pass_lag(50.0, bandwidth_Hz, {}, *table);
    const std::complex<double> gain = 1.0 / std::complex<double>(1.0, 50.0 / bandwidth_Hz);
    for (const std::size_t k : {0U, 700U, 2049U, 4095U})
      EXPECT_NEAR((*table)[k].start, 0.5 + std::abs(gain) * std::sin(at_cell(k) + std::arg(gain)),
                  1e-6)
          << bandwidth_Hz << " Hz, cell " << k;
  }
}

// A square wave behind a lag: from edge to edge exponentials that meet after half a period,
// +-tanh(T / 4 tau) at the edges.
TEST(WaveLag, RoundsAnEdgeWithinACellExactly) {
  constexpr double bandwidth_Hz = 300.0;
  constexpr double tau_s = 1.0 / (turn_rad * bandwidth_Hz);
  auto table = std::make_unique<WaveTable>();
  for (std::size_t k = 0; k < wave_cells; ++k)
    (*table)[k] = {k < 1001 || k >= 3049 ? -1.0 : 1.0, 0.0};
  // The edges lie 0.3 of a cell further back: up in cell 1000, down in cell 3048.
  const std::vector<CellStep> steps{{1000, 0.7, {2.0, 0.0}}, {3048, 0.7, {-2.0, 0.0}}};
  pass_lag(50.0, bandwidth_Hz, steps, *table);
  const double peak = std::tanh(0.02 / (4.0 * tau_s));
  for (const std::size_t k : {1001U, 1500U, 3000U}) {
    const double since_s = (static_cast<double>(k) - 1000.7) * 0.02 / wave_cells;
    EXPECT_NEAR((*table)[k].start, 1.0 - (1.0 + peak) * std::exp(-since_s / tau_s), 1e-9) << k;
  }
}

TEST(WaveLag, WithoutALagNothingChanges) {
  auto table = std::make_unique<WaveTable>();
  for (std::size_t k = 0; k < wave_cells; ++k)
    (*table)[k] = {static_cast<double>(k), 1.0};
  pass_lag(50.0, infinity, {}, *table);
  EXPECT_EQ((*table)[77].start, 77.0);
  EXPECT_THROW(pass_lag(50.0, 0.0, {}, *table), base::BadInput);
  EXPECT_THROW(pass_lag(0.0, 10.0, {}, *table), base::BadInput);
}

// The mean square of a lagged wave and its edges, against the harmonics of a quasi-square wave
// (Fourier series, physics/ac_supply.h) through the transfer function.
TEST(WaveLag, LagsAModifiedSineWithItsEdges) {
  auto period = std::make_unique<AcPeriod>();
  const AcSupply supply{.kind = OutputKind::quasi_square,
                        .peak_V = 325.0,
                        .pulse_share = 0.4987,
                        .frequency_Hz = 50.0};
  tabulate({.supply = supply,
            .ripple = {},
            .dc_voltage_V = 0.0,
            .dc_current_A = 0.0,
            .dc_ripple_share = 0.0},
           {}, *period);
  ASSERT_EQ(period->edge_count, 4U);
  constexpr double bandwidth_Hz = 2e3;
  pass_lags(bandwidth_Hz, bandwidth_Hz, *period);
  double expected_V2 = 0.0;
  for (int order = 1; order < 4001; order += 2)
    expected_V2 +=
        std::pow(harmonic_V(supply, order), 2) / (1.0 + std::pow(order * 50.0 / bandwidth_Hz, 2));
  std::vector<double> voltage_V(20000);
  fill(*period, {}, 1e-6, {.voltage_V = voltage_V, .current_A = {}, .dc_current_A = {}});
  double sum_V2 = 0.0;
  for (const double v : voltage_V)
    sum_V2 += v * v;
  EXPECT_NEAR(sum_V2 / 20000.0 / expected_V2, 1.0, 2e-5);
}

TEST(WaveLag, WeakensTheSwitchingRipple) {
  auto period = std::make_unique<AcPeriod>();
  tabulate({.supply = {OutputKind::sine, 325.0, 1.0, 50.0},
            .ripple = {.amplitude_V = 3.0, .modulation = 0.9, .frequency_Hz = 40e3},
            .dc_voltage_V = 0.0,
            .dc_current_A = 0.0,
            .dc_ripple_share = 0.0},
           {}, *period);
  const double before_V = period->ripple_V[300].start;
  pass_lags(40e3, infinity, *period);
  EXPECT_NEAR(period->ripple_V[300].start / before_V, std::sqrt(0.5), 1e-12);
}

}  // namespace
}  // namespace windwright::physics
