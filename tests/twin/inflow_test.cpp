// SPDX-License-Identifier: Apache-2.0
// The lag of the wake and gusts, as the simulated bench shows them.
#include "physics/blockage.h"
#include "physics/dynamic_inflow.h"
#include "twin/demo_bench.h"
#include "twin/plant.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <functional>
#include <limits>

namespace windwright::twin {
namespace {

void pass(Plant& plant, double seconds) {
  for (std::int64_t left = std::llround(seconds / plant.tick_s()); left > 0;)
    left -= plant.advance(left);
}

void set_running(Plant& plant, double fan_pct, double rheostat_ohm) {
  plant.mount(3, 0.1, 0.1);
  plant.command_load(physics::LoadSelection::rheostat, rheostat_ohm);
  plant.command_fan(fan_pct);
  pass(plant, 60.0);
}

physics::Rotor mounted(const Plant& plant) {
  physics::Rotor rotor = plant.truth().rotor;
  rotor.blades = static_cast<int>(plant.state().blades);
  rotor.pitch_rad = plant.true_pitch_rad();
  return rotor;
}

physics::RotorFlow flow_of(const Plant& plant) {
  return {.air_speed_m_s = plant.truth().position_factor * plant.motion_now().air_speed_m_s,
          .rotor_speed_rad_s = plant.motion_now().rotor_speed_rad_s,
          .density_kg_m3 = plant.density_kg_m3(),
          .dynamic_viscosity_Pa_s = physics::dynamic_viscosity_Pa_s(plant.air())};
}

TEST(PlantInflow, SettledTorqueIsThatOfBladeElementTheory) {
  const bench::Bench bench = calm_bench();
  Plant plant(bench);
  for (const double rheostat_ohm : {8.0, 15.0, 60.0}) {
    set_running(plant, 60.0, rheostat_ohm);
    const physics::RotorLoad steady = physics::rotor_load(mounted(plant), flow_of(plant));
    const PowerFlow flow = plant.power_flow_now();
    EXPECT_NEAR(flow.rotor_torque_N_m / steady.torque_N_m, 1.0, 2e-3) << rheostat_ohm;
    const double induced_m_s =
        physics::quasi_steady_induced_m_s(mounted(plant), flow_of(plant), steady.thrust_N);
    EXPECT_NEAR(flow.induced_air_speed_m_s / induced_m_s, 1.0, 2e-3) << rheostat_ohm;
    EXPECT_GT(induced_m_s, 0.2);
  }
}

// The same equations from the theory itself instead of its table, by the classical Runge-Kutta
// method with a step far below every time constant.
struct Direct {
  double rotor_speed_rad_s;
  physics::InducedFlow inflow;
};

TEST(PlantInflow, AGustAndALoadThrowOffAreThoseOfAnIndependentIntegration) {
  const bench::Bench bench = calm_bench();
  Plant plant(bench);
  set_running(plant, 60.0, 15.0);
  const physics::Rotor rotor = mounted(plant);
  const double inertia_kg_m2 = bench.hub_inertia_kg_m2 + 3.0 * bench.blade_inertia_kg_m2;
  const physics::Gust gust{
      .shape = physics::GustShape::extreme_operating, .duration_s = 0.8, .amplitude_m_s = 3.0};
  const physics::RotorFlow mean = flow_of(plant);
  double load_ohm = 15.0;
  const auto rates = [&](double t, const Direct& d) {
    physics::RotorFlow flow = mean;
    flow.air_speed_m_s += plant.truth().position_factor * physics::gust_m_s(gust, t);
    flow.rotor_speed_rad_s = d.rotor_speed_rad_s;
    const physics::UnsteadyLoad load = unsteady_load(rotor, flow, d.inflow.induced_m_s);
    const double brake_N_m =
        physics::generator_load(plant.truth().generator, d.rotor_speed_rad_s, load_ohm)
            .shaft_torque_N_m;
    const physics::InducedFlowRates inflow = physics::inflow_rates(
        d.inflow, load.quasi_steady_m_s,
        physics::inflow_lags(flow.air_speed_m_s, d.inflow.induced_m_s, rotor.tip_radius_m));
    return Direct{(load.torque_N_m - brake_N_m) / inertia_kg_m2,
                  {inflow.lagging_m_s2, inflow.induced_m_s2}};
  };
  const auto moved = [](const Direct& from, const Direct& by, double h_s) {
    return Direct{from.rotor_speed_rad_s + h_s * by.rotor_speed_rad_s,
                  {from.inflow.lagging_m_s + h_s * by.inflow.lagging_m_s,
                   from.inflow.induced_m_s + h_s * by.inflow.induced_m_s}};
  };
  const PlantState start = plant.state();
  Direct direct{start.rotor_speed_rad_s, {start.lagging_inflow_m_s, start.induced_air_speed_m_s}};
  plant.start_gust(gust);
  double least_rad_s = 1e9;
  double most_rad_s = 0.0;
  constexpr double h_s = 0.005;
  for (int i = 0; i < 320; ++i) {
    if (i == 180) {
      load_ohm = std::numeric_limits<double>::infinity();
      plant.command_load(physics::LoadSelection::none, 15.0);
    }
    const double t = h_s * i;
    const Direct a = rates(t, direct);
    const Direct b = rates(t + 0.5 * h_s, moved(direct, a, 0.5 * h_s));
    const Direct c = rates(t + 0.5 * h_s, moved(direct, b, 0.5 * h_s));
    const Direct d = rates(t + h_s, moved(direct, c, h_s));
    direct =
        moved(moved(moved(moved(direct, a, h_s / 6.0), b, h_s / 3.0), c, h_s / 3.0), d, h_s / 6.0);
    pass(plant, h_s);
    // The table follows the theory to 1e-3 of the torque.
    ASSERT_NEAR(plant.state().rotor_speed_rad_s / direct.rotor_speed_rad_s, 1.0, 1e-3) << t;
    ASSERT_NEAR(plant.state().induced_air_speed_m_s, direct.inflow.induced_m_s, 0.01) << t;
    least_rad_s = std::min(least_rad_s, direct.rotor_speed_rad_s);
    most_rad_s = std::max(most_rad_s, direct.rotor_speed_rad_s);
  }
  EXPECT_LT(least_rad_s, 0.98 * start.rotor_speed_rad_s);  // it all moved
  EXPECT_GT(most_rad_s, 1.2 * start.rotor_speed_rad_s);
}

// A small step of the load: the rotor runs to its new speed as exp(-t / T), T the slowest root of
// the linearised set of rotor and wake. Without the wake T = J / (dT/dw - dQ/dw); with it the
// torque answers the speed first at constant induced flow, which changes T a little.
TEST(PlantInflow, ASmallLoadStepDiesAwayWithTheLinearTimeConstant) {
  const bench::Bench bench = calm_bench();
  Plant plant(bench);
  set_running(plant, 60.0, 15.0);
  plant.command_load(physics::LoadSelection::rheostat, 15.05);
  Plant settled(bench);
  settled.restore(plant.state());
  pass(settled, 60.0);
  const double end_rad_s = settled.state().rotor_speed_rad_s;
  const physics::Rotor rotor = mounted(plant);
  const physics::RotorFlow at = flow_of(settled);
  const auto torque_N_m = [&](double speed_rad_s) {
    physics::RotorFlow flow = at;
    flow.rotor_speed_rad_s = speed_rad_s;
    return physics::rotor_load(rotor, flow).torque_N_m;
  };
  const auto brake_N_m = [&](double speed_rad_s) {
    return physics::generator_load(plant.truth().generator, speed_rad_s, 15.05).shaft_torque_N_m;
  };
  const double h_rad_s = 0.5;
  const auto slope = [&](const std::function<double(double)>& of) {
    return (of(end_rad_s + h_rad_s) - of(end_rad_s - h_rad_s)) / (2.0 * h_rad_s);
  };
  const double inertia_kg_m2 = bench.hub_inertia_kg_m2 + 3.0 * bench.blade_inertia_kg_m2;
  const double expected_s = inertia_kg_m2 / (slope(brake_N_m) - slope(torque_N_m));
  pass(plant, 0.5);
  const double early_rad_s = std::abs(plant.state().rotor_speed_rad_s - end_rad_s);
  pass(plant, 0.5);
  const double late_rad_s = std::abs(plant.state().rotor_speed_rad_s - end_rad_s);
  const double seen_s = 0.5 / std::log(early_rad_s / late_rad_s);
  EXPECT_NEAR(seen_s / expected_s, 1.0, 0.03);
}

TEST(PlantInflow, WallsOfAClosedSectionDriveTheRotorHarder) {
  bench::Bench bench = calm_bench();
  Plant open(bench);
  set_running(open, 60.0, 15.0);
  bench.tunnel.section_area_m2 = 5.0 * physics::swept_area_m2(bench.rotor);
  Plant closed(bench);
  set_running(closed, 60.0, 15.0);
  const physics::RotorLoad steady = physics::rotor_load_in_tunnel(mounted(closed), flow_of(closed),
                                                                  *bench.tunnel.section_area_m2);
  EXPECT_NEAR(closed.power_flow_now().rotor_torque_N_m / steady.torque_N_m, 1.0, 3e-3);
  EXPECT_GT(closed.state().rotor_speed_rad_s, 1.03 * open.state().rotor_speed_rad_s);
}

TEST(PlantInflow, TorqueOvershootsWhenTheWindRisesAtOnce) {
  const bench::Bench bench = calm_bench();
  Plant plant(bench);
  set_running(plant, 60.0, 15.0);
  const double before_N_m = plant.power_flow_now().rotor_torque_N_m;
  plant.start_gust(
      {.shape = physics::GustShape::one_minus_cosine, .duration_s = 0.04, .amplitude_m_s = 0.5});
  pass(plant, 0.02);
  const physics::RotorFlow flow = flow_of(plant);
  const double steady_N_m = physics::rotor_load(mounted(plant), flow).torque_N_m;
  const double torque_N_m = plant.power_flow_now().rotor_torque_N_m;
  EXPECT_GT(steady_N_m, 1.05 * before_N_m);
  EXPECT_GT(torque_N_m - before_N_m, 1.1 * (steady_N_m - before_N_m));
}

TEST(PlantInflow, GustsAreTimedInTheStateAndEnd) {
  const bench::Bench bench = calm_bench();
  Plant plant(bench);
  set_running(plant, 60.0, 15.0);
  const double mean_m_s = plant.motion_now().air_speed_m_s;
  plant.start_gust(
      {.shape = physics::GustShape::one_minus_cosine, .duration_s = 1.0, .amplitude_m_s = 2.0});
  pass(plant, 0.5);
  EXPECT_NEAR(plant.motion_now().air_speed_m_s - mean_m_s, 2.0, 1e-3);
  Plant other(bench);
  other.restore(plant.state());
  pass(plant, 0.3);
  pass(other, 0.3);
  EXPECT_EQ(plant.state().rotor_speed_rad_s, other.state().rotor_speed_rad_s);
  EXPECT_EQ(plant.state().induced_air_speed_m_s, other.state().induced_air_speed_m_s);
  EXPECT_EQ(plant.motion_now().air_speed_m_s, other.motion_now().air_speed_m_s);
  pass(plant, 1.0);
  EXPECT_NEAR(plant.motion_now().air_speed_m_s, mean_m_s, 1e-3);
}

}  // namespace
}  // namespace windwright::twin
