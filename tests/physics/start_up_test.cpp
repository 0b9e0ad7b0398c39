// SPDX-License-Identifier: Apache-2.0
#include "physics/start_up.h"

#include "physics/operating_point.h"

#include <boost/math/quadrature/gauss_kronrod.hpp>
#include <gtest/gtest.h>

#include <cmath>
#include <cstddef>
#include <limits>
#include <memory>
#include <numbers>
#include <optional>
#include <vector>

namespace windwright::physics {
namespace {

constexpr double open_circuit = std::numeric_limits<double>::infinity();

double rad(double deg) {
  return deg * std::numbers::pi / 180.0;
}

/// Cambered blades that stall at 10 degrees; their weak torque below the best point makes more than
/// one balance.
TurningSet bench_set() {
  std::vector<PolarRow> rows;
  for (int deg = -8; deg <= 10; deg += 2) {
    const double alpha_rad = rad(deg);
    rows.push_back({.reynolds = 1e5,
                    .alpha_rad = alpha_rad,
                    .cl = 0.4 + 5.2 * alpha_rad,
                    .cd = 0.025 + 0.4 * alpha_rad * alpha_rad});
  }
  rows.push_back({.reynolds = 1e5, .alpha_rad = rad(15), .cl = 0.85, .cd = 0.25});
  const auto polar = std::make_shared<const Polar>(rows);
  return {.rotor = {.blades = 3,
                    .hub_radius_m = 0.05,
                    .tip_radius_m = 0.3,
                    .pitch_rad = rad(2),
                    .stations = {{0.05, 0.05, rad(22), polar},
                                 {0.15, 0.045, rad(7), polar},
                                 {0.3, 0.03, rad(0), polar}}},
          .generator = {.pole_pairs = 6,
                        .flux_linkage_V_s = 0.0165,
                        .winding_resistance_ohm = 0.45,
                        .winding_inductance_H = 0.5e-3,
                        .diode_drop_V = 0.75,
                        .diode_resistance_ohm = 0.03,
                        .bearing_torque_N_m = 0.006,
                        .bearing_viscous_N_m_s = 1e-5,
                        .iron_hysteresis_J = 2.5e-4,
                        .iron_eddy_J_s = 1.5e-6,
                        .cogging_torque_N_m = 0.015},
          .inertia_kg_m2 = 3e-3};
}

RotorFlow flow_at(double air_speed_m_s, double rotor_speed_rad_s = 0.0) {
  return {.air_speed_m_s = air_speed_m_s,
          .rotor_speed_rad_s = rotor_speed_rad_s,
          .density_kg_m3 = 1.2,
          .dynamic_viscosity_Pa_s = 1.82e-5};
}

double driving_N_m(const TurningSet& set, const RotorFlow& flow, double load_ohm) {
  return rotor_load(set.rotor, flow).torque_N_m -
         generator_load(set.generator, flow.rotor_speed_rad_s, load_ohm).shaft_torque_N_m;
}

TEST(TorqueBalances, AreAllThatAFineSearchFinds) {
  const TurningSet set = bench_set();
  std::size_t most = 0;
  for (const double load_ohm : {15.0, open_circuit}) {
    for (const double air_m_s : {1.0, 4.0, 6.0, 7.0, 13.0}) {
      const TorqueBalances found = torque_balances(set, flow_at(air_m_s), load_ohm);
      std::size_t crossings = 0;
      double before_N_m = driving_N_m(set, flow_at(air_m_s, 1e-3 * air_m_s / 0.3), load_ohm);
      for (double ratio = 0.01; ratio < 15.0; ratio += 0.02) {
        const double now_N_m = driving_N_m(set, flow_at(air_m_s, ratio * air_m_s / 0.3), load_ohm);
        crossings += (now_N_m > 0.0) != (before_N_m > 0.0) ? 1U : 0U;
        before_N_m = now_N_m;
      }
      EXPECT_EQ(found.balances.size(), crossings) << air_m_s << " m/s, " << load_ohm << " ohm";
      for (std::size_t i = 0; i < found.balances.size(); ++i) {
        const double speed_rad_s = found.balances[i].rotor_speed_rad_s;
        // By sign, not size: in stall an element's torque may jump from one solution to another.
        for (const double part : {1.0 - 1e-9, 1.0 + 1e-9}) {
          EXPECT_EQ(driving_N_m(set, flow_at(air_m_s, part * speed_rad_s), load_ohm) > 0.0,
                    found.balances[i].stable == (part < 1.0));
        }
        EXPECT_GT(speed_rad_s, i > 0 ? found.balances[i - 1].rotor_speed_rad_s : 0.0);
      }
      most = std::max(most, found.balances.size());
    }
  }
  EXPECT_GE(most, 3U);  // stalled, unstable, running
}

TEST(TorqueBalances, ARotorThatNothingBrakesIsSaidToSpeedUpOn) {
  TurningSet set = bench_set();
  set.rotor.pitch_rad = rad(-1);
  const auto slippery = std::make_shared<const Polar>(
      std::vector<PolarRow>{{.reynolds = 1e5, .alpha_rad = rad(-10), .cl = -0.6, .cd = 0.0},
                            {.reynolds = 1e5, .alpha_rad = rad(10), .cl = 1.4, .cd = 0.0}});
  for (RotorStation& station : set.rotor.stations) {
    station.polar = slippery;
    station.twist_rad = 0.0;
    station.chord_m = 0.001;  // hardly slows the wind
  }
  set.generator.bearing_torque_N_m = 1e-6;
  set.generator.bearing_viscous_N_m_s = 0.0;
  set.generator.iron_hysteresis_J = 1e-9;
  set.generator.iron_eddy_J_s = 0.0;
  const StartUp found = start_up(set, flow_at(8.0), open_circuit);
  EXPECT_TRUE(found.no_runaway_found);
  EXPECT_FALSE(found.runaway_rad_s);
}

TEST(TorqueBalances, WallsMakeItRunAwayFaster) {
  TurningSet set = bench_set();
  const double open_rad_s = start_up(set, flow_at(8.0), 15.0).runaway_rad_s.value();
  set.section_area_m2 = 1e6;
  EXPECT_NEAR(start_up(set, flow_at(8.0), 15.0).runaway_rad_s.value(), open_rad_s,
              1e-5 * open_rad_s);
  set.section_area_m2 = 4.0 * swept_area_m2(set.rotor);
  EXPECT_GT(start_up(set, flow_at(8.0), 15.0).runaway_rad_s.value(), 1.05 * open_rad_s);
}

TEST(StartUp, SettlesAtTheFirstBalanceAndRunsAtTheLast) {
  const TurningSet set = bench_set();
  bool laboured = false;
  for (double air_m_s = 2.0; air_m_s < 14.0; air_m_s += 0.25) {
    const StartUp found = start_up(set, flow_at(air_m_s), 15.0);
    EXPECT_EQ(found.starts, found.starting_torque_N_m > breakaway_torque_N_m(set.generator));
    EXPECT_EQ(found.from_rest_rad_s.has_value(), found.starts);
    EXPECT_EQ(found.running_rad_s,
              steady_rotor_speed_rad_s(set.rotor, set.generator, flow_at(air_m_s), 15.0));
    if (found.from_rest_rad_s) {
      laboured = laboured || *found.from_rest_rad_s < 0.9 * *found.running_rad_s;
      EXPECT_LE(*found.from_rest_rad_s, *found.running_rad_s);
    }
    ASSERT_TRUE(found.runaway_rad_s);
    EXPECT_GT(*found.runaway_rad_s, found.running_rad_s.value_or(0.0));
  }
  EXPECT_TRUE(laboured);
}

TEST(CutIn, IsTheWindWhereItBegins) {
  const TurningSet set = bench_set();
  for (const double load_ohm : {40.0, 100.0}) {
    const CutIn found = cut_in(set, flow_at(14.0), load_ohm);
    ASSERT_TRUE(found.starts_m_s && found.keeps_turning_m_s && found.keeps_delivering_m_s &&
                found.delivers_from_rest_m_s && found.runs_up_from_rest_m_s);
    const auto at = [&](double air_m_s) { return start_up(set, flow_at(air_m_s), load_ohm); };
    constexpr double above = 1.0 + 1e-6;
    constexpr double below = 1.0 - 1e-6;
    EXPECT_TRUE(at(*found.starts_m_s * above).starts);
    EXPECT_FALSE(at(*found.starts_m_s * below).starts);
    EXPECT_TRUE(at(*found.keeps_turning_m_s * (1.0 + 1e-5)).running_rad_s);
    EXPECT_FALSE(at(*found.keeps_turning_m_s * (1.0 - 1e-5)).running_rad_s);
    EXPECT_GT(at(*found.keeps_delivering_m_s * (1.0 + 1e-5)).dc_power_W, 0.0);
    EXPECT_EQ(at(*found.keeps_delivering_m_s * (1.0 - 1e-5)).dc_power_W, 0.0);
    EXPECT_LT(*found.keeps_turning_m_s, *found.starts_m_s);
    EXPECT_LE(*found.starts_m_s, *found.delivers_from_rest_m_s);
    EXPECT_GE(*found.runs_up_from_rest_m_s, *found.starts_m_s * below);
    const StartUp runs_up = at(*found.runs_up_from_rest_m_s * above);
    EXPECT_EQ(runs_up.from_rest_rad_s, runs_up.running_rad_s);
    const StartUp labours = at(*found.runs_up_from_rest_m_s * below);
    EXPECT_NE(labours.from_rest_rad_s, labours.running_rad_s);
  }
}

// With a high threshold of the bridge it keeps turning, too slow to conduct, in less wind than it
// needs to deliver current.
TEST(CutIn, KeepsTurningBeforeItDelivers) {
  TurningSet set = bench_set();
  set.generator.diode_drop_V = 5.0;
  const CutIn found = cut_in(set, flow_at(14.0), 15.0);
  EXPECT_GT(*found.keeps_delivering_m_s, 1.01 * *found.keeps_turning_m_s);
  const auto at = [&](double air_m_s) { return start_up(set, flow_at(air_m_s), 15.0); };
  EXPECT_GT(at(*found.keeps_delivering_m_s * (1.0 + 1e-5)).dc_power_W, 0.0);
  const StartUp below = at(*found.keeps_delivering_m_s * (1.0 - 1e-5));
  EXPECT_TRUE(below.running_rad_s);
  EXPECT_EQ(below.dc_power_W, 0.0);
}

TEST(CutIn, IsNothingWhereItDoesNotHappen) {
  const TurningSet set = bench_set();
  // Heavily loaded, this rotor labours in any wind of the tunnel.
  EXPECT_FALSE(cut_in(set, flow_at(14.0), 5.0).runs_up_from_rest_m_s);
  const StartUp labours = start_up(set, flow_at(14.0), 5.0);
  EXPECT_LT(*labours.from_rest_rad_s, 0.5 * *labours.running_rad_s);
  const CutIn open = cut_in(set, flow_at(14.0), open_circuit);
  EXPECT_FALSE(open.keeps_delivering_m_s);
  EXPECT_TRUE(open.keeps_turning_m_s);
  const CutIn weak = cut_in(set, flow_at(1.0), 15.0);
  EXPECT_FALSE(weak.starts_m_s);
  EXPECT_FALSE(weak.keeps_turning_m_s);
  EXPECT_FALSE(weak.runs_up_from_rest_m_s);
}

TEST(CutIn, CurrentFlowsAboveTheConductingSpeedOnly) {
  const Generator generator = bench_set().generator;
  const double speed_rad_s = conducting_speed_rad_s(generator);
  EXPECT_EQ(generator_load(generator, speed_rad_s * (1.0 - 1e-9), 15.0).dc_current_A, 0.0);
  EXPECT_GT(generator_load(generator, speed_rad_s * (1.0 + 1e-9), 15.0).dc_current_A, 0.0);
}

// With an inertia so large that the wake follows at once, t is the integral of J / (Q - T).
TEST(SecondsToSpeed, IsTheIntegralOfInertiaOverTorqueForAHeavyRotor) {
  TurningSet set = bench_set();
  set.inertia_kg_m2 = 0.1;
  const double from_rad_s = start_up(set, flow_at(8.0), 15.0).running_rad_s.value();
  const double to_rad_s =
      from_rad_s + 0.8 * (*start_up(set, flow_at(8.0), 15.0).runaway_rad_s - from_rad_s);
  const auto found_s = seconds_to_speed(set, flow_at(8.0, from_rad_s), open_circuit, to_rad_s);
  ASSERT_TRUE(found_s);
  const double expected_s = boost::math::quadrature::gauss_kronrod<double, 31>::integrate(
      [&](double speed_rad_s) {
        return set.inertia_kg_m2 / driving_N_m(set, flow_at(8.0, speed_rad_s), open_circuit);
      },
      from_rad_s, to_rad_s, 8, 1e-6);
  EXPECT_NEAR(*found_s / expected_s, 1.0, 5e-3);
  // A light one is faster than that: the wake of before still lets more wind through.
  set.inertia_kg_m2 = 2e-3;
  const auto light_s = seconds_to_speed(set, flow_at(8.0, from_rad_s), open_circuit, to_rad_s);
  ASSERT_TRUE(light_s);
  EXPECT_LT(*light_s * 50.0, 0.99 * expected_s);
  EXPECT_GT(*light_s * 50.0, 0.7 * expected_s);
}

TEST(SecondsToSpeed, IsNothingBeyondRunAway) {
  const TurningSet set = bench_set();
  const StartUp found = start_up(set, flow_at(8.0), 15.0);
  const RotorFlow flow = flow_at(8.0, *found.running_rad_s);
  EXPECT_FALSE(seconds_to_speed(set, flow, open_circuit, 1.001 * *found.runaway_rad_s));
  EXPECT_TRUE(seconds_to_speed(set, flow, open_circuit, 0.95 * *found.runaway_rad_s));
  EXPECT_EQ(seconds_to_speed(set, flow, open_circuit, 0.9 * *found.running_rad_s), 0.0);
  EXPECT_FALSE(seconds_to_speed(set, flow, 2.0, 2.0 * *found.running_rad_s));
}

TEST(SetRates, ASettledStateAtABalanceStays) {
  const TurningSet set = bench_set();
  for (const TorqueBalance& balance : torque_balances(set, flow_at(7.0), 15.0).balances) {
    const RotorFlow flow = flow_at(7.0, balance.rotor_speed_rad_s);
    const SetRates rates = set_rates(set, flow, 15.0, settled_state(set, flow));
    EXPECT_NEAR(rates.acceleration_rad_s2, 0.0, 1e-5);
    EXPECT_NEAR(rates.inflow.lagging_m_s2, 0.0, 1e-7);
    EXPECT_NEAR(rates.inflow.induced_m_s2, 0.0, 1e-7);
  }
}

}  // namespace
}  // namespace windwright::physics
