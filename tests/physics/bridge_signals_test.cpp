// SPDX-License-Identifier: Apache-2.0
#include "physics/bridge_signals.h"

#include "bench_generator.h"
#include "physics/bridge_waveform.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <limits>
#include <numbers>
#include <span>
#include <vector>

namespace windwright::physics {
namespace {

constexpr double pi = std::numbers::pi;
constexpr double infinity = std::numeric_limits<double>::infinity();

using Signals = std::vector<std::vector<double>>;  // taps x samples

Signals filled(BridgeSignals& signals, std::size_t taps, const std::vector<double>& angles_rad) {
  Signals out(taps, std::vector<double>(angles_rad.size()));
  const std::vector<std::span<double>> spans(out.begin(), out.end());
  signals.fill(angles_rad, spans);
  return out;
}

std::vector<double> angles(double first_rad, double step_rad, std::size_t count) {
  std::vector<double> all;
  for (std::size_t i = 0; i < count; ++i)
    all.push_back(first_rad + step_rad * static_cast<double>(i));
  return all;
}

// Currents of every mode of a smooth current on the demo's machine at 120 rad/s, the last one its
// short circuit.
constexpr std::array currents_A{0.0, 0.5, 4.0, 9.0, 13.0, 16.0, 19.0};

TEST(BridgeSignals, WithoutLagAreTheWaveforms) {
  const Generator generator = bench_generator();
  BridgeSignals signals({{.quantity = BridgeQuantity::phase_voltage, .phase = 0},
                         {.quantity = BridgeQuantity::phase_voltage, .phase = 1},
                         {.quantity = BridgeQuantity::line_current, .phase = 2},
                         {.quantity = BridgeQuantity::line_voltage, .phase = 0},
                         {.quantity = BridgeQuantity::line_voltage, .phase = 2}});
  const std::vector<double> at_rad = angles(-7.0, 0.377, 200);
  for (const double current_A : currents_A) {
    signals.renew(generator, {.rotor_speed_rad_s = 120.0, .dc_current_A = current_A});
    const Signals out = filled(signals, 5, at_rad);
    const auto waveform = BridgeWaveform::on_current(generator, 120.0, current_A);
    for (std::size_t i = 0; i < at_rad.size(); ++i) {
      const PhaseSample a = waveform.sample(0, at_rad[i]);
      const PhaseSample b = waveform.sample(1, at_rad[i]);
      const PhaseSample c = waveform.sample(2, at_rad[i]);
      ASSERT_NEAR(out[0][i], a.voltage_V, 1e-9) << current_A;
      ASSERT_NEAR(out[1][i], b.voltage_V, 1e-9) << current_A;
      ASSERT_NEAR(out[2][i], c.current_A, 1e-9) << current_A;
      ASSERT_NEAR(out[3][i], a.voltage_V - b.voltage_V, 1e-9) << current_A;
      ASSERT_NEAR(out[4][i], c.voltage_V - a.voltage_V, 1e-9) << current_A;
    }
  }
}

// A first-order lag passes a sinusoid with the gain 1 / (1 + j f / f_0). Any textbook of control;
// from memory.
TEST(BridgeSignals, ALagTurnsAndShrinksTheOpenCircuitsSinusoid) {
  const Generator generator = bench_generator();
  const double electrical_Hz = 6.0 * 120.0 / (2.0 * pi);
  for (const double bandwidth_Hz : {20.0, electrical_Hz, 400.0, 20000.0}) {
    BridgeSignals signals(
        {{.quantity = BridgeQuantity::phase_voltage, .bandwidth_Hz = bandwidth_Hz}});
    signals.renew(generator, {.rotor_speed_rad_s = 120.0, .dc_current_A = 0.0});
    const std::vector<double> at_rad = angles(0.0, 0.31, 50);
    const Signals out = filled(signals, 1, at_rad);
    const double ratio = electrical_Hz / bandwidth_Hz;
    const double emf_V = 0.0165 * 6.0 * 120.0;
    for (std::size_t i = 0; i < at_rad.size(); ++i) {
      EXPECT_NEAR(out[0][i],
                  emf_V / std::hypot(1.0, ratio) * std::sin(at_rad[i] - std::atan(ratio)),
                  1e-10 * emf_V);
    }
  }
}

// One period of a waveform, finely, through a lag stepped until it repeats: exact for an input that
// is linear between its points.
std::vector<double> stepped(const std::vector<double>& period, double rate) {
  const double q = rate * 2.0 * pi / static_cast<double>(period.size());
  const double keep = std::exp(-q);
  const double mean = -std::expm1(-q) / q;
  std::vector<double> out(period.size());
  double now = 0.0;
  const int turns = 2 + static_cast<int>(30.0 / (2.0 * pi * rate));
  for (int turn = 0; turn < turns; ++turn) {
    for (std::size_t i = 0; i < period.size(); ++i) {
      const double before = period[i == 0 ? period.size() - 1 : i - 1];
      now = keep * now + (mean - keep) * before + (1.0 - mean) * period[i];
      out[i] = now;
    }
  }
  return out;
}

double largest(const std::vector<double>& values) {
  double most = 0.0;
  for (const double value : values)
    most = std::max(most, std::abs(value));
  return most;
}

TEST(BridgeSignals, AreWhatALagMakesOfTheFinelySteppedWaveform) {
  const Generator generator = bench_generator();
  constexpr std::size_t fine = 60000;
  const std::vector<double> at_rad = angles(0.0, 2.0 * pi / fine, fine);
  for (const double bandwidth_Hz : {30.0, 400.0, 20000.0}) {
    const std::vector<BridgeTap> bare{{.quantity = BridgeQuantity::phase_voltage, .phase = 1},
                                      {.quantity = BridgeQuantity::line_current, .phase = 0},
                                      {.quantity = BridgeQuantity::line_voltage, .phase = 1}};
    std::vector<BridgeTap> slow = bare;
    for (BridgeTap& tap : slow)
      tap.bandwidth_Hz = bandwidth_Hz;
    BridgeSignals quick(bare);
    BridgeSignals lagging(slow);
    for (const double current_A : currents_A) {
      const BridgeOperation at{.rotor_speed_rad_s = 120.0, .dc_current_A = current_A};
      quick.renew(generator, at);
      lagging.renew(generator, at);
      const Signals input = filled(quick, 3, at_rad);
      const Signals output = filled(lagging, 3, at_rad);
      for (std::size_t t = 0; t < 3; ++t) {
        const std::vector<double> expected = stepped(input[t], 2.0 * pi * bandwidth_Hz / 720.0);
        // The steps smear a jump of the waveform over one of them.
        const double q = 2.0 * pi * bandwidth_Hz / 720.0 * (2.0 * pi / fine);
        const double tolerance = (0.6 * q + 1e-6) * largest(input[t]) + 1e-12;
        for (std::size_t i = 0; i < fine; i += 13) {
          ASSERT_NEAR(output[t][i], expected[i], tolerance)
              << t << " " << current_A << " " << bandwidth_Hz;
        }
      }
    }
  }
}

// Closed forms of any power-electronics text (Mohan, Undeland, Robbins, Power Electronics, ch. 5):
// mean 3 / pi and rms sqrt(1/2 + 3 sqrt3 / (4 pi)) of the peak, ripple over mean 0.04196661381.
TEST(BridgeSignals, RippleOfAnUnloadedBridgeIsThatOfSixPulses) {
  Generator generator = bench_generator();
  generator.diode_drop_V = 0.0;
  BridgeSignals signals({{.quantity = BridgeQuantity::dc_ripple}});
  signals.renew(generator, {.rotor_speed_rad_s = 120.0, .dc_current_A = 1e-6, .smoothing_s = 0.0});
  const Signals out = filled(signals, 1, angles(0.0, 2.0 * pi / 6000, 6000));
  double mean = 0.0;
  double square = 0.0;
  for (const double value : out[0]) {
    mean += value / 6000;
    square += value * value / 6000;
  }
  const double form = std::sqrt(0.5 + 0.75 * std::numbers::sqrt3 / pi) / (3.0 / pi);
  EXPECT_NEAR(mean, 1.0, 1e-6);
  EXPECT_NEAR(std::sqrt(square), form, 1e-5);
  EXPECT_NEAR(std::sqrt(square - mean * mean), 0.04196661381, 1e-5);
}

TEST(BridgeSignals, RippleIsSmoothedByTheChokeAndKeepsItsMean) {
  const Generator generator = bench_generator();
  constexpr std::size_t fine = 60000;
  const std::vector<double> at_rad = angles(0.0, 2.0 * pi / fine, fine);
  BridgeSignals signals({{.quantity = BridgeQuantity::dc_ripple}});
  for (const double current_A : {0.5, 4.0, 9.0, 13.0}) {
    BridgeOperation at{.rotor_speed_rad_s = 120.0, .dc_current_A = current_A, .smoothing_s = 0.0};
    signals.renew(generator, at);
    const std::vector<double> bare = filled(signals, 1, at_rad)[0];
    at.smoothing_s = 5e-4;
    signals.renew(generator, at);
    const std::vector<double> smooth = filled(signals, 1, at_rad)[0];
    const std::vector<double> expected = stepped(bare, 1.0 / (5e-4 * 720.0));
    double mean = 0.0;
    for (std::size_t i = 0; i < fine; ++i) {
      mean += bare[i] / fine;
      ASSERT_NEAR(smooth[i], expected[i], 0.6 * (2.0 * pi / fine) / (5e-4 * 720.0));
    }
    EXPECT_NEAR(mean, 1.0, 1e-4) << current_A << ": mean voltage is generator_load's";
    at.smoothing_s = infinity;
    signals.renew(generator, at);
    EXPECT_EQ(filled(signals, 1, {0.4})[0][0], 1.0);
  }
}

// With as many diodes as it likes: the higher terminal less the lower one, two thresholds below.
TEST(BridgeSignals, DirectVoltageLiesBetweenTheConductingTerminals) {
  const Generator generator = bench_generator();
  BridgeSignals signals({{.quantity = BridgeQuantity::dc_ripple},
                         {.quantity = BridgeQuantity::phase_voltage, .phase = 0},
                         {.quantity = BridgeQuantity::phase_voltage, .phase = 1},
                         {.quantity = BridgeQuantity::phase_voltage, .phase = 2}});
  const double mean_V = generator_at_current(generator, 120.0, 4.0).dc_voltage_V;
  signals.renew(generator, {.rotor_speed_rad_s = 120.0, .dc_current_A = 4.0, .smoothing_s = 0.0});
  const Signals out = filled(signals, 4, angles(0.0, 0.0173, 400));
  for (std::size_t i = 0; i < 400; ++i) {
    const double high_V = std::max({out[1][i], out[2][i], out[3][i]});
    const double low_V = std::min({out[1][i], out[2][i], out[3][i]});
    // The diodes' slope shares its part with the current: 0.03 ohm, 4 A, two diodes at most.
    EXPECT_NEAR(out[0][i] * mean_V, high_V - low_V - 1.5, 2.0 * 0.03 * 4.0 + 1e-9);
  }
}

}  // namespace
}  // namespace windwright::physics
