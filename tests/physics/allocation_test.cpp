// SPDX-License-Identifier: Apache-2.0
#include "counted_allocations.h"
#include "load_examples.h"
#include "physics/ac_period.h"

#include <gtest/gtest.h>

#include <cstdint>
#include <memory>
#include <vector>

namespace windwright::physics {
namespace {

TEST(AcPeriod, TabulatingFillingAndAveragingAllocateNothing) {
  const auto period = std::make_unique<AcPeriod>();
  std::vector<double> voltage_V(5000);
  std::vector<double> current_A(5000);
  for (const auto& [name, supply] : supplies()) {
    std::vector<SwitchedLoad> loads;
    for (const auto& [load_name, load] : ac_loads(supply))
      loads.push_back(load);
    const std::int64_t before = allocations;
    const AcTotal total = ac_total(loads, supply, 298.15);
    tabulate({.supply = supply,
              .ripple = {.amplitude_V = 2.0, .modulation = 0.8, .frequency_Hz = 40e3},
              .dc_voltage_V = 24.0,
              .dc_current_A = total.active_power_W / 22.0,
              .dc_ripple_share = 1.0},
             loads, *period);
    fill(*period, {}, 4e-6, {voltage_V, current_A, {}});
    EXPECT_EQ(allocations, before) << name;
  }
}

}  // namespace
}  // namespace windwright::physics
