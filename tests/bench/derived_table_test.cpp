// SPDX-License-Identifier: Apache-2.0
#include "bench/derived_table.h"

#include "base/errors.h"
#include "base/settings.h"

#include <gtest/gtest.h>

#include <string>
#include <vector>

namespace windwright::bench {
namespace {

const std::vector<std::string> channels{"air_speed_m_s", "rotor_speed_rad_s", "dc_voltage_V"};

DerivedChannels read(const std::string& text) {
  return derived_from_tables(base::Settings::from_text("schema = 1\n" + text, "bench.toml"),
                             channels, 0.25);
}

std::string complaint(const std::string& text) {
  try {
    read(text);
  } catch (const base::BadInput& bad) {
    return bad.what();
  }
  return "none";
}

constexpr const char* tip_speed = R"([[derived]]
name = "tip_speed_ratio"
long_name = "tip-speed ratio"
equation = "rotor_speed_rad_s * tip_radius_m / air_speed_m_s"
)";

TEST(DerivedTable, IsComputedFromChannelsAndOtherDerivedOnes) {
  const DerivedChannels derived = read(std::string(tip_speed) + R"([[derived]]
name = "slow_part"
long_name = "what is missing to a tip-speed ratio of 5"
equation = "5 - tip_speed_ratio"
)");
  ASSERT_EQ(derived.list.size(), 2U);
  EXPECT_EQ(derived.list[0].unit, "1");
  const std::vector<double> inputs{8.0, 64.0, 12.0};
  const std::vector<double> steps = metrology::values_of(derived.program, inputs);
  EXPECT_DOUBLE_EQ(steps[derived.program.outputs[0]], 2.0);
  EXPECT_DOUBLE_EQ(steps[derived.program.outputs[1]], 3.0);
  EXPECT_EQ(derived.of[1], (std::vector<bool>{true, true, false}));
}

TEST(DerivedTable, TakesItsUnitFromItsName) {
  const DerivedChannels derived = read(R"([[derived]]
name = "tip_speed_m_s"
long_name = "speed of the blade tips"
equation = "rotor_speed_rad_s * tip_radius_m"
)");
  EXPECT_EQ(derived.list[0].unit, "m s-1");
}

TEST(DerivedTable, NeedNotBeThere) {
  EXPECT_TRUE(read("").list.empty());
}

TEST(DerivedTable, RefusesWhatCannotBeComputed) {
  EXPECT_EQ(complaint(std::string(tip_speed) + tip_speed),
            "bench.toml:7: name 'tip_speed_ratio' is there twice: a name of its own");
  EXPECT_EQ(complaint(R"([[derived]]
name = "dc_voltage_V"
long_name = "again"
equation = "air_speed_m_s"
)"),
            "bench.toml:3: name 'dc_voltage_V' is there twice: a name of its own");
  EXPECT_EQ(complaint(R"([[derived]]
name = "sqrt"
long_name = "a function's name"
equation = "air_speed_m_s"
)"),
            "bench.toml:3: 'sqrt' cannot be a name: letters, digits and _, no digit first, no "
            "function's name nor pi");
  EXPECT_EQ(complaint(R"([[derived]]
name = "constant_part"
long_name = "nothing measured"
equation = "2 * tip_radius_m"
)"),
            "bench.toml:5: 'constant_part' does not depend on any channel: an equation that names "
            "one channel at least");
  EXPECT_NE(complaint(R"([[derived]]
name = "unknown_part"
long_name = "of a channel that is not there"
equation = "torque_N_m * rotor_speed_rad_s"
)")
                .find("bench.toml:5"),
            std::string::npos);
}

}  // namespace
}  // namespace windwright::bench
