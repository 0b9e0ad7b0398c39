// SPDX-License-Identifier: Apache-2.0
//
// ORIENTATION ONLY. A bench-size rotor in 12.9 % of a tunnel: geometry from P.-A. Krogstad, P. E.
// Eriksen, Blind test calculations of the performance and wake development for a model wind
// turbine, Renewable Energy 50 (2013) 325-333, but the measured figures from memory, unverified
// (tests/published/data/bench_rotor_from_memory.csv), and the polar a stand-in that was chosen
// before the rotor was calculated. So the figures are printed beside each other, and what is
// asserted is only what any sane calculation gives.
#include "base/table.h"
#include "bench/rotor_file.h"
#include "physics/blockage.h"
#include "physics/rotor.h"
#include "physics/rotor_optimum.h"

#include <fmt/format.h>
#include <gtest/gtest.h>

#include <cstddef>
#include <cstdio>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::physics {
namespace {

constexpr double section_area_m2 = 2.71 * 1.80;

std::string remembered(std::string_view quantity) {
  const auto table =
      base::Table::from_file(SOURCE_FOLDER "/tests/published/data/bench_rotor_from_memory.csv");
  for (std::size_t row = 0; row < table.rows(); ++row) {
    if (table.text(row, table.required_column("quantity")) != quantity) continue;
    return fmt::format("{} to {}", table.text(row, table.required_column("low")),
                       table.text(row, table.required_column("high")));
  }
  ADD_FAILURE() << "no " << quantity;
  return {};
}

TEST(PublishedTunnelRotor, OrientationLiesBesideWhatIsRememberedOfTheMeasurement) {
  const auto rotor = bench::rotor_from_file(SOURCE_FOLDER "/examples/tunnel-rotor/rotor.toml");
  EXPECT_NEAR(swept_area_m2(rotor) / section_area_m2, 0.129, 5e-4);
  const OperatingLine line{.flow = {.air_speed_m_s = 10.0,
                                    .rotor_speed_rad_s = 0.0,
                                    .density_kg_m3 = 1.2,
                                    .dynamic_viscosity_Pa_s = 1.8e-5},
                           .section_area_m2 = section_area_m2};
  std::vector<double> ratios;
  for (int i = 4; i <= 40; ++i)
    ratios.push_back(0.5 * i);
  const auto optimum = optimum_over_ratio(rotor, line, ratios);
  ASSERT_TRUE(optimum);
  const auto at = [&](double tip_speed_ratio) {
    RotorFlow flow = line.flow;
    flow.rotor_speed_rad_s = tip_speed_ratio * flow.air_speed_m_s / rotor.tip_radius_m;
    return rotor_load_in_tunnel(rotor, flow, section_area_m2);
  };
  double runaway = optimum->load.tip_speed_ratio;
  while (runaway < 30.0 && at(runaway).cp > 0.0)
    runaway += 0.05;
  fmt::print("largest cp {:.3f} at tip-speed ratio {:.2f} (remembered {} near 6)\n",
             optimum->load.cp, optimum->load.tip_speed_ratio, remembered("cp maximum"));
  fmt::print("ct at 6 {:.3f} (remembered {})\n", at(6.0).ct, remembered("ct"));
  fmt::print("run-away at {:.2f} (remembered {})\n", runaway,
             remembered("run-away tip speed ratio"));
  fmt::print("ct there {:.3f} (remembered {})\n", at(runaway).ct, remembered("ct at run-away"));
  // Sane, no more.
  EXPECT_GT(optimum->load.cp, 0.3);
  EXPECT_LT(optimum->load.cp, largest_cp(0.129));
  EXPECT_GT(optimum->load.tip_speed_ratio, 4.0);
  EXPECT_LT(optimum->load.tip_speed_ratio, 8.0);
  EXPECT_LT(runaway, 20.0);
}

}  // namespace
}  // namespace windwright::physics
