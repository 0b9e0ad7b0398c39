// SPDX-License-Identifier: Apache-2.0
#include "physics/blockage.h"

#include "base/errors.h"
#include "physics/rotor.h"

#include <boost/math/tools/toms748_solve.hpp>
#include <fmt/format.h>

#include <cmath>
#include <cstdint>

namespace windwright::physics {

namespace {

// Every state of the disc has one ratio of wake to bypass speed; the theory ends at these two,
// which in open air are the axial inductions 0.4 and -0.2.
constexpr double lowest_wake_ratio = 0.2;
constexpr double highest_wake_ratio = 1.4;

void check_blockage(double blockage) {
  if (!(blockage >= 0.0 && blockage < 1.0)) {
    throw base::BadInput("blockage", fmt::format("{} of the section", blockage),
                         "rotor area over section area, from 0 to less than 1");
  }
}

void check(double blockage, double ct) {
  check_blockage(blockage);
  if (!std::isfinite(ct)) {
    throw base::BadInput("thrust coefficient", fmt::format("{}", ct), "a finite number");
  }
}

// Speed through a disc in open air over the air speed, from q = ct over that ratio squared.
// Momentum theory: q = 4 a / (1 - a). Above a = 0.4 Buhl's ct = 8/9 - 4/9 a + 14/9 a^2, solved for
// 1 - a.
double free_disc_speed_ratio(double q) {
  constexpr double q_at_limit = 4.0 * 0.4 / 0.6;
  if (q <= q_at_limit) return 4.0 / (4.0 + q);
  return 4.0 / (8.0 / 3.0 + std::sqrt(8.0 * q - 16.0 / 3.0));
}

// x = wake over bypass speed. Mass gives the wake's share s of the section, s (bypass - wake) =
// bypass - 1; Bernoulli on both sides ct = bypass^2 - wake^2; both in the momentum balance leave
// b (bypass^2 - wake^2) = (bypass - 1)(bypass + 2 wake - 1), a quadratic in the bypass speed.
ConfinedDisc state_at(double blockage, double x) {
  const double b = blockage;
  const double bypass =
      (1.0 + x + std::sqrt(x * x + b * (1.0 - x * x))) / (1.0 + 2.0 * x - b * (1.0 - x * x));
  const double wake = x * bypass;
  // disc = s wake / b, with the quadratic put in for the difference that vanishes with b.
  const double disc = wake * (bypass + wake) / (bypass + 2.0 * wake - 1.0);
  const double ct = bypass * bypass * (1.0 - x * x);
  const double free_disc = free_disc_speed_ratio(ct / (disc * disc));
  return {.ct = ct,
          .disc_speed_ratio = disc,
          .wake_speed_ratio = wake,
          .bypass_speed_ratio = bypass,
          .free_speed_ratio = disc / free_disc,
          .free_induction = 1.0 - free_disc,
          .held = false};
}

double free_ct(const ConfinedDisc& disc) {
  return disc.ct / (disc.free_speed_ratio * disc.free_speed_ratio);
}

// The state whose `coefficient`, which falls with x, is as wanted; else the limit it lies beyond.
ConfinedDisc solved(double blockage, double wanted, auto&& coefficient) {
  ConfinedDisc most = state_at(blockage, lowest_wake_ratio);
  ConfinedDisc least = state_at(blockage, highest_wake_ratio);
  const double at_most = coefficient(most) - wanted;
  const double at_least = coefficient(least) - wanted;
  if (at_most <= 0.0 || at_least >= 0.0) {
    ConfinedDisc& limit = at_most <= 0.0 ? most : least;
    limit.held = coefficient(limit) != wanted;
    return limit;
  }
  std::uintmax_t tries = 200;
  const auto [low, high] = boost::math::tools::toms748_solve(
      [&](double x) { return coefficient(state_at(blockage, x)) - wanted; }, lowest_wake_ratio,
      highest_wake_ratio, at_most, at_least, boost::math::tools::eps_tolerance<double>(50), tries);
  return state_at(blockage, 0.5 * (low + high));
}

}  // namespace

ConfinedDisc confined_disc(double blockage, double ct) {
  check(blockage, ct);
  return solved(blockage, ct, [](const ConfinedDisc& disc) { return disc.ct; });
}

ConfinedDisc confined_disc_from_free(double blockage, double free_ct_wanted) {
  check(blockage, free_ct_wanted);
  return solved(blockage, free_ct_wanted, free_ct);
}

double largest_confined_ct(double blockage) {
  check_blockage(blockage);
  return state_at(blockage, lowest_wake_ratio).ct;
}

double largest_cp(double blockage) {
  check_blockage(blockage);
  return 16.0 / 27.0 / ((1.0 - blockage) * (1.0 - blockage));
}

RotorInTunnel rotor_in_tunnel(const Rotor& rotor, const RotorFlow& flow, double section_area_m2,
                              const RotorOptions& options) {
  const double area_m2 = swept_area_m2(rotor);
  if (!(section_area_m2 > area_m2)) {
    throw base::BadInput(
        "section_area_m2",
        fmt::format("{} m2 do not hold the rotor's {:.4g} m2", section_area_m2, area_m2),
        "the clear cross-section of the tunnel at the rotor");
  }
  const double blockage = area_m2 / section_area_m2;
  RotorInTunnel found{.load = rotor_load(rotor, flow, options),
                      .disc = confined_disc_from_free(blockage, 0.0),
                      .free_air_speed_m_s = flow.air_speed_m_s};
  if (!(flow.air_speed_m_s > 0.0)) return found;

  const double V = flow.air_speed_m_s;
  const auto at = [&](double free_air_speed_m_s) {
    RotorFlow free = flow;
    free.air_speed_m_s = free_air_speed_m_s;
    found.free_air_speed_m_s = free_air_speed_m_s;
    found.load = rotor_load(rotor, free, options);
    found.disc = confined_disc_from_free(blockage, found.load.ct);
    return free_air_speed_m_s / found.disc.free_speed_ratio - V;
  };
  // No disc state has a ratio outside these two (by more than 1e-10, where closures meet).
  constexpr double margin = 1e-6;
  const double low = (1.0 - margin) * V * state_at(blockage, highest_wake_ratio).free_speed_ratio;
  const double high = (1.0 + margin) * V * state_at(blockage, lowest_wake_ratio).free_speed_ratio;
  const double at_low = at(low);
  const double at_high = at(high);
  std::uintmax_t tries = 200;
  const auto [below, above] = boost::math::tools::toms748_solve(
      at, low, high, at_low, at_high, boost::math::tools::eps_tolerance<double>(40), tries);
  at(0.5 * (below + above));
  const double ratio = found.free_air_speed_m_s / V;
  found.load.tip_speed_ratio *= ratio;
  found.load.cp *= ratio * ratio * ratio;
  found.load.cq *= ratio * ratio;
  found.load.ct *= ratio * ratio;
  return found;
}

RotorLoad rotor_load_in_tunnel(const Rotor& rotor, const RotorFlow& flow, double section_area_m2,
                               const RotorOptions& options) {
  return rotor_in_tunnel(rotor, flow, section_area_m2, options).load;
}

}  // namespace windwright::physics
