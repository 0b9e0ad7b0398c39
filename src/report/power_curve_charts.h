// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "analysis/power_curve.h"
#include "site/annual_energy.h"

#include <span>
#include <string>

namespace windwright::report {

/// Rows behind, bins with expanded uncertainties (95 %), bins of too few rows open, gaps dashed.
std::string power_curve_chart(const analysis::PowerCurve& curve);
/// Power coefficient of the bins under the limit of an open flow; empty without an area.
std::string bins_cp_chart(const analysis::PowerCurve& curve);
/// Standard uncertainties of the bins over air speed: category A, B and both; empty without any.
std::string bins_uncertainty_chart(const analysis::PowerCurve& curve);
/// Energy of a year over the site's mean air speed, measured and extrapolated, with expanded
/// uncertainties where they are known.
std::string annual_energy_chart(std::span<const site::SiteEnergy> energies, bool known);

}  // namespace windwright::report
