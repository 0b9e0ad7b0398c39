// SPDX-License-Identifier: Apache-2.0
#include "physics/start_up.h"

#include "physics/blockage.h"

#include <boost/math/tools/minima.hpp>
#include <boost/math/tools/toms748_solve.hpp>
#include <boost/numeric/odeint.hpp>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <functional>
#include <limits>
#include <numbers>
#include <optional>
#include <utility>
#include <vector>

namespace windwright::physics {

namespace {

constexpr double open_circuit = std::numeric_limits<double>::infinity();
using Function = std::function<double(double)>;

struct SteadyDisc {
  double torque_N_m;
  double induced_m_s;  // the tunnel's, or the free, air speed less that through the disc
};

SteadyDisc steady_disc(const TurningSet& set, const RotorFlow& flow) {
  if (set.section_area_m2 > 0.0) {
    const RotorInTunnel in = rotor_in_tunnel(set.rotor, flow, set.section_area_m2);
    return {.torque_N_m = in.load.torque_N_m,
            .induced_m_s = flow.air_speed_m_s * (1.0 - in.disc.disc_speed_ratio)};
  }
  const RotorLoad load = rotor_load(set.rotor, flow);
  return {.torque_N_m = load.torque_N_m,
          .induced_m_s = quasi_steady_induced_m_s(set.rotor, flow, load.thrust_N)};
}

double torque_N_m(const TurningSet& set, RotorFlow flow, double rotor_speed_rad_s) {
  flow.rotor_speed_rad_s = rotor_speed_rad_s;
  return steady_disc(set, flow).torque_N_m;
}

// What is left to speed the rotor up.
double driving_N_m(const TurningSet& set, const RotorFlow& flow, double load_resistance_ohm,
                   double rotor_speed_rad_s) {
  return torque_N_m(set, flow, rotor_speed_rad_s) -
         generator_load(set.generator, rotor_speed_rad_s, load_resistance_ohm).shaft_torque_N_m;
}

struct Sample {
  double x;
  double y;
};

double root_between(const Function& f, const Sample& a, const Sample& b) {
  std::uintmax_t tries = 100;
  const auto [low, high] = boost::math::tools::toms748_solve(
      f, a.x, b.x, a.y, b.y, boost::math::tools::eps_tolerance<double>(40), tries);
  return 0.5 * (low + high);
}

// The largest (sign 1) or smallest (-1) value between two speeds.
Sample extreme_between(const Function& f, double low, double high, double sign) {
  constexpr int bits = 24;
  std::uintmax_t tries = 60;
  const auto [x, y] = boost::math::tools::brent_find_minima(
      [&](double at) { return -sign * f(at); }, low, high, bits, tries);
  return {x, -sign * y};
}

constexpr double lowest_ratio = 1e-3;  // turning, just
constexpr double highest_ratio = 25.0;

// Tip-speed ratios to look at: finer where stall makes the torque uneven.
std::vector<double> ratios() {
  std::vector<double> all{lowest_ratio};
  for (int i = 1; i < 40; ++i)
    all.push_back(0.1 * i);
  for (int i = 0; i <= 84; ++i)
    all.push_back(4.0 + 0.25 * i);
  return all;
}

// f over rotor speed, from `lowest_rad_s` up, at the ratios, and where the bridge begins to
// conduct: there the brake gets steep, which makes a sharp peak.
std::vector<Sample> samples(const TurningSet& set, const RotorFlow& flow, const Function& f,
                            double lowest_rad_s = 0.0) {
  std::vector<double> speeds_rad_s;
  for (const double ratio : ratios())
    speeds_rad_s.push_back(ratio * flow.air_speed_m_s / set.rotor.tip_radius_m);
  const double conducting_rad_s = conducting_speed_rad_s(set.generator);
  if (conducting_rad_s < speeds_rad_s.back()) speeds_rad_s.push_back(conducting_rad_s);
  speeds_rad_s.push_back(lowest_rad_s);
  std::sort(speeds_rad_s.begin(), speeds_rad_s.end());
  std::vector<Sample> all;
  for (const double speed_rad_s : speeds_rad_s) {
    if (speed_rad_s < lowest_rad_s || speed_rad_s <= 0.0) continue;
    if (all.empty() || speed_rad_s > all.back().x) all.push_back({speed_rad_s, f(speed_rad_s)});
  }
  return all;
}

// Puts in the peaks that lie between samples below 0 and the troughs between samples above 0 where
// they reach the other side, so that every pair of roots lies between two samples.
std::vector<Sample> with_hidden_pairs(const Function& f, const std::vector<Sample>& coarse) {
  std::vector<Sample> all;
  for (std::size_t i = 0; i < coarse.size(); ++i) {
    const Sample& here = coarse[i];
    if (i == 0 || i + 1 == coarse.size()) {
      all.push_back(here);
      continue;
    }
    const double sign = here.y < 0.0 ? 1.0 : -1.0;
    const bool stands_out =
        sign * here.y > sign * coarse[i - 1].y && sign * here.y >= sign * coarse[i + 1].y;
    const bool one_side =
        sign * coarse[i - 1].y < 0.0 && sign * here.y < 0.0 && sign * coarse[i + 1].y < 0.0;
    if (!(stands_out && one_side)) {
      all.push_back(here);
      continue;
    }
    const Sample extreme = extreme_between(f, coarse[i - 1].x, coarse[i + 1].x, sign);
    all.push_back(sign * extreme.y > 0.0 ? extreme : here);
  }
  return all;
}

// The largest or smallest value of f at or above `lowest_rad_s` and up to `highest_rad_s`.
double extreme_value(const TurningSet& set, const RotorFlow& flow, const Function& f,
                     std::pair<double, double> range_rad_s, double sign) {
  std::vector<Sample> all = samples(set, flow, f, range_rad_s.first);
  std::erase_if(all, [&](const Sample& s) { return s.x > range_rad_s.second; });
  if (std::isfinite(range_rad_s.second) && range_rad_s.second > range_rad_s.first) {
    all.push_back({range_rad_s.second, f(range_rad_s.second)});
  }
  if (all.empty()) return f(range_rad_s.first);
  std::size_t best = 0;
  for (std::size_t i = 1; i < all.size(); ++i) {
    if (sign * all[i].y > sign * all[best].y) best = i;
  }
  const double low = all[best == 0 ? 0 : best - 1].x;
  const double high = all[std::min(best + 1, all.size() - 1)].x;
  if (!(low < high)) return all[best].y;
  const Sample extreme = extreme_between(f, low, high, sign);
  return sign * extreme.y > sign * all[best].y ? extreme.y : all[best].y;
}

constexpr int search_steps = 36;  // of air speed
constexpr double search_step = 1.12;

std::optional<double> first_air_speed_m_s(const Function& f, double highest_m_s) {
  Sample before{highest_m_s / std::pow(search_step, search_steps), 0.0};
  before.y = f(before.x);
  if (before.y >= 0.0) return before.x;
  for (int i = search_steps - 1; i >= 0; --i) {
    Sample here{highest_m_s / std::pow(search_step, i), 0.0};
    here.y = f(here.x);
    if (here.y >= 0.0) {
      std::uintmax_t tries = 100;
      const auto [low, high] =
          boost::math::tools::toms748_solve(f, before.x, here.x, before.y, here.y,
                                            boost::math::tools::eps_tolerance<double>(31), tries);
      return 0.5 * (low + high);
    }
    before = here;
  }
  return std::nullopt;
}

// From here upwards `holds`; by bisection between two steps of the search.
std::optional<double> holds_from_m_s(const std::function<bool(double)>& holds, double highest_m_s) {
  if (!holds(highest_m_s)) return std::nullopt;
  double high_m_s = highest_m_s;
  double low_m_s = highest_m_s / search_step;
  for (int i = 2; i <= search_steps && holds(low_m_s); ++i) {
    high_m_s = low_m_s;
    low_m_s = highest_m_s / std::pow(search_step, i);
  }
  while (high_m_s - low_m_s > 1e-9 * high_m_s) {
    const double middle_m_s = 0.5 * (low_m_s + high_m_s);
    (holds(middle_m_s) ? high_m_s : low_m_s) = middle_m_s;
  }
  return high_m_s;
}

}  // namespace

TorqueBalances torque_balances(const TurningSet& set, const RotorFlow& flow,
                               double load_resistance_ohm) {
  TorqueBalances result{.balances = {}, .speeds_up_at_end = false};
  if (!(flow.air_speed_m_s > 0.0)) return result;
  const Function driving = [&](double speed_rad_s) {
    return driving_N_m(set, flow, load_resistance_ohm, speed_rad_s);
  };
  const std::vector<Sample> all = with_hidden_pairs(driving, samples(set, flow, driving));
  for (std::size_t i = 1; i < all.size(); ++i) {
    const bool drives_below = all[i - 1].y > 0.0;
    if (drives_below == (all[i].y > 0.0)) continue;
    result.balances.push_back(
        {.rotor_speed_rad_s = root_between(driving, all[i - 1], all[i]), .stable = drives_below});
  }
  result.speeds_up_at_end = all.back().y > 0.0;
  return result;
}

StartUp start_up(const TurningSet& set, const RotorFlow& flow, double load_resistance_ohm) {
  StartUp result{};
  result.starting_torque_N_m = torque_N_m(set, flow, 0.0);
  result.holding_torque_N_m = breakaway_torque_N_m(set.generator);
  result.starts = result.starting_torque_N_m > result.holding_torque_N_m;
  const TorqueBalances loaded = torque_balances(set, flow, load_resistance_ohm);
  if (!loaded.balances.empty() && !loaded.speeds_up_at_end) {
    result.running_rad_s = loaded.balances.back().rotor_speed_rad_s;
    result.dc_power_W =
        generator_load(set.generator, *result.running_rad_s, load_resistance_ohm).dc_power_W;
  }
  // Just broken away it speeds up until the first balance, which is stable.
  if (result.starts && !loaded.balances.empty() && loaded.balances.front().stable) {
    result.from_rest_rad_s = loaded.balances.front().rotor_speed_rad_s;
  }
  const TorqueBalances open = torque_balances(set, flow, open_circuit);
  result.no_runaway_found = open.speeds_up_at_end;
  if (!open.balances.empty() && !open.speeds_up_at_end) {
    result.runaway_rad_s = open.balances.back().rotor_speed_rad_s;
  }
  return result;
}

double conducting_speed_rad_s(const Generator& generator) {
  return 2.0 * generator.diode_drop_V * std::numbers::pi /
         (3.0 * std::numbers::sqrt3 * generator.flux_linkage_V_s * generator.pole_pairs);
}

CutIn cut_in(const TurningSet& set, const RotorFlow& flow, double load_resistance_ohm) {
  constexpr double any = std::numeric_limits<double>::infinity();
  const double conducting_rad_s = conducting_speed_rad_s(set.generator);
  const auto at = [&](double air_speed_m_s) {
    RotorFlow there = flow;
    there.air_speed_m_s = air_speed_m_s;
    return there;
  };
  const auto extreme_N_m = [&](double air_speed_m_s, std::pair<double, double> range_rad_s,
                               double sign) {
    const RotorFlow there = at(air_speed_m_s);
    return extreme_value(
        set, there,
        [&](double speed_rad_s) {
          return driving_N_m(set, there, load_resistance_ohm, speed_rad_s);
        },
        range_rad_s, sign);
  };
  const auto excess_at_rest_N_m = [&](double air_speed_m_s) {
    return torque_N_m(set, at(air_speed_m_s), 0.0) - breakaway_torque_N_m(set.generator);
  };
  const auto runs_up = [&](double air_speed_m_s) {
    if (excess_at_rest_N_m(air_speed_m_s) <= 0.0) return false;
    const TorqueBalances found = torque_balances(set, at(air_speed_m_s), load_resistance_ohm);
    return found.balances.size() == 1 && !found.speeds_up_at_end;
  };
  const auto best_N_m = [&](double v) { return extreme_N_m(v, {0.0, any}, 1.0); };
  const auto best_delivering_N_m = [&](double v) {
    return extreme_N_m(v, {conducting_rad_s, any}, 1.0);
  };
  const auto worst_on_the_way_N_m = [&](double v) {
    return std::min(excess_at_rest_N_m(v), extreme_N_m(v, {0.0, conducting_rad_s}, -1.0));
  };
  const double highest_m_s = flow.air_speed_m_s;
  const bool open = std::isinf(load_resistance_ohm);  // no current flows anywhere
  return {.keeps_turning_m_s = first_air_speed_m_s(best_N_m, highest_m_s),
          .keeps_delivering_m_s =
              open ? std::nullopt : first_air_speed_m_s(best_delivering_N_m, highest_m_s),
          .starts_m_s = first_air_speed_m_s(excess_at_rest_N_m, highest_m_s),
          .delivers_from_rest_m_s =
              open ? std::nullopt : first_air_speed_m_s(worst_on_the_way_N_m, highest_m_s),
          .runs_up_from_rest_m_s = holds_from_m_s(runs_up, highest_m_s)};
}

SetRates set_rates(const TurningSet& set, const RotorFlow& flow, double load_resistance_ohm,
                   const SetState& state) {
  RotorFlow equivalent = flow;
  equivalent.rotor_speed_rad_s = state.rotor_speed_rad_s;
  const double through_m_s = flow.air_speed_m_s - state.inflow.induced_m_s;
  const auto induced_at_m_s = [&](double air_speed_m_s) {
    equivalent.air_speed_m_s = air_speed_m_s;
    return steady_disc(set, equivalent).induced_m_s;
  };
  equivalent.air_speed_m_s =
      equivalent_air(std::ref(induced_at_m_s), through_m_s,
                     {.air_speed_m_s = flow.air_speed_m_s, .disc_air_speed_m_s = through_m_s})
          .air_speed_m_s;
  const SteadyDisc disc = steady_disc(set, equivalent);
  const double brake_N_m =
      generator_load(set.generator, state.rotor_speed_rad_s, load_resistance_ohm).shaft_torque_N_m;
  return {.acceleration_rad_s2 = (disc.torque_N_m - brake_N_m) / set.inertia_kg_m2,
          .inflow = inflow_rates(
              state.inflow, disc.induced_m_s,
              inflow_lags(flow.air_speed_m_s, state.inflow.induced_m_s, set.rotor.tip_radius_m))};
}

SetState settled_state(const TurningSet& set, const RotorFlow& flow) {
  return {.rotor_speed_rad_s = flow.rotor_speed_rad_s,
          .inflow = settled_inflow(steady_disc(set, flow).induced_m_s)};
}

std::optional<double> seconds_to_speed(const TurningSet& set, const RotorFlow& flow,
                                       double load_resistance_ohm, double speed_rad_s) {
  namespace odeint = boost::numeric::odeint;
  using Values = std::array<double, 3>;
  constexpr double longest_s = 1000.0;
  const double settling_s = 20.0 * set.rotor.tip_radius_m / flow.air_speed_m_s;
  const auto rates = [&](const Values& y, Values& dy, double) {
    const SetRates r = set_rates(
        set, flow, load_resistance_ohm,
        {.rotor_speed_rad_s = y[0], .inflow = {.lagging_m_s = y[1], .induced_m_s = y[2]}});
    dy = {r.acceleration_rad_s2, r.inflow.lagging_m_s2, r.inflow.induced_m_s2};
  };
  const SetState start = settled_state(set, flow);
  if (start.rotor_speed_rad_s >= speed_rad_s) return 0.0;
  auto stepper = odeint::make_dense_output(1e-8, 1e-8, odeint::runge_kutta_dopri5<Values>());
  stepper.initialize(
      Values{start.rotor_speed_rad_s, start.inflow.lagging_m_s, start.inflow.induced_m_s}, 0.0,
      1e-3);
  while (stepper.current_time() < longest_s) {
    stepper.do_step(rates);
    if (stepper.current_state()[0] < speed_rad_s) {
      // Once the wake has settled a rotor that does not speed up enough never gets there.
      Values dy{};
      rates(stepper.current_state(), dy, 0.0);
      const double nearer_rad_s = stepper.current_state()[0] + std::max(0.0, dy[0]) * longest_s;
      if (stepper.current_time() > settling_s && nearer_rad_s < speed_rad_s) return std::nullopt;
      continue;
    }
    const auto short_of_rad_s = [&](double t) {
      Values y{};
      stepper.calc_state(t, y);
      return y[0] - speed_rad_s;
    };
    return root_between(short_of_rad_s,
                        {stepper.previous_time(), short_of_rad_s(stepper.previous_time())},
                        {stepper.current_time(), short_of_rad_s(stepper.current_time())});
  }
  return std::nullopt;
}

}  // namespace windwright::physics
