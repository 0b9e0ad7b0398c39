// SPDX-License-Identifier: Apache-2.0
#include "physics/polar.h"
#include "physics/rotor.h"

#include <gtest/gtest.h>
#include <rapidcheck.h>
#include <rapidcheck/gtest.h>

#include <cmath>
#include <memory>
#include <numbers>
#include <vector>

namespace windwright::physics {
namespace {

constexpr double pi = std::numbers::pi;
constexpr double degree = pi / 180.0;
constexpr double betz = 16.0 / 27.0;

double between(double low, double high) {
  return low + (high - low) * (*rc::gen::inRange(0, 1000001)) * 1e-6;
}

std::shared_ptr<const Polar> any_polar() {
  const double slope = between(0.06, 0.11);  // a degree
  const double camber_deg = between(-2.0, 6.0);
  const double stall = between(0.6, 1.6);
  const double drag = between(0.0, 0.05);
  std::vector<PolarRow> rows;
  for (const double reynolds : {3e4, 3e5}) {
    for (int alpha_deg = -15; alpha_deg <= 25; ++alpha_deg) {
      const double cl = stall * std::tanh(slope * (alpha_deg + camber_deg) / stall);
      rows.push_back({.reynolds = reynolds,
                      .alpha_rad = alpha_deg * degree,
                      .cl = cl * (reynolds > 1e5 ? 1.0 : 0.9),
                      .cd = drag * (reynolds > 1e5 ? 1.0 : 1.5) + 1e-4 * alpha_deg * alpha_deg});
    }
  }
  return std::make_shared<const Polar>(rows, between(3.0, 20.0));
}

Rotor any_rotor() {
  const auto polar = any_polar();
  const double tip_m = between(0.1, 2.0);
  const double hub_m = tip_m * between(0.05, 0.4);
  return {.blades = *rc::gen::inRange(1, 13),
          .hub_radius_m = hub_m,
          .tip_radius_m = tip_m,
          .pitch_rad = between(-20.0, 90.0) * degree,
          .stations = {{hub_m, tip_m * between(0.02, 0.25), between(-5.0, 50.0) * degree, polar},
                       {tip_m, tip_m * between(0.02, 0.15), between(-5.0, 15.0) * degree, polar}}};
}

RotorFlow any_flow(const Rotor& rotor, double lowest_ratio, double highest_ratio) {
  const double air_speed_m_s = between(0.5, 30.0);
  return {.air_speed_m_s = air_speed_m_s,
          .rotor_speed_rad_s =
              between(lowest_ratio, highest_ratio) * air_speed_m_s / rotor.tip_radius_m,
          .density_kg_m3 = between(0.9, 1.4),
          .dynamic_viscosity_Pa_s = 1.8e-5};
}

bool finite(const RotorLoad& load) {
  return std::isfinite(load.tip_speed_ratio) && std::isfinite(load.power_W) &&
         std::isfinite(load.torque_N_m) && std::isfinite(load.thrust_N) && std::isfinite(load.cp) &&
         std::isfinite(load.cq) && std::isfinite(load.ct);
}

RC_GTEST_PROP(RotorProperty, IsFiniteForEveryBladeCountPitchAndTipSpeedRatio, ()) {
  const auto rotor = any_rotor();
  RC_ASSERT(finite(rotor_load(rotor, any_flow(rotor, 0.05, 25.0))));
}

RC_GTEST_PROP(RotorProperty, IsFiniteTurningBackwardsAtStandstillAndInStillAir, ()) {
  const auto rotor = any_rotor();
  auto flow = any_flow(rotor, -25.0, 5.0);
  RC_ASSERT(finite(rotor_load(rotor, flow)));
  flow.rotor_speed_rad_s = 0.0;
  RC_ASSERT(finite(rotor_load(rotor, flow)));
  flow.air_speed_m_s = 0.0;
  RC_ASSERT(finite(rotor_load(rotor, flow)));
  flow.rotor_speed_rad_s = between(-300.0, 300.0);
  RC_ASSERT(finite(rotor_load(rotor, flow)));
}

RC_GTEST_PROP(RotorProperty, NeverTakesMoreThanTheActuatorDiscLimit, ()) {
  const auto rotor = any_rotor();
  const auto span = rotor_span(rotor, any_flow(rotor, 0.05, 25.0));
  RC_ASSERT(span.total.cp <= betz);
}

RC_GTEST_PROP(RotorProperty, SettlesNearlyEverywhereAtUsualPitches, ()) {
  auto rotor = any_rotor();
  rotor.blades = *rc::gen::inRange(1, 5);
  rotor.pitch_rad = between(-10.0, 30.0) * degree;
  RC_ASSERT(rotor_load(rotor, any_flow(rotor, 0.05, 25.0)).unconverged_elements <= 1);
}

// What an element's blades do is what its annulus shows: thrust by momentum while a is below 0.4.
RC_GTEST_PROP(RotorProperty, BladeForcesBalanceTheAnnulusMomentum, ()) {
  const auto rotor = any_rotor();
  const auto flow = any_flow(rotor, 0.5, 12.0);
  const auto span = rotor_span(rotor, flow);
  for (const ElementLoad& element : span.elements) {
    const double a = element.axial_induction;
    if (!element.converged || a > 0.4 || a < -0.5) continue;
    const double V = flow.air_speed_m_s;
    const double annulus_N_m1 = pi * element.radius_m * flow.density_kg_m3 * V * V;
    const double ct = rotor.blades * element.normal_load_N_m1 / annulus_N_m1;
    RC_ASSERT(std::abs(ct - 4.0 * element.loss_factor * a * (1.0 - a)) <
              1e-6 * (1.0 + std::abs(ct)));
  }
}

RC_GTEST_PROP(RotorProperty, PowerIsTorqueTimesRotorSpeed, ()) {
  const auto rotor = any_rotor();
  const auto flow = any_flow(rotor, -25.0, 25.0);
  const auto load = rotor_load(rotor, flow);
  RC_ASSERT(load.power_W == load.torque_N_m * flow.rotor_speed_rad_s);
}

}  // namespace
}  // namespace windwright::physics
