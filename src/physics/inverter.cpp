// SPDX-License-Identifier: Apache-2.0
#include "physics/inverter.h"

#include "base/errors.h"
#include "physics/ac_supply.h"
#include "physics/inverter_protection.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numbers>

namespace windwright::physics {
namespace {

constexpr double pi = std::numbers::pi;
constexpr double sqrt2 = std::numbers::sqrt2;
constexpr double steady_share = 0.8;  // of the low-voltage stop; common practice, no source

void need(bool right, const char* wrong, const char* what) {
  if (!right) throw base::BadInput("inverter", wrong, what);
}

double resonance_Hz(const CarrierFilter& filter) {
  return 1.0 / (2.0 * pi * std::sqrt(filter.inductance_H * filter.capacitance_F));
}

/// 0 of an inverter that does not regulate.
double lowest_regulated_V(const Inverter& inverter) {
  const double least_V = inverter.output_rms_V / inverter.link_ratio;
  if (inverter.kind == OutputKind::sine) return sqrt2 * least_V;
  return inverter.kind == OutputKind::quasi_square && inverter.regulated ? least_V : 0.0;
}

}  // namespace

void check(const Inverter& inverter) {
  check(inverter.limits);
  need(inverter.rated_power_VA > 0.0, "rated power is not above 0", "above 0 VA");
  need(inverter.output_rms_V > 0.0, "output voltage is not above 0", "above 0 V");
  need(inverter.frequency_Hz > 0.0, "frequency is not above 0", "above 0 Hz");
  need(inverter.link_ratio > 0.0, "link ratio is not above 0", "above 0");
  need(inverter.pulse_share > 0.0 && inverter.pulse_share <= 1.0, "pulse share is not a share",
       "above 0, up to 1");
  const InverterLosses& losses = inverter.losses;
  need(losses.no_load_share >= 0.0 && losses.proportional_share >= 0.0 &&
           losses.quadratic_share >= 0.0,
       "a loss is below 0", "0 or more");
  need(inverter.standby_power_W >= 0.0 && inverter.off_power_W >= 0.0,
       "standby or off power is below 0", "0 W or more");
  need(inverter.dc_ripple_share >= 0.0 && inverter.dc_ripple_share <= 1.0,
       "DC ripple share is not a share", "0 to 1");
  if (inverter.kind != OutputKind::sine) return;
  const CarrierFilter& filter = inverter.filter;
  need(filter.carrier_Hz > 0.0 && filter.inductance_H > 0.0 && filter.capacitance_F > 0.0,
       "carrier or filter is not above 0", "above 0");
  need(resonance_Hz(filter) < filter.carrier_Hz, "filter resonates above the carrier",
       "a resonance below it");
}

AcSupply output(const Inverter& inverter, double dc_voltage_V) {
  const double highest_V = inverter.link_ratio * dc_voltage_V;
  AcSupply supply{.kind = inverter.kind,
                  .peak_V = highest_V,
                  .pulse_share = 1.0,
                  .frequency_Hz = inverter.frequency_Hz};
  if (inverter.kind == OutputKind::sine) {
    supply.peak_V = std::min(sqrt2 * inverter.output_rms_V, highest_V);
  } else if (inverter.kind == OutputKind::quasi_square) {
    const double ratio = inverter.output_rms_V / highest_V;
    supply.pulse_share = !inverter.regulated                 ? inverter.pulse_share
                         : inverter.output_rms_V < highest_V ? ratio * ratio
                                                             : 1.0;
  }
  return supply;
}

double output_slope(const Inverter& inverter, double dc_voltage_V) {
  const double ratio = inverter.link_ratio;
  switch (inverter.kind) {
    case OutputKind::sine:
      return sqrt2 * inverter.output_rms_V < ratio * dc_voltage_V ? 0.0 : ratio / sqrt2;
    case OutputKind::quasi_square:
      if (!inverter.regulated) return ratio * std::sqrt(inverter.pulse_share);
      return inverter.output_rms_V < ratio * dc_voltage_V ? 0.0 : ratio;
    case OutputKind::square:
      break;
  }
  return ratio;
}

double lowest_steady_V(const Inverter& inverter) {
  const double stop_V = inverter.limits.low_stop_V;
  return std::clamp(lowest_regulated_V(inverter), steady_share * stop_V, stop_V);
}

double burst_share(const Inverter& inverter, double dc_voltage_V) {
  const double part = std::min(1.0, dc_voltage_V / lowest_steady_V(inverter));
  return part * part;
}

InverterFlow inverter_flow(const Inverter& inverter, InverterMode mode, double dc_voltage_V,
                           const AcDemand& demand) {
  if (!(dc_voltage_V >= 0.0 && std::isfinite(dc_voltage_V))) {
    throw base::BadInput("inverter", fmt::format("DC voltage is {} V", dc_voltage_V), "0 or more");
  }
  // A sum of rounded powers may exceed its apparent power by rounding.
  need(demand.apparent_power_VA >= std::abs(demand.active_power_W) * (1.0 - 1e-9),
       "apparent power is below the active one", "at least the active power");
  const double rated_VA = inverter.rated_power_VA;
  const double share = burst_share(inverter, dc_voltage_V);
  InverterFlow flow{};
  double slope_A = 0.0;  // d(input power)/d(DC voltage)
  switch (mode) {
    case InverterMode::off:
    case InverterMode::stopped:
    case InverterMode::locked:
      flow.no_load_loss_W = inverter.off_power_W;
      break;
    case InverterMode::standby:
      flow.no_load_loss_W = inverter.standby_power_W;
      break;
    case InverterMode::starting:
      flow.no_load_loss_W = inverter.losses.no_load_share * rated_VA;
      break;
    case InverterMode::running: {
      const double part = demand.apparent_power_VA / rated_VA;
      flow.ac_power_W = demand.active_power_W;
      flow.no_load_loss_W = inverter.losses.no_load_share * rated_VA;
      flow.proportional_loss_W = inverter.losses.proportional_share * demand.apparent_power_VA;
      flow.quadratic_loss_W = inverter.losses.quadratic_share * part * demand.apparent_power_VA;
      const double active_slope_A =
          share < 1.0 ? 0.0 : demand.active_slope_A * output_slope(inverter, dc_voltage_V);
      const double per_active =
          demand.active_power_W != 0.0 ? demand.apparent_power_VA / demand.active_power_W : 0.0;
      slope_A =
          active_slope_A * (1.0 + per_active * (inverter.losses.proportional_share +
                                                2.0 * inverter.losses.quadratic_share * part));
      break;
    }
  }
  for (double* power_W :
       {&flow.ac_power_W, &flow.no_load_loss_W, &flow.proportional_loss_W, &flow.quadratic_loss_W})
    *power_W *= share;
  flow.dc_power_W =
      flow.ac_power_W + flow.no_load_loss_W + flow.proportional_loss_W + flow.quadratic_loss_W;
  if (!(dc_voltage_V > 0.0)) return flow;
  flow.dc_current_A = flow.dc_power_W / dc_voltage_V;
  flow.slope_S = (slope_A + (share < 1.0 ? flow.dc_current_A : -flow.dc_current_A)) / dc_voltage_V;
  return flow;
}

double efficiency(const Inverter& inverter, double active_power_W) {
  const double part = active_power_W / inverter.rated_power_VA;
  const double loss =
      inverter.losses.no_load_share +
      part * (inverter.losses.proportional_share + part * inverter.losses.quadratic_share);
  return part > 0.0 ? part / (part + loss) : 0.0;
}

CarrierRipple carrier_ripple(const Inverter& inverter, double dc_voltage_V) {
  CarrierRipple ripple{
      .amplitude_V = 0.0, .modulation = 0.0, .frequency_Hz = 2.0 * inverter.filter.carrier_Hz};
  const double highest_V = inverter.link_ratio * dc_voltage_V;
  if (inverter.kind != OutputKind::sine || !(highest_V > 0.0)) return ripple;
  const double ratio = ripple.frequency_Hz / resonance_Hz(inverter.filter);
  // The bridge's group is -2 V / pi; the filter above its resonance turns the sign.
  ripple.amplitude_V = 2.0 * highest_V / pi / (ratio * ratio - 1.0);
  ripple.modulation = output(inverter, dc_voltage_V).peak_V / highest_V;
  return ripple;
}

}  // namespace windwright::physics
