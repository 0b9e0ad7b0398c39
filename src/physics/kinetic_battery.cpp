// SPDX-License-Identifier: Apache-2.0
#include "physics/kinetic_battery.h"

#include "base/errors.h"

#include <boost/math/tools/toms748_solve.hpp>
#include <fmt/format.h>

#include <cmath>
#include <cstdint>
#include <optional>

namespace windwright::physics {
namespace {

void require(bool good, const char* what, double value, const char* right) {
  if (!good) throw base::BadInput("kinetic battery", fmt::format("{} is {}", what, value), right);
}

void require_tanks(const KineticTanks& tanks) {
  require(std::isfinite(tanks.charge_A_s) && tanks.charge_A_s > 0.0, "the charge", tanks.charge_A_s,
          "above 0");
  require(tanks.available_share > 0.0 && tanks.available_share < 1.0, "the available share",
          tanks.available_share, "in (0, 1)");
  require(std::isfinite(tanks.exchange_rate_s1) && tanks.exchange_rate_s1 > 0.0,
          "the exchange rate", tanks.exchange_rate_s1, "above 0");
}

void require_time(double time_s) {
  require(std::isfinite(time_s) && time_s > 0.0, "the time", time_s, "above 0");
}

/// x - 1 + exp(-x), which for small x would lose its digits.
double lag(double x) {
  if (x < 1e-3) return x * x * (0.5 - x * (1.0 / 6.0 - x * (1.0 / 24.0 - x / 120.0)));
  return x + std::expm1(-x);
}

/// k times what the tanks would hold available after a time without current.
double rested(const KineticTanks& tanks, const TankCharge& charge, double x) {
  const double whole = charge.available_A_s + charge.bound_A_s;
  return tanks.exchange_rate_s1 *
         (charge.available_A_s * std::exp(-x) - whole * tanks.available_share * std::expm1(-x));
}

/// k times what a unit of constant current takes out of the available tank.
double taken_by_unit_current(const KineticTanks& tanks, double x) {
  return -std::expm1(-x) + tanks.available_share * lag(x);
}

}  // namespace

double exchange_current_A(const KineticTanks& tanks, const TankCharge& charge) {
  return tanks.exchange_rate_s1 * (tanks.available_share * charge.bound_A_s -
                                   (1.0 - tanks.available_share) * charge.available_A_s);
}

TankCharge after_constant_current(const KineticTanks& tanks, const TankCharge& charge,
                                  double current_A, double time_s) {
  require_tanks(tanks);
  require(std::isfinite(time_s) && time_s >= 0.0, "the time", time_s, "not negative");
  const double x = tanks.exchange_rate_s1 * time_s;
  const double whole = charge.available_A_s + charge.bound_A_s;
  const double bound_share = 1.0 - tanks.available_share;
  return {
      .available_A_s = (rested(tanks, charge, x) - current_A * taken_by_unit_current(tanks, x)) /
                       tanks.exchange_rate_s1,
      .bound_A_s = charge.bound_A_s * std::exp(-x) - whole * bound_share * std::expm1(-x) -
                   current_A * bound_share * lag(x) / tanks.exchange_rate_s1};
}

std::optional<double> time_to_empty_s(const KineticTanks& tanks, const TankCharge& charge,
                                      double current_A) {
  require_tanks(tanks);
  if (charge.available_A_s <= 0.0) return 0.0;
  if (!(current_A > 0.0)) return std::nullopt;
  const auto available = [&](double time_s) {
    return after_constant_current(tanks, charge, current_A, time_s).available_A_s;
  };
  const double latest_s = (charge.available_A_s + charge.bound_A_s) / current_A;
  const double at_latest = available(latest_s);
  if (at_latest >= 0.0) return latest_s;  // by rounding only
  std::uintmax_t steps = 100;
  const auto [below_s, above_s] =
      boost::math::tools::toms748_solve(available, 0.0, latest_s, charge.available_A_s, at_latest,
                                        boost::math::tools::eps_tolerance<double>(50), steps);
  return 0.5 * (below_s + above_s);
}

double largest_discharge_A(const KineticTanks& tanks, const TankCharge& charge, double time_s) {
  require_tanks(tanks);
  require_time(time_s);
  const double x = tanks.exchange_rate_s1 * time_s;
  return rested(tanks, charge, x) / taken_by_unit_current(tanks, x);
}

double largest_charge_A(const KineticTanks& tanks, const TankCharge& charge, double time_s) {
  require_tanks(tanks);
  require_time(time_s);
  const double x = tanks.exchange_rate_s1 * time_s;
  const double full = tanks.exchange_rate_s1 * tanks.available_share * tanks.charge_A_s;
  return (rested(tanks, charge, x) - full) / taken_by_unit_current(tanks, x);
}

double deliverable_share(const KineticTanks& tanks, double time_s) {
  require_tanks(tanks);
  require_time(time_s);
  const double x = tanks.exchange_rate_s1 * time_s;
  return tanks.available_share * x / taken_by_unit_current(tanks, x);
}

double discharge_time_s(const PeukertLaw& law, double current_A) {
  require(law.capacity_A_s > 0.0, "Peukert's capacity", law.capacity_A_s, "above 0");
  require(law.reference_time_s > 0.0, "Peukert's reference time", law.reference_time_s, "above 0");
  require(law.exponent >= 1.0, "Peukert's exponent", law.exponent, "at least 1");
  require(current_A > 0.0, "the current", current_A, "above 0");
  return law.reference_time_s *
         std::pow(law.capacity_A_s / (current_A * law.reference_time_s), law.exponent);
}

double peukert_exponent(const Discharge& a, const Discharge& b) {
  for (const Discharge& each : {a, b}) {
    require(each.current_A > 0.0, "the current", each.current_A, "above 0");
    require(each.time_s > 0.0, "the time", each.time_s, "above 0");
  }
  require(a.current_A != b.current_A, "the second current", b.current_A, "another than the first");
  return std::log(a.time_s / b.time_s) / std::log(b.current_A / a.current_A);
}

}  // namespace windwright::physics
