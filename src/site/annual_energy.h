// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "metrology/estimate.h"
#include "site/wind_distribution.h"

#include <span>

namespace windwright::site {

/// One bin of a measured power curve: mean air speed and mean power there. What is common to
/// several bins (a sensor's calibration) has one input name in all of them.
struct PowerAtSpeed {
  double air_speed_m_s;
  metrology::Estimate power_W;
};

struct EnergyOptions {
  double hours = 8760.0;        // of a year
  double first_step_m_s = 0.5;  // below the first bin the power has risen from 0 over this
  double cut_out_m_s = 25.0;    // the extrapolated energy ends here
};

struct AnnualEnergy {
  metrology::Estimate measured_J;      // no power above the last bin
  metrology::Estimate extrapolated_J;  // the last bin's power up to the cut-out air speed
  double exact_J;  // extrapolated, integrated over straight lines between the bins, not summed
  double measured_part;  // measured over extrapolated; NaN where that is not above 0
  bool complete;         // the part is 95 % or more
};

/// Energy of a year without standstill: the sum over bins of [F(V_i) - F(V_i-1)] (P_i-1 + P_i) / 2
/// from V_0 = V_1 - first step with P_0 = 0. Linear in the powers, so their uncertainty arrives
/// input by input: random parts bin by bin, common ones with their sign.
/// Source: IEC 61400-12-1:2017, 9.3 and annex E (method from memory). Checked in
/// tests/published/annual_energy_test.cpp.
/// @param curve  two bins or more, air speeds rising and above 0
/// @throws BadInput  otherwise
AnnualEnergy annual_energy(std::span<const PowerAtSpeed> curve, const Weibull& wind,
                           const EnergyOptions& options = {});

/// One site and what the turbine makes there.
struct SiteEnergy {
  Weibull wind;
  double mean_air_speed_m_s;
  AnnualEnergy energy;
};

inline constexpr double J_in_kWh = 3.6e6;

}  // namespace windwright::site
