// SPDX-License-Identifier: Apache-2.0
#include "physics/blockage.h"

#include "base/errors.h"
#include "physics/rotor.h"

#include <boost/math/tools/toms748_solve.hpp>
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstdint>

namespace windwright::physics {

namespace {

// Every state of the disc has one ratio of wake to bypass speed. The limits lie at 0.2 and 1.4 in
// open air and higher with blockage, below 1.72: these are past both, at any blockage.
constexpr double lowest_wake_ratio = 0.1;
constexpr double highest_wake_ratio = 2.0;
constexpr double largest_induction = 0.4;
constexpr double smallest_induction = -0.2;

void check_blockage(double blockage) {
  if (!(blockage >= 0.0 && blockage < 1.0)) {
    throw base::BadInput("blockage", fmt::format("{} of the section", blockage),
                         "rotor area over section area, from 0 to less than 1");
  }
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
  return {.ct = ct,
          .disc_speed_ratio = disc,
          .wake_speed_ratio = wake,
          .bypass_speed_ratio = bypass,
          .free_speed_ratio = disc + ct / (4.0 * disc),
          .held = false};
}

// `excess` of a state falls with x, from above 0 to below.
ConfinedDisc solved(double blockage, auto&& excess) {
  std::uintmax_t tries = 200;
  const auto [low, high] = boost::math::tools::toms748_solve(
      [&](double x) { return excess(state_at(blockage, x)); }, lowest_wake_ratio,
      highest_wake_ratio, boost::math::tools::eps_tolerance<double>(50), tries);
  return state_at(blockage, 0.5 * (low + high));
}

// In open air a is the induction: ct = 4 a (1 - a) on the free speed disc / (1 - a).
ConfinedDisc state_of_induction(double blockage, double a) {
  return solved(blockage, [ratio = 4.0 * a / (1.0 - a)](const ConfinedDisc& state) {
    return state.ct - ratio * state.disc_speed_ratio * state.disc_speed_ratio;
  });
}

ConfinedDisc held(ConfinedDisc state) {
  state.held = true;
  return state;
}

}  // namespace

ConfinedDisc confined_disc(double blockage, double ct) {
  check_blockage(blockage);
  if (!std::isfinite(ct))
    throw base::BadInput("thrust coefficient", "not a number", "a finite one");
  const ConfinedDisc upper = state_of_induction(blockage, largest_induction);
  if (ct > upper.ct) return held(upper);
  const ConfinedDisc lower = state_of_induction(blockage, smallest_induction);
  if (ct < lower.ct) return held(lower);
  return solved(blockage, [ct](const ConfinedDisc& state) { return state.ct - ct; });
}

ConfinedDisc confined_disc_from_free(double blockage, double free_ct) {
  check_blockage(blockage);
  if (!std::isfinite(free_ct)) {
    throw base::BadInput("thrust coefficient", "not a number", "a finite one");
  }
  if (free_ct > largest_free_ct) return held(state_of_induction(blockage, largest_induction));
  if (free_ct < -largest_free_ct) return held(state_of_induction(blockage, smallest_induction));
  return state_of_induction(blockage, 0.5 * (1.0 - std::sqrt(1.0 - free_ct)));
}

double largest_confined_ct(double blockage) {
  check_blockage(blockage);
  return state_of_induction(blockage, largest_induction).ct;
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
  // No disc state has a ratio outside these two, so that the root lies between.
  const double low = V * state_of_induction(blockage, smallest_induction).free_speed_ratio;
  const double high = V * state_of_induction(blockage, largest_induction).free_speed_ratio;
  const double at_low = at(low);
  const double at_high = at(high);
  if (at_low < 0.0 && at_high > 0.0) {
    std::uintmax_t tries = 200;
    const auto [below, above] = boost::math::tools::toms748_solve(
        at, low, high, at_low, at_high, boost::math::tools::eps_tolerance<double>(40), tries);
    at(0.5 * (below + above));
  } else {
    at(at_low < 0.0 ? high : low);  // the limit itself, rounded
  }
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
