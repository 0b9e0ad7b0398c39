// SPDX-License-Identifier: Apache-2.0
#include "base/random.h"
#include "signal/ac_power.h"

#include <gtest/gtest.h>
#include <hwy/targets.h>

#include <array>
#include <cmath>
#include <cstddef>
#include <numbers>
#include <vector>

namespace windwright::signal {
namespace {

std::vector<double> some_figures() {
  const base::RandomStream random(3, "figures");
  std::vector<double> v(30011);
  std::vector<double> i(v.size());
  for (std::size_t n = 0; n < v.size(); ++n) {
    const double angle = 2.0 * std::numbers::pi * 51.7 / 50000.0 * static_cast<double>(n);
    v[n] = 300.0 * std::sin(angle) + random.normal(n);
    i[n] = 2.0 * std::sin(angle - 1.0) + std::sin(3.0 * angle) + 0.1 * random.normal(90000 + n);
  }
  const PairPower got = pair_power(std::array{PairStretch{v, i}}, 50000.0, {}, "figures");
  std::vector<double> figures{got.voltage.rms,           got.current.rms,     got.active_power_W,
                              got.voltage.mean,          got.current.largest, got.current.least,
                              got.current.rectified_mean};
  for (const PairHarmonic& harmonic : got.alternating.value().harmonics)
    figures.push_back(harmonic.current_A + harmonic.voltage_phase_rad);
  return figures;
}

// A result must not depend on the machine that computed it.
TEST(PairPower, IsTheSameToTheBitWithEveryInstructionSet) {
  const std::vector<double> widest = some_figures();
  const auto all = hwy::SupportedTargets();
  int tried = 0;
  for (auto left = all; left != 0; left &= left - 1) {
    const auto target = left & -left;
    hwy::SetSupportedTargetsForTest(target);
    hwy::GetChosenTarget().Update(hwy::SupportedTargets());
    EXPECT_EQ(some_figures(), widest) << hwy::TargetName(target);
    ++tried;
  }
  hwy::SetSupportedTargetsForTest(0);
  hwy::GetChosenTarget().Update(hwy::SupportedTargets());
  EXPECT_GE(tried, 1);
  RecordProperty("instruction_sets", tried);
}

}  // namespace
}  // namespace windwright::signal
