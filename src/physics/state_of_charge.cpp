// SPDX-License-Identifier: Apache-2.0
#include "physics/state_of_charge.h"

#include "base/errors.h"

#include <fmt/format.h>

#include <cmath>

namespace windwright::physics {
namespace {

void require(bool good, const char* what, double value, const char* right) {
  if (!good) throw base::BadInput("state of charge", fmt::format("{} is {}", what, value), right);
}

void require_not_negative(const char* what, double value) {
  require(std::isfinite(value) && value >= 0.0, what, value, "not negative");
}

double square(double x) {
  return x * x;
}

/// The state of charge at a rest voltage, by bisection between 0 and 1; the ends outside.
double state_at_rest(const Battery& battery, double voltage_V, double temperature_K) {
  double low = 0.0;
  double high = 1.0;
  for (int step = 0; step < 52; ++step) {
    const double middle = 0.5 * (low + high);
    const double at_middle_V =
        open_circuit_V(battery, rested_state(battery, middle, temperature_K));
    (at_middle_V < voltage_V ? low : high) = middle;
  }
  return 0.5 * (low + high);
}

}  // namespace

ChargeEstimate counted_state_of_charge(const ChargeCount& count) {
  require(std::isfinite(count.capacity_A_s) && count.capacity_A_s > 0.0, "the capacity",
          count.capacity_A_s, "above 0");
  require_not_negative("the charge in", count.charged_A_s);
  require_not_negative("the charge out", count.discharged_A_s);
  require_not_negative("the charging time", count.charging_time_s);
  require_not_negative("the discharging time", count.discharging_time_s);
  require(count.coulombic_efficiency > 0.0 && count.coulombic_efficiency <= 1.0,
          "the coulombic efficiency", count.coulombic_efficiency, "in (0, 1]");
  for (const double u : {count.initial.standard_uncertainty, count.u_coulombic_efficiency,
                         count.u_current_offset_A, count.u_current_gain, count.u_capacity_A_s}) {
    require_not_negative("an uncertainty", u);
  }
  const double gained =
      (count.coulombic_efficiency * count.charged_A_s - count.discharged_A_s) / count.capacity_A_s;
  // An offset adds to the current whatever its sign; while charging it counts with the efficiency.
  const double offset_time_s =
      count.coulombic_efficiency * count.charging_time_s + count.discharging_time_s;
  const double variance =
      square(count.initial.standard_uncertainty) +
      square(count.u_current_offset_A * offset_time_s / count.capacity_A_s) +
      square(count.u_current_gain * gained) +
      square(count.u_coulombic_efficiency * count.charged_A_s / count.capacity_A_s) +
      square(count.u_capacity_A_s * gained / count.capacity_A_s);
  return {.value = count.initial.value + gained, .standard_uncertainty = std::sqrt(variance)};
}

ChargeEstimate rested_state_of_charge(const Battery& battery, const RestReading& reading) {
  require(std::isfinite(reading.voltage_V), "the rest voltage", reading.voltage_V, "finite");
  require_not_negative("the reading's uncertainty", reading.u_voltage_V);
  require_not_negative("the curve's uncertainty", reading.u_curve_V);
  require_not_negative("the temperature's uncertainty", reading.u_temperature_K);
  require_not_negative("the rest time", reading.rest_time_s);
  require_not_negative("the level difference", reading.level_difference);
  require_not_negative("the diffusion voltage", reading.diffusion_V);
  const double state = state_at_rest(battery, reading.voltage_V, reading.temperature_K);
  const double slope_V = open_circuit_slope_V(battery, state);
  // Overvoltage of charging goes slower, the fuller the battery; which it was is not known.
  const double part_of_rate = (1.0 - state) / (1.0 - state + battery.charge_polarisation * state);
  const double left_V = reading.diffusion_V *
                        std::exp(-reading.rest_time_s * part_of_rate / battery.diffusion_time_s);
  // The voltage shows the available tank, which stands (1 - c) of the difference off the whole.
  const double left_level = (1.0 - battery.available_share) * reading.level_difference *
                            std::exp(-battery.exchange_rate_s1 * reading.rest_time_s);
  const double voltage_variance =
      square(reading.u_voltage_V) + square(battery.cells * reading.u_curve_V) +
      square(battery.cells * battery.open_circuit_V_K * reading.u_temperature_K) +
      square(left_V) / 3.0;
  const double level_variance = square(left_level) / 3.0;
  const double scaled = voltage_variance + square(slope_V) * level_variance;
  if (slope_V == 0.0) return {.value = state, .standard_uncertainty = std::sqrt(1.0 / 12.0)};
  return {.value = state,
          .standard_uncertainty = std::sqrt(scaled / (square(slope_V) + 12.0 * scaled))};
}

CombinedCharge combined_state_of_charge(const ChargeEstimate& counted,
                                        const ChargeEstimate& rested) {
  for (const ChargeEstimate& each : {counted, rested}) {
    require(std::isfinite(each.standard_uncertainty) && each.standard_uncertainty > 0.0,
            "the uncertainty", each.standard_uncertainty, "above 0");
  }
  const double u_counted = square(counted.standard_uncertainty);
  const double u_rested = square(rested.standard_uncertainty);
  const double weight = u_rested / (u_counted + u_rested);
  return {.estimate = {.value = weight * counted.value + (1.0 - weight) * rested.value,
                       .standard_uncertainty =
                           std::sqrt(u_counted * u_rested / (u_counted + u_rested))},
          .counted_weight = weight,
          .disagreement = std::abs(counted.value - rested.value) / std::sqrt(u_counted + u_rested)};
}

}  // namespace windwright::physics
