// SPDX-License-Identifier: Apache-2.0
#include "base/settings.h"

#include "base/errors.h"

#include <gtest/gtest.h>

#include <functional>
#include <string>

namespace windwright::base {
namespace {

std::string complaint(const std::string& text, const std::function<void(const Settings&)>& read) {
  try {
    read(Settings::from_text(text, "bench.toml"));
  } catch (const BadInput& error) {
    return error.what();
  }
  return "";
}

constexpr const char* text = R"(schema = 1
[rotor]
tip_radius_m = -0.25
blades = 2.5
[[station]]
radius_m = 0.1
[[station]]
radius_m = 0.2
chrod_m = 0.05
)";

TEST(Settings, NamesFileLineAndBoundOfABadNumber) {
  EXPECT_EQ(complaint(text,
                      [](const Settings& s) {
                        s.table("rotor").number("tip_radius_m", Bounds::positive());
                      }),
            "bench.toml:3: tip_radius_m is -0.25: a number above 0");
}

TEST(Settings, RefusesAFractionWhereAWholeNumberIsWanted) {
  EXPECT_EQ(complaint(text, [](const Settings& s) { s.table("rotor").integer("blades"); }),
            "bench.toml:4: blades is the number 2.5: a whole number");
}

TEST(Settings, PointsAtTheTableThatLacksAKey) {
  EXPECT_EQ(
      complaint(text, [](const Settings& s) { s.tables("station").at(1).number("twist_deg"); }),
      "bench.toml:7: key 'twist_deg' is missing in [[station]]: twist_deg = a number");
}

TEST(Settings, SuggestsTheKeyThatWasMeant) {
  EXPECT_EQ(complaint(text,
                      [](const Settings& s) {
                        s.table("rotor").number("tip_radius_m");
                        s.table("rotor").number("blades");
                        for (const Settings& station : s.tables("station")) {
                          station.number("radius_m");
                          station.number_or("chord_m", 0.1);
                        }
                        s.refuse_unread_keys();
                      }),
            "bench.toml:9: key 'chrod_m' is not known here: 'chord_m', or leave it out");
}

TEST(Settings, RefusesNotANumber) {
  EXPECT_EQ(complaint("schema = 1\nx = nan\n", [](const Settings& s) { s.number("x"); }),
            "bench.toml:2: x is nan: a finite number");
}

TEST(Settings, RefusesAnUnknownSchemaAndNoSchema) {
  const auto nothing = [](const Settings&) {};
  EXPECT_EQ(complaint("schema = 2\n", nothing),
            "bench.toml:1: this schema is not known: schema = 1");
  EXPECT_EQ(complaint("x = 2\n", nothing),
            "bench.toml:1: key 'schema' is missing: schema = 1 as the first key");
}

TEST(Settings, SaysWhereTheTextStopsBeingToml) {
  const std::string message = complaint("schema = 1\n[rotor\n", [](const Settings&) {});
  EXPECT_TRUE(message.starts_with("bench.toml:2: is not TOML (")) << message;
}

TEST(Settings, KeepsTheOrderOfKeys) {
  const Settings settings = Settings::from_text("schema = 1\nb = 1\na = 2\n", "x.toml");
  EXPECT_EQ(settings.keys(), (std::vector<std::string>{"schema", "b", "a"}));
}

}  // namespace
}  // namespace windwright::base
