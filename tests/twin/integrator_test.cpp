// SPDX-License-Identifier: Apache-2.0
#include "twin/integrator.h"

#include "base/errors.h"

#include <gtest/gtest.h>

#include <array>
#include <cmath>
#include <string>

namespace windwright::twin {
namespace {

constexpr std::array tolerance{1e-10};

Integrator::Event no_event() {
  return [](const void*, double, const double*) { return 1.0; };
}

/// dy/dt = -y, until a state that it refuses.
struct Decay {
  double refuses_below = 0.0;
};

Integrator::Rates decay() {
  return [](const void* model, double, const double* y, double* rates) {
    if (y[0] < static_cast<const Decay*>(model)->refuses_below)
      throw base::BadInput("decay", "the state is too small", "more");
    rates[0] = -y[0];
  };
}

TEST(Integrator, FollowsAnExponential) {
  const Decay model;
  Integrator integrator(&model, decay(), no_event(), tolerance, 1e-10);
  std::array y{1.0};
  integrator.begin(0.0, 2.0, Integrator::Crossing::falling, y);
  const Integrator::Ending ending = integrator.reach(2.0, y);
  EXPECT_EQ(ending.t, 2.0);
  EXPECT_FALSE(ending.stuck);
  EXPECT_NEAR(y[0], std::exp(-2.0), 1e-8);
  EXPECT_GT(integrator.calls(), 10);
}

// The exception comes out whole, once, and the integrator works again afterwards.
TEST(Integrator, HandsOnWhatTheRatesThrow) {
  Decay model{.refuses_below = 0.5};
  Integrator integrator(&model, decay(), no_event(), tolerance, 1e-10);
  std::array y{1.0};
  integrator.begin(0.0, 2.0, Integrator::Crossing::falling, y);
  try {
    integrator.reach(2.0, y);
    FAIL();
  } catch (const base::BadInput& bad) {
    EXPECT_EQ(std::string(bad.what()), "decay: the state is too small: more");
  }
  model.refuses_below = 0.0;
  y = {1.0};
  integrator.begin(0.0, 2.0, Integrator::Crossing::falling, y);
  integrator.reach(2.0, y);
  EXPECT_NEAR(y[0], std::exp(-2.0), 1e-8);
}

TEST(Integrator, HandsOnWhatTheEventThrows) {
  const Decay model;
  Integrator integrator(
      &model, decay(),
      [](const void*, double t, const double*) -> double {
        if (t > 0.5) throw base::DeviceFault("event", "it is late", "the time");
        return 1.0;
      },
      tolerance, 1e-10);
  std::array y{1.0};
  integrator.begin(0.0, 2.0, Integrator::Crossing::falling, y);
  EXPECT_THROW(integrator.reach(2.0, y), base::DeviceFault);
}

// A rate that turns with the sign of its state keeps a step from ever being right.
TEST(Integrator, TellsWhereNoStepLeadsOn) {
  Integrator integrator(
      nullptr,
      [](const void*, double, const double* y, double* rates) {
        rates[0] = y[0] > 0.0 ? -1e6 : 1e6;
      },
      no_event(), tolerance, 1e-10);
  std::array y{1.0};
  integrator.begin(0.0, 1.0, Integrator::Crossing::falling, y);
  const Integrator::Ending ending = integrator.reach(1.0, y);
  EXPECT_TRUE(ending.stuck);
  EXPECT_GT(ending.t, 0.0);
  EXPECT_LT(ending.t, 1.0);
}

}  // namespace
}  // namespace windwright::twin
