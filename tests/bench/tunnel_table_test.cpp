// SPDX-License-Identifier: Apache-2.0
#include "bench/tunnel_table.h"

#include "base/errors.h"
#include "base/settings.h"
#include "bench/bench.h"
#include "bench/rotor_file.h"

#include <gtest/gtest.h>

#include <cmath>
#include <string>

namespace windwright::bench {
namespace {

const std::string plain =
    "schema = 1\n[tunnel]\nrated_air_speed_m_s = 14.0\ntime_constant_s = 1.5\n"
    "turbulence_intensity_pct = 1.0\nintegral_length_m = 0.5\n";
const std::string at_one_place = "position_factor = 0.98\nu_position_factor = 0.004\n";

Bench read(const std::string& text) {
  Bench bench{};
  bench.rotor = rotor_from_file(SOURCE_FOLDER "/examples/saltmarsh-college/rotor.toml");
  const auto root = base::Settings::from_text(text, "bench.toml");
  read_tunnel_table(root.table("tunnel"), bench);
  root.refuse_unread_keys();
  return bench;
}

std::string complaint_about(const std::string& text) {
  try {
    read(text);
  } catch (const base::BadInput& error) {
    return error.what();
  }
  return "no complaint";
}

TEST(TunnelTable, WithoutASectionItIsAnOpenJet) {
  const Bench bench = read(plain + at_one_place);
  EXPECT_FALSE(bench.tunnel.section_area_m2);
  EXPECT_EQ(bench.position_factor, 0.98);
  EXPECT_EQ(bench.disc_cube.profile, 1.0);
  EXPECT_EQ(bench.disc_cube.unresolved_turbulence, 1.0);
  EXPECT_EQ(read(plain + at_one_place + "section_area_m2 = 2.2\n").tunnel.section_area_m2, 2.2);
}

TEST(TunnelTable, AProfileStandsForThePositionFactor) {
  const Bench bench = read(plain +
                           "profile_radius_m = [0.0, 0.3]\nprofile_speed_ratio = [1.0, 0.9]\n"
                           "u_profile_speed_ratio = 0.005\n");
  EXPECT_NEAR(bench.position_factor, 1.0 - 2.0 / 30.0, 1e-12);
  EXPECT_EQ(bench.u_position_factor, 0.005);
  EXPECT_GT(bench.disc_cube.profile, 1.0);
  EXPECT_GT(bench.disc_cube.u_profile, 0.0);
}

TEST(TunnelTable, UnresolvedTurbulenceCountsOnlyWhereStated) {
  const Bench bench = read(plain + at_one_place +
                           "unresolved_turbulence_pct = 5\nu_unresolved_turbulence_pct = 2\n");
  EXPECT_NEAR(bench.disc_cube.unresolved_turbulence, 1.0075, 1e-12);
  EXPECT_NEAR(bench.disc_cube.u_unresolved_turbulence, 6.0 * 0.05 * 0.02, 1e-12);
}

TEST(TunnelTable, NamesTheLineOfWhatDoesNotFit) {
  EXPECT_EQ(complaint_about(plain + at_one_place + "section_area_m2 = 0.2\n"),
            "bench.toml:9: the rotor sweeps 0.2827 m2 and does not fit into it: the clear area of "
            "the closed section, or no such key for an open jet");
  const std::string profile =
      "profile_radius_m = [0.0, 0.3]\nprofile_speed_ratio = [1.0, 0.9]\n"
      "u_profile_speed_ratio = 0.005\n";
  EXPECT_EQ(complaint_about(plain + at_one_place + profile),
            "bench.toml:7: position_factor does not go with a profile, whose area mean stands for "
            "it: leave it out, or the profile");
  const auto with = [&](const std::string& radii, const std::string& ratios) {
    return complaint_about(plain + "profile_radius_m = " + radii + "\nprofile_speed_ratio = " +
                           ratios + "\nu_profile_speed_ratio = 0.005\n");
  };
  EXPECT_EQ(with("[0.0, 0.25]", "[1.0, 0.9]"),
            "bench.toml:7: the profile ends at 0.25 m, inside the rotor's tip at 0.3 m: a traverse "
            "that reaches at least the tip");
  EXPECT_EQ(
      with("[0.0, 0.2, 0.3]", "[1.0, 0.9]"),
      "bench.toml:8: 2 speed ratios stand against 3 radii: one for each radius, two at least");
  EXPECT_EQ(with("[0.0, 0.3, 0.2]", "[1.0, 0.9, 0.8]"),
            "bench.toml:7: the radii do not ascend: from the axis outwards, each once");
}

}  // namespace
}  // namespace windwright::bench
