// SPDX-License-Identifier: Apache-2.0
#include "physics/bridge_waveform.h"

#include "base/errors.h"
#include "bench_generator.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <string>
#include <vector>

namespace windwright::physics {
namespace {

constexpr double pi = std::numbers::pi;

struct Recorded {
  std::array<std::vector<double>, 3> voltage_V;
  std::array<std::vector<double>, 3> current_A;
};

Recorded recorded(const BridgeWaveform& waveform, double first_rad, double step_rad,
                  std::size_t samples) {
  Recorded out;
  std::array<PhaseSamples, 3> phases;
  for (std::size_t k = 0; k < 3; ++k) {
    out.voltage_V[k].resize(samples);
    out.current_A[k].resize(samples);
    phases[k] = {.voltage_V = out.voltage_V[k], .current_A = out.current_A[k]};
  }
  waveform.fill(first_rad, step_rad, phases);
  return out;
}

// Sampled at 250 kS/s over many periods, as an instrument would: the averaged machine's powers and
// currents within 0.5 %, in every mode and with every fault.
TEST(BridgeWaveform, CarriesTheAveragedPowersAt250KiloSamplesPerSecond) {
  constexpr double step_s = 4e-6;
  constexpr std::size_t samples = 50000;
  for (const BridgeFault fault :
       {BridgeFault::none, BridgeFault::open_phase, BridgeFault::shorted_diode}) {
    for (const double part : {0.0, 0.3, 0.6, 0.8, 0.9, 0.944, 0.97, 0.99}) {
      for (const double inductance_H : {0.0, 0.5e-3, 2e-3}) {
        Generator generator = bench_generator();
        generator.winding_inductance_H = inductance_H;
        // 100 electrical Hz: whole periods in the record
        const double speed_rad_s = 2.0 * pi * 100.0 / 6.0;
        const double line_V = std::numbers::sqrt3 * 6.0 * 0.0165 * speed_rad_s;
        const double voltage_V = std::max(0.0, part * line_V - 1.5);
        const VoltageLoad load = generator_on_voltage(generator, speed_rad_s, voltage_V, fault);
        const auto waveform = BridgeWaveform::on_voltage(generator, speed_rad_s, voltage_V, fault);
        const Recorded out = recorded(waveform, 0.1, 2.0 * pi * 100.0 * step_s, samples);
        double ac_W = 0.0;
        for (std::size_t k = 0; k < 3; ++k) {
          double square = 0.0;
          for (std::size_t i = 0; i < samples; ++i) {
            ac_W += out.voltage_V[k][i] * out.current_A[k][i] / samples;
            square += out.current_A[k][i] * out.current_A[k][i] / samples;
          }
          EXPECT_NEAR(std::sqrt(square), load.line_current_rms_A[k],
                      5e-3 * load.line_current_rms_A[k] + 1e-9)
              << part << " " << inductance_H << " " << static_cast<int>(fault);
        }
        EXPECT_NEAR(ac_W, load.load.ac_power_W, 5e-3 * load.load.ac_power_W + 1e-9)
            << part << " " << inductance_H << " " << static_cast<int>(fault);
      }
    }
  }
}

TEST(BridgeWaveform, BlocksMeetSingleSamplesAndEachOther) {
  const Generator generator = bench_generator();
  for (const auto& waveform : {BridgeWaveform::on_voltage(generator, 120.0, 12.0),
                               BridgeWaveform::on_current(generator, 120.0, 3.0),
                               BridgeWaveform::on_voltage(generator, 120.0, 100.0)}) {
    const double step_rad = 0.0123;
    const Recorded whole = recorded(waveform, -3.0, step_rad, 3000);
    const Recorded second = recorded(waveform, -3.0 + 1000 * step_rad, step_rad, 2000);
    for (std::size_t i = 0; i < 3000; i += 7) {
      for (std::size_t k = 0; k < 3; ++k) {
        const PhaseSample one = waveform.sample(k, -3.0 + static_cast<double>(i) * step_rad);
        ASSERT_NEAR(whole.current_A[k][i], one.current_A, 1e-10);
        ASSERT_NEAR(whole.voltage_V[k][i], one.voltage_V, 1e-9);
        if (i >= 1000) {
          ASSERT_NEAR(second.current_A[k][i - 1000], one.current_A, 1e-10);
        }
      }
    }
  }
}

TEST(BridgeWaveform, OnASmoothCurrentIsThatOfTheGenerator) {
  const Generator generator = bench_generator();
  const GeneratorLoad load = generator_load(generator, 120.0, 4.0);
  const auto waveform = BridgeWaveform::on_current(generator, 120.0, load.dc_current_A);
  for (const double angle_rad : {0.0, 0.7, 1.1, 2.9, 4.4, 6.0}) {
    const PhaseSample expected = phase_sample(generator, load, 120.0, angle_rad);
    EXPECT_NEAR(waveform.sample(0, angle_rad).current_A, expected.current_A, 1e-9);
    EXPECT_NEAR(waveform.sample(0, angle_rad).voltage_V, expected.voltage_V, 1e-9);
    EXPECT_NEAR(waveform.sample(1, angle_rad + 2.0 * pi / 3.0).current_A, expected.current_A, 1e-9);
  }
}

TEST(BridgeWaveform, RefusesAnglesThatDoNotAdvance) {
  const auto waveform = BridgeWaveform::on_voltage(bench_generator(), 120.0, 12.0);
  EXPECT_THROW(recorded(waveform, 0.0, -0.1, 5), base::BadInput);
  EXPECT_THROW(recorded(waveform, std::nan(""), 0.1, 5), base::BadInput);
}

}  // namespace
}  // namespace windwright::physics
