// SPDX-License-Identifier: Apache-2.0
#include "physics/ac_period.h"

#include "base/errors.h"
#include "load_examples.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <cstdint>
#include <memory>
#include <numbers>
#include <string>
#include <vector>

namespace windwright::physics {
namespace {

constexpr double pi = std::numbers::pi;
constexpr double room_K = 298.15;
constexpr double interval_s = 1.0 / 250e3;

AcOperation without_inverter(const AcSupply& supply) {
  return {.supply = supply,
          .ripple = {},
          .dc_voltage_V = 0.0,
          .dc_current_A = 0.0,
          .dc_ripple_share = 0.0};
}

struct Samples {
  std::vector<double> voltage_V;
  std::vector<double> current_A;
  std::vector<double> dc_current_A;
};

Samples sampled(const AcPeriod& period, std::size_t count) {
  Samples s{.voltage_V = std::vector<double>(count),
            .current_A = std::vector<double>(count),
            .dc_current_A = std::vector<double>(count)};
  fill(period, {}, interval_s, {s.voltage_V, s.current_A, s.dc_current_A});
  return s;
}

double mean_product(const std::vector<double>& a, const std::vector<double>& b) {
  double sum = 0.0;
  for (std::size_t i = 0; i < a.size(); ++i)
    sum += a[i] * b[i];
  return sum / static_cast<double>(a.size());
}

// Ten seconds of samples: whole periods.
TEST(AcPeriod, SamplesCarryTheAveragedPowerAndCurrentOfEveryLoadOnEveryOutput) {
  const auto period = std::make_unique<AcPeriod>();
  for (const auto& [output, supply] : supplies()) {
    for (const auto& [name, load] : ac_loads(supply)) {
      tabulate(without_inverter(supply), {&load, 1}, *period);
      const Samples s = sampled(*period, 2500000);
      const AcFlow flow = ac_flow(load.load, load.state, supply, room_K);
      EXPECT_NEAR(mean_product(s.voltage_V, s.current_A) / flow.power.electrical_W, 1.0, 5e-3)
          << name << " on " << output;
      EXPECT_NEAR(std::sqrt(mean_product(s.current_A, s.current_A)) / flow.rms_current_A, 1.0, 5e-3)
          << name << " on " << output;
      EXPECT_NEAR(std::sqrt(mean_product(s.voltage_V, s.voltage_V)) / rms_V(supply), 1.0, 5e-3);
    }
  }
}

TEST(AcPeriod, SamplesCarryTheAveragedPowerAndCurrentOfAllLoadsTogether) {
  const auto period = std::make_unique<AcPeriod>();
  for (const auto& [output, supply] : supplies()) {
    std::vector<SwitchedLoad> loads;
    for (const auto& [name, load] : ac_loads(supply))
      loads.push_back(load);
    loads[2].count = 4.0;
    loads[1].on = false;
    tabulate(without_inverter(supply), loads, *period);
    const Samples s = sampled(*period, 2500000);
    const AcTotal total = ac_total(loads, supply, room_K);
    EXPECT_NEAR(mean_product(s.voltage_V, s.current_A) / total.active_power_W, 1.0, 5e-3) << output;
    EXPECT_NEAR(std::sqrt(mean_product(s.current_A, s.current_A)) / total.rms_current_A, 1.0, 5e-3)
        << output;
  }
}

// A sampler in step with an edge sees it always from the same side: half an interval of 4 us of a
// spike that decays with 150 us.
TEST(AcPeriod, SamplesInStepWithASpikeMissAPartOfIt) {
  AcSupply supply = supplies()[1].second;
  supply.frequency_Hz = 50.0;
  const SwitchedLoad led = ac_loads(supply)[2].second;
  const auto period = std::make_unique<AcPeriod>();
  tabulate(without_inverter(supply), {&led, 1}, *period);
  const Samples s = sampled(*period, 5000);
  const AcFlow flow = ac_flow(led.load, led.state, supply, room_K);
  const double rms_A = std::sqrt(mean_product(s.current_A, s.current_A));
  EXPECT_NEAR(rms_A / flow.rms_current_A, 1.0, 0.5 * 4.0 / 150.0);
  EXPECT_GT(std::abs(rms_A / flow.rms_current_A - 1.0), 5e-3);
}

// Limits of the header's statement.
TEST(AcPeriod, ASineIsWithinThreePartsInTenMillionOfItsPeak) {
  const AcSupply supply = supplies()[0].second;
  const auto period = std::make_unique<AcPeriod>();
  tabulate(without_inverter(supply), {}, *period);
  const Samples s = sampled(*period, 250000);
  double worst_V = 0.0;
  for (std::size_t i = 0; i < s.voltage_V.size(); ++i) {
    const double right_V =
        supply.peak_V * std::sin(2.0 * pi * 50.0 * static_cast<double>(i) * interval_s);
    worst_V = std::max(worst_V, std::abs(s.voltage_V[i] - right_V));
  }
  EXPECT_LT(worst_V, 3e-7 * supply.peak_V);
}

// At every share of the pulse the edges fall elsewhere in their cells; an instant within 1e-9 of a
// turn of an edge may round to either side.
TEST(AcPeriod, APulseIsExactAtEveryInstant) {
  AcSupply supply = supplies()[1].second;
  const auto period = std::make_unique<AcPeriod>();
  for (const double share : {1e-5, 1e-4, 0.1, 0.37, 0.5, 0.7331, 0.9, 0.9999, 1.0}) {
    supply.pulse_share = share;
    supply.frequency_Hz = 49.97;
    tabulate(without_inverter(supply), {}, *period);
    const Samples s = sampled(*period, 250000);
    for (std::size_t i = 0; i < s.voltage_V.size(); ++i) {
      const double turns = 49.97 * static_cast<double>(i) * interval_s;
      const double before_V = voltage_V(supply, turns - 1e-9);
      if (before_V == voltage_V(supply, turns + 1e-9)) {
        ASSERT_NEAR(s.voltage_V[i], before_V, 1e-9) << turns << " " << share;
      }
    }
  }
}

// A small filament, so that the ripple is large; its heat balance stepped through 40 periods, with
// its resistance and loss at every instant. The mean temperature is the model's state.
TEST(AcPeriod, FilamentRipplesAsItsHeatBalanceSays) {
  const AcSupply supply = supplies()[0].second;
  Lamp lamp = mains_lamp();
  lamp.heat_capacity_J_K = 1e-3;
  constexpr int steps = 20000;
  const double h = 0.02 / steps;
  double temperature_K = 2600.0;
  double mean_K = 0.0;
  std::vector<double> current_A(steps);
  for (int period = 0; period < 40; ++period) {
    mean_K = 0.0;
    for (int i = 0; i < steps; ++i) {
      const double at_V = voltage_V(supply, (i + 0.5) / steps);
      current_A[static_cast<std::size_t>(i)] = at_V / lamp_resistance_ohm(lamp, temperature_K);
      mean_K += temperature_K / steps;
      temperature_K += h * lamp_heating_K_s(lamp, temperature_K,
                                            at_V * current_A[static_cast<std::size_t>(i)], room_K);
    }
  }
  const auto period = std::make_unique<AcPeriod>();
  const SwitchedLoad load{.load = lamp, .state = {.temperature_K = mean_K}};
  tabulate(without_inverter(supply), {&load, 1}, *period);
  double worst_A = 0.0;
  double flat_A = 0.0;
  for (std::size_t k = 0; k < wave_cells; ++k) {
    const auto i = static_cast<std::size_t>(static_cast<double>(k) / wave_cells * steps);
    worst_A = std::max(worst_A, std::abs(period->current_A[k].start - current_A[i]));
    const double right_A = period->voltage_V[k].start / lamp_resistance_ohm(lamp, mean_K);
    flat_A = std::max(flat_A, std::abs(right_A - current_A[i]));
  }
  const double peak_A = supply.peak_V / lamp_resistance_ohm(lamp, mean_K);
  EXPECT_GT(flat_A, 5e-3 * peak_A);   // the ripple shows
  EXPECT_LT(worst_A, 1e-3 * peak_A);  // and is drawn
}

TEST(AcPeriod, DirectCurrentPulsatesAtTwiceTheFrequencyAboutItsMean) {
  const AcSupply supply = supplies()[0].second;
  const SwitchedLoad load{.load = mains_rheostat()};
  const double active_W = ac_flow(load.load, load.state, supply, room_K).power.electrical_W;
  AcOperation operation = without_inverter(supply);
  operation.dc_voltage_V = 24.0;
  operation.dc_current_A = 6.5;
  operation.dc_ripple_share = 0.8;
  const auto period = std::make_unique<AcPeriod>();
  tabulate(operation, {&load, 1}, *period);
  const Samples s = sampled(*period, 5000);
  const auto line = [&](int order) {
    std::complex<double> sum = 0.0;
    for (std::size_t i = 0; i < s.dc_current_A.size(); ++i)
      sum += s.dc_current_A[i] *
             std::polar(1.0 / 5000.0, -2.0 * pi * order * static_cast<double>(i) / 5000.0);
    return std::abs(sum);
  };
  EXPECT_NEAR(line(0), 6.5, 1e-6);
  EXPECT_NEAR(2.0 * line(2), 0.8 * active_W / 24.0, 1e-5);
  EXPECT_NEAR(line(1), 0.0, 1e-9);
}

TEST(AcPeriod, SwitchingRippleFollowsItsFormula) {
  const AcSupply supply = supplies()[0].second;
  AcOperation operation = without_inverter(supply);
  operation.ripple = {.amplitude_V = 3.0, .modulation = 0.8, .frequency_Hz = 39999.0};
  const SwitchedLoad load{.load = mains_rheostat(), .state = {.temperature_K = 293.15}};
  const auto period = std::make_unique<AcPeriod>();
  tabulate(operation, {&load, 1}, *period);
  const Samples s = sampled(*period, 20000);
  for (std::size_t i = 0; i < 20000; ++i) {
    const double time_s = static_cast<double>(i) * interval_s;
    const double sine = std::sin(2.0 * pi * 50.0 * time_s);
    const double right_V = supply.peak_V * sine +
                           3.0 * std::sin(pi * 0.8 * sine) * std::cos(2.0 * pi * 39999.0 * time_s);
    ASSERT_NEAR(s.voltage_V[i], right_V, 2e-4);
    ASSERT_NEAR(s.current_A[i], right_V / 400.0, 1e-6);
  }
}

TEST(AcPeriod, BlocksJoinWithoutASeam) {
  const AcSupply supply = supplies()[3].second;
  const auto loads = ac_loads(supply);
  const auto period = std::make_unique<AcPeriod>();
  AcOperation operation = without_inverter(supply);
  operation.ripple = {.amplitude_V = 1.0, .modulation = 0.5, .frequency_Hz = 40e3};
  tabulate(operation, {&loads[2].second, 1}, *period);
  const Samples whole = sampled(*period, 10007);
  std::vector<double> voltage_V(10007);
  std::vector<double> current_A(10007);
  WavePhase phase;
  for (std::size_t from = 0; from < voltage_V.size();) {
    const std::size_t count = std::min<std::size_t>(1 + from % 997, voltage_V.size() - from);
    phase = fill(
        *period, phase, interval_s,
        {std::span(voltage_V).subspan(from, count), std::span(current_A).subspan(from, count), {}});
    from += count;
  }
  EXPECT_EQ(voltage_V, whole.voltage_V);
  EXPECT_EQ(current_A, whole.current_A);
}

TEST(AcPeriod, RefusesChannelsOfDifferentLengthAndMotorsOnAlternatingVoltage) {
  const auto period = std::make_unique<AcPeriod>();
  const AcSupply supply = supplies()[0].second;
  tabulate(without_inverter(supply), {}, *period);
  std::vector<double> three(3);
  std::vector<double> four(4);
  try {
    fill(*period, {}, interval_s, {three, four, {}});
    FAIL();
  } catch (const base::BadInput& bad) {
    EXPECT_EQ(std::string(bad.what()), "wave block: channels differ in length: equal lengths");
  }
  const SwitchedLoad motor{.load = dc_fan()};
  try {
    tabulate(without_inverter(supply), {&motor, 1}, *period);
    FAIL();
  } catch (const base::BadInput& bad) {
    EXPECT_EQ(std::string(bad.what()), "DC motor: it is connected to AC terminals: DC terminals");
  }
}

}  // namespace
}  // namespace windwright::physics
