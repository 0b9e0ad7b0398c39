// SPDX-License-Identifier: Apache-2.0
#include "physics/dynamic_inflow.h"

#include <algorithm>
#include <cmath>
#include <functional>
#include <limits>

namespace windwright::physics {

namespace {

constexpr double k = 0.6;  // share of W_qs that passes the slow filter at once

}  // namespace

InflowLags inflow_lags(double air_speed_m_s, double induced_m_s, double tip_radius_m,
                       double radius_ratio_squared) {
  constexpr double highest_induction = 0.5;
  constexpr double lowest_share = 1.0 - 1.3 * highest_induction;
  const double carried_m_s =
      std::max({air_speed_m_s - 1.3 * induced_m_s, lowest_share * air_speed_m_s,
                lowest_share * std::abs(induced_m_s)});
  const double slow_s = carried_m_s > 0.0 ? 1.1 * tip_radius_m / carried_m_s
                                          : std::numeric_limits<double>::infinity();
  return {.slow_s = slow_s, .fast_s = (0.39 - 0.26 * radius_ratio_squared) * slow_s};
}

InducedFlowRates inflow_rates(const InducedFlow& flow, double quasi_steady_m_s,
                              const InflowLags& lags) {
  return {
      .lagging_m_s2 = ((1.0 - k) * quasi_steady_m_s - flow.lagging_m_s) / lags.slow_s,
      .induced_m_s2 = (k * quasi_steady_m_s + flow.lagging_m_s - flow.induced_m_s) / lags.fast_s};
}

InducedFlow settled_inflow(double quasi_steady_m_s) {
  return {.lagging_m_s = (1.0 - k) * quasi_steady_m_s, .induced_m_s = quasi_steady_m_s};
}

InducedFlow inflow_after(const InducedFlow& flow, const QuasiSteadyRamp& quasi_steady,
                         const InflowLags& lags, double step_s) {
  // Each state is what follows the ramp, running behind it, and what dies away.
  const double behind_x = (1.0 - k) * quasi_steady.slope_m_s2 * lags.slow_s;
  const double behind_w = behind_x + quasi_steady.slope_m_s2 * lags.fast_s;
  const double slow = flow.lagging_m_s - ((1.0 - k) * quasi_steady.start_m_s - behind_x);
  const double slow_in_w = slow * lags.slow_s / (lags.slow_s - lags.fast_s);
  const double fast = flow.induced_m_s - (quasi_steady.start_m_s - behind_w) - slow_in_w;
  const double slow_left = std::exp(-step_s / lags.slow_s);
  const double end_m_s = quasi_steady.start_m_s + quasi_steady.slope_m_s2 * step_s;
  return {.lagging_m_s = (1.0 - k) * end_m_s - behind_x + slow * slow_left,
          .induced_m_s =
              end_m_s - behind_w + slow_in_w * slow_left + fast * std::exp(-step_s / lags.fast_s)};
}

double disc_axial_induction(double thrust_coefficient) {
  // Buhl's parabola 8/9 - 4/9 a + 14/9 a^2 touches 4 a (1 - a) at a = 0.4 and meets 4 a (a - 1) at
  // a = (32 + sqrt(1728)) / 44.
  constexpr double buhl_from = 0.96;
  constexpr double reversed_from_a = 1.6720277132193877;
  constexpr double reversed_from = 4.0 * reversed_from_a * (reversed_from_a - 1.0);
  if (thrust_coefficient <= buhl_from) return 0.5 * (1.0 - std::sqrt(1.0 - thrust_coefficient));
  if (thrust_coefficient < reversed_from)
    return (2.0 + std::sqrt(4.0 - 14.0 * (8.0 - 9.0 * thrust_coefficient))) / 14.0;
  return 0.5 * (1.0 + std::sqrt(1.0 + thrust_coefficient));
}

EquivalentAir equivalent_air(const std::function<double(double)>& induced_m_s,
                             double disc_air_speed_m_s, const EquivalentAir& near) {
  const auto excess_m_s = [&](double air_speed_m_s) {
    return air_speed_m_s - induced_m_s(air_speed_m_s) - disc_air_speed_m_s;
  };
  // The secant, kept between the nearest speeds known to be too low and too high. A step this short
  // leaves far less behind, as the slope is good by then.
  constexpr double short_step = 1e-9;
  constexpr int most_steps = 200;
  bool low_known = false;
  double low_m_s = 0.0;
  double high_m_s = std::numeric_limits<double>::infinity();
  double slope = near.slope;
  double before_m_s =
      near.air_speed_m_s + (disc_air_speed_m_s - near.disc_air_speed_m_s) / near.slope;
  if (!(before_m_s > 0.0)) before_m_s = near.air_speed_m_s;
  double before_excess_m_s = excess_m_s(before_m_s);
  double now_m_s = before_m_s - before_excess_m_s / slope;
  for (int step = 0; step < most_steps; ++step) {
    if (before_excess_m_s > 0.0) {
      high_m_s = before_m_s;
    } else {
      low_m_s = before_m_s;
      low_known = true;
    }
    if (!low_known && !(now_m_s > 0.0)) {
      const double least_m_s = excess_m_s(0.0);
      if (least_m_s >= 0.0) return {0.0, disc_air_speed_m_s + least_m_s, slope};
      low_known = true;
    }
    const double furthest_m_s = std::min(high_m_s, 4.0 * low_m_s + 1.0);
    if (std::abs(now_m_s - before_m_s) <= short_step * now_m_s)
      return {now_m_s, disc_air_speed_m_s, slope};
    if (!(now_m_s > low_m_s && now_m_s < furthest_m_s)) {
      now_m_s = 0.5 * (low_m_s + furthest_m_s);
    }
    const double now_excess_m_s = excess_m_s(now_m_s);
    if (now_excess_m_s == 0.0) return {now_m_s, disc_air_speed_m_s, slope};
    const double secant = (now_excess_m_s - before_excess_m_s) / (now_m_s - before_m_s);
    if (secant > 0.0) slope = secant;
    before_m_s = now_m_s;
    before_excess_m_s = now_excess_m_s;
    now_m_s = before_m_s - before_excess_m_s / slope;
  }
  return {now_m_s, disc_air_speed_m_s, slope};
}

double quasi_steady_induced_m_s(const Rotor& rotor, const RotorFlow& flow, double thrust_N) {
  const double area_m2 = swept_area_m2(rotor);
  if (flow.air_speed_m_s > 0.0) {
    const double ram_N =
        0.5 * flow.density_kg_m3 * area_m2 * flow.air_speed_m_s * flow.air_speed_m_s;
    return flow.air_speed_m_s * disc_axial_induction(thrust_N / ram_N);
  }
  return std::copysign(std::sqrt(std::abs(thrust_N) / (2.0 * flow.density_kg_m3 * area_m2)),
                       thrust_N);
}

UnsteadyLoad unsteady_load(const Rotor& rotor, const RotorFlow& flow, double induced_m_s) {
  RotorFlow equivalent = flow;
  const auto induced_at_m_s = [&](double air_speed_m_s) {
    equivalent.air_speed_m_s = air_speed_m_s;
    return quasi_steady_induced_m_s(rotor, equivalent, rotor_load(rotor, equivalent).thrust_N);
  };
  const EquivalentAir near{.air_speed_m_s = flow.air_speed_m_s,
                           .disc_air_speed_m_s = flow.air_speed_m_s - induced_m_s};
  equivalent.air_speed_m_s =
      equivalent_air(std::ref(induced_at_m_s), near.disc_air_speed_m_s, near).air_speed_m_s;
  const RotorLoad load = rotor_load(rotor, equivalent);
  return {.torque_N_m = load.torque_N_m,
          .thrust_N = load.thrust_N,
          .equivalent_air_speed_m_s = equivalent.air_speed_m_s,
          .quasi_steady_m_s = quasi_steady_induced_m_s(rotor, equivalent, load.thrust_N)};
}

}  // namespace windwright::physics
