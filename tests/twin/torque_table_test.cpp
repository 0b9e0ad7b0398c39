// SPDX-License-Identifier: Apache-2.0
#include "twin/torque_table.h"

#include "base/random.h"
#include "physics/blockage.h"
#include "physics/dynamic_inflow.h"
#include "twin/demo_bench.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <vector>

namespace windwright::twin {
namespace {

constexpr double viscosity_Pa_s = 1.82e-5;

physics::RotorFlow flow(double air_speed_m_s, double rotor_speed_rad_s, double density_kg_m3) {
  return {.air_speed_m_s = air_speed_m_s,
          .rotor_speed_rad_s = rotor_speed_rad_s,
          .density_kg_m3 = density_kg_m3,
          .dynamic_viscosity_Pa_s = viscosity_Pa_s};
}

// In other air than the table was made in. Where an element's stall lets go at once, the torque has
// a small jump that a table crosses within a step: one point in a hundred may be off by up to three
// times as much.
TEST(TorqueTable, FollowsTheRotorToAThousandthOfItsPeakTorque) {
  int points = 0;
  int jumps = 0;
  physics::Rotor rotor = demo_bench().rotor;
  for (const int blades : {2, 3}) {
    for (const double pitch_rad : {0.0, 0.1, 0.2}) {
      rotor.blades = blades;
      rotor.pitch_rad = pitch_rad;
      TorqueTable table(rotor, 1.19, viscosity_Pa_s, 14.0);
      const base::RandomStream random(1, "torque table");
      for (std::uint64_t i = 0; i < 40; ++i) {
        const double air_m_s = 3.0 + 12.0 * random.uniform(2 * i);
        double peak_N_m = 0.0;
        double worst_N_m = 0.0;
        std::vector<double> errors_N_m;
        for (double ratio = 0.1 * random.uniform(2 * i + 1); ratio < 10.0; ratio += 0.37) {
          const auto at = flow(air_m_s, ratio * air_m_s / rotor.tip_radius_m, 1.15);
          const double direct_N_m = physics::rotor_load(rotor, at).torque_N_m;
          peak_N_m = std::max(peak_N_m, direct_N_m);
          errors_N_m.push_back(std::abs(table.torque_N_m(at) - direct_N_m));
        }
        for (const double error_N_m : errors_N_m) {
          ++points;
          if (error_N_m > 1e-3 * peak_N_m) ++jumps;
          worst_N_m = std::max(worst_N_m, error_N_m);
        }
        EXPECT_LT(worst_N_m, 3e-3 * peak_N_m)
            << blades << " blades, pitch " << pitch_rad << " rad, " << air_m_s << " m/s";
      }
    }
  }
  EXPECT_LT(jumps, points / 100);
}

TEST(TorqueTable, FollowsTheInducedFlowAndTheWallsOfATunnel) {
  const physics::Rotor rotor = demo_bench().rotor;
  const double section_m2 = 5.0 * physics::swept_area_m2(rotor);
  TorqueTable open(rotor, 1.19, viscosity_Pa_s, 14.0);
  TorqueTable closed(rotor, 1.19, viscosity_Pa_s, 14.0, section_m2);
  for (double ratio = 0.5; ratio < 8.0; ratio += 0.7) {
    const auto at = flow(8.0, ratio * 8.0 / rotor.tip_radius_m, 1.19);
    const physics::RotorLoad load = physics::rotor_load(rotor, at);
    EXPECT_NEAR(open.induced_m_s(at), physics::quasi_steady_induced_m_s(rotor, at, load.thrust_N),
                5e-3)
        << ratio;
    const physics::RotorInTunnel in = physics::rotor_in_tunnel(rotor, at, section_m2);
    EXPECT_NEAR(closed.torque_N_m(at), in.load.torque_N_m, 5e-4) << ratio;
    EXPECT_NEAR(closed.induced_m_s(at), 8.0 * (1.0 - in.disc.disc_speed_ratio), 5e-3) << ratio;
  }
  const auto best = flow(8.0, 5.0 * 8.0 / rotor.tip_radius_m, 1.19);
  EXPECT_GT(closed.torque_N_m(best), 1.05 * open.torque_N_m(best));
}

TEST(TorqueTable, AnswersTheSameWhateverWasAskedBefore) {
  const physics::Rotor rotor = demo_bench().rotor;
  TorqueTable fresh(rotor, 1.19, viscosity_Pa_s, 14.0);
  TorqueTable used(rotor, 1.19, viscosity_Pa_s, 14.0);
  for (double speed_rad_s = 0.0; speed_rad_s < 500.0; speed_rad_s += 7.0)
    static_cast<void>(used.torque_N_m(flow(8.3, speed_rad_s, 1.2)));
  const auto at = flow(7.9, 151.0, 1.17);
  EXPECT_EQ(fresh.torque_N_m(at), used.torque_N_m(at));
}

TEST(TorqueTable, ACoastingRotorInStillAirIsBrakedAsTheSquareOfItsSpeed) {
  TorqueTable table(demo_bench().rotor, 1.19, viscosity_Pa_s, 14.0);
  EXPECT_EQ(table.torque_N_m(flow(0.0, 0.0, 1.19)), 0.0);
  // Both speeds lie beyond the table's upper Reynolds number, so the coefficient is the same.
  const double slow_N_m = table.torque_N_m(flow(0.0, 2000.0, 1.19));
  EXPECT_LT(slow_N_m, 0.0);
  EXPECT_NEAR(table.torque_N_m(flow(0.0, 4000.0, 1.19)) / slow_N_m, 4.0, 1e-9);
}

}  // namespace
}  // namespace windwright::twin
