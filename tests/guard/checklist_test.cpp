// SPDX-License-Identifier: Apache-2.0
#include "guard/checklist.h"

#include "bench/bench.h"

#include <fmt/format.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <cstddef>
#include <fstream>
#include <iterator>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::guard {
namespace {

std::size_t place_of(const std::vector<ChecklistStep>& steps, std::string_view id) {
  const auto at = std::find_if(steps.begin(), steps.end(),
                               [id](const ChecklistStep& step) { return step.id == id; });
  EXPECT_NE(at, steps.end()) << id;
  return static_cast<std::size_t>(at - steps.begin());
}

TEST(Checklist, PageShowsEveryStepInOrder) {
  std::string list;
  std::size_t number = 0;
  for (const ChecklistStep& step : start_of_session())
    list += fmt::format("{}. **{}**{}: {}.\n", ++number, step.what,
                        step.battery_only ? " (with a battery)" : "", step.why);
  std::ifstream in(std::string(SOURCE_FOLDER) + "/docs/safety.md");
  const std::string page{std::istreambuf_iterator<char>(in), {}};
  EXPECT_NE(page.find(list), std::string::npos) << "docs/safety.md should show\n" << list;
}

TEST(Checklist, LeavesOutBatteryAndInverterWhereThereAreNone) {
  const std::string examples = std::string(SOURCE_FOLDER) + "/examples/";
  const auto shed =
      start_of_session(bench::bench_from_file(examples + "saltmarsh-shed/bench.toml"));
  const auto college =
      start_of_session(bench::bench_from_file(examples + "saltmarsh-college/bench.toml"));
  EXPECT_EQ(shed.size(), start_of_session().size());
  EXPECT_EQ(college.size(), shed.size() - 2);
}

TEST(Checklist, HandsAreDoneBeforePowerAndStopsAreTriedBeforeTheyAreNeeded) {
  const std::vector<ChecklistStep> steps = start_of_session();
  EXPECT_LT(place_of(steps, "isolated"), place_of(steps, "rotor"));
  for (const char* by_hand : {"rotor", "tunnel", "wiring", "battery", "guard_closed"})
    EXPECT_LT(place_of(steps, by_hand), place_of(steps, "power_on")) << by_hand;
  EXPECT_LT(place_of(steps, "emergency_stop"), place_of(steps, "watchdog"));
  for (const char* before : {"guard_closed", "cover_switch", "load", "sensors", "announce"})
    EXPECT_LT(place_of(steps, before), place_of(steps, "emergency_stop")) << before;
  EXPECT_EQ(place_of(steps, "run_up"), steps.size() - 1);
}

}  // namespace
}  // namespace windwright::guard
