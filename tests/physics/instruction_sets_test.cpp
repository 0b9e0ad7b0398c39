// SPDX-License-Identifier: Apache-2.0
#include "physics/polar.h"
#include "physics/rotor.h"

#include <gtest/gtest.h>
#include <hwy/targets.h>

#include <cstddef>
#include <cstdint>
#include <memory>
#include <numbers>
#include <vector>

namespace windwright::physics {
namespace {

constexpr double degree = std::numbers::pi / 180.0;

std::vector<RotorLoad> some_loads() {
  std::vector<PolarRow> rows;
  for (const double reynolds : {2e4, 6e4, 3e5}) {
    for (int alpha_deg = -15; alpha_deg <= 25; ++alpha_deg) {
      const double stall = alpha_deg > 11 ? 0.7 : 1.0;
      rows.push_back({.reynolds = reynolds,
                      .alpha_rad = alpha_deg * degree,
                      .cl = 0.1 * alpha_deg * stall * (reynolds > 1e5 ? 1.0 : 0.85),
                      .cd = 0.01 + 2e-4 * alpha_deg * alpha_deg});
    }
  }
  const auto polar = std::make_shared<const Polar>(rows, 8.0);
  const Rotor rotor{
      .blades = 3,
      .hub_radius_m = 0.04,
      .tip_radius_m = 0.3,
      .pitch_rad = 0.0,
      .stations = {{0.04, 0.05, 30.0 * degree, polar}, {0.3, 0.02, 2.0 * degree, polar}}};
  const RotorFlow flow{.air_speed_m_s = 8.0,
                       .rotor_speed_rad_s = 0.0,
                       .density_kg_m3 = 1.2,
                       .dynamic_viscosity_Pa_s = 1.8e-5};
  std::vector<double> ratios;
  for (int i = 0; i < 37; ++i)
    ratios.push_back(0.05 + 0.4 * i);
  std::vector<double> pitches_rad;
  for (int pitch_deg = -20; pitch_deg <= 90; pitch_deg += 5)
    pitches_rad.push_back(pitch_deg * degree);
  auto loads = rotor_surface(rotor, flow, ratios, pitches_rad);
  Rotor one = rotor;
  RotorFlow at = flow;
  for (const double pitch_rad : pitches_rad) {
    one.pitch_rad = pitch_rad;
    for (const double rotor_speed_rad_s : {-60.0, 0.0, 40.0, 200.0}) {
      at.rotor_speed_rad_s = rotor_speed_rad_s;
      loads.push_back(rotor_load(one, at));
    }
  }
  return loads;
}

// A result must not depend on the machine that computed it.
TEST(InstructionSets, AllGiveTheSameBits) {
  const auto usual = some_loads();
  const auto all = hwy::SupportedTargets();
  int tried = 0;
  for (auto left = all; left != 0; left &= left - 1) {
    const auto target = left & -left;
    hwy::SetSupportedTargetsForTest(target);
    hwy::GetChosenTarget().Update(hwy::SupportedTargets());
    const auto loads = some_loads();
    ++tried;
    ASSERT_EQ(loads.size(), usual.size());
    for (std::size_t i = 0; i < loads.size(); ++i) {
      ASSERT_EQ(loads[i].torque_N_m, usual[i].torque_N_m) << hwy::TargetName(target) << ' ' << i;
      ASSERT_EQ(loads[i].thrust_N, usual[i].thrust_N) << hwy::TargetName(target) << ' ' << i;
      ASSERT_EQ(loads[i].largest_residual, usual[i].largest_residual) << hwy::TargetName(target);
    }
  }
  hwy::SetSupportedTargetsForTest(0);
  hwy::GetChosenTarget().Update(hwy::SupportedTargets());
  EXPECT_GE(tried, 1);
  RecordProperty("instruction_sets", tried);
}

}  // namespace
}  // namespace windwright::physics
