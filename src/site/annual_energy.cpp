// SPDX-License-Identifier: Apache-2.0
#include "site/annual_energy.h"

#include "base/errors.h"
#include "site/wind_distribution.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <span>
#include <vector>

namespace windwright::site {

namespace {

constexpr double s_in_h = 3600.0;
constexpr double enough = 0.95;

void require_curve(std::span<const PowerAtSpeed> curve) {
  if (curve.size() < 2) {
    throw base::BadInput("power curve", fmt::format("has {} bins", curve.size()), "two or more");
  }
  double before_m_s = 0.0;
  for (const PowerAtSpeed& bin : curve) {
    if (!(bin.air_speed_m_s > before_m_s) || !std::isfinite(bin.power_W.value())) {
      throw base::BadInput("power curve",
                           fmt::format("has {} W at {} m/s after {} m/s", bin.power_W.value(),
                                       bin.air_speed_m_s, before_m_s),
                           "finite powers at rising air speeds above 0");
    }
    before_m_s = bin.air_speed_m_s;
  }
}

// Straight lines from (V_0, 0) through the bins, then level: the integral of P dF by parts is the
// sum of slopes times the integral of 1 - F, plus the jump at V_0 (none) less what lies beyond.
double exact_J(std::span<const PowerAtSpeed> curve, const Weibull& wind,
               const EnergyOptions& options) {
  double from_m_s = std::max(0.0, curve.front().air_speed_m_s - options.first_step_m_s);
  double power_W = 0.0;
  double mean_W = 0.0;
  for (const PowerAtSpeed& bin : curve) {
    const double slope = (bin.power_W.value() - power_W) / (bin.air_speed_m_s - from_m_s);
    mean_W += slope * exceeded_m_s(wind, from_m_s, bin.air_speed_m_s);
    from_m_s = bin.air_speed_m_s;
    power_W = bin.power_W.value();
  }
  mean_W -= power_W * (1.0 - cumulative(wind, std::max(options.cut_out_m_s, from_m_s)));
  return options.hours * s_in_h * mean_W;
}

}  // namespace

AnnualEnergy annual_energy(std::span<const PowerAtSpeed> curve, const Weibull& wind,
                           const EnergyOptions& options) {
  require_curve(curve);
  std::vector<double> chance{
      cumulative(wind, curve.front().air_speed_m_s - options.first_step_m_s)};
  for (const PowerAtSpeed& bin : curve)
    chance.push_back(cumulative(wind, bin.air_speed_m_s));
  const double seconds = options.hours * s_in_h;
  metrology::Estimate measured_J;
  for (std::size_t i = 0; i < curve.size(); ++i) {
    const double below = chance[i + 1] - chance[i];
    const double above = i + 1 < curve.size() ? chance[i + 2] - chance[i + 1] : 0.0;
    measured_J = measured_J + 0.5 * seconds * (below + above) * curve[i].power_W;
  }
  const double beyond = std::max(0.0, cumulative(wind, options.cut_out_m_s) - chance.back());
  const metrology::Estimate extrapolated_J = measured_J + seconds * beyond * curve.back().power_W;
  const double part = extrapolated_J.value() > 0.0 ? measured_J.value() / extrapolated_J.value()
                                                   : std::numeric_limits<double>::quiet_NaN();
  return {.measured_J = measured_J,
          .extrapolated_J = extrapolated_J,
          .exact_J = exact_J(curve, wind, options),
          .measured_part = part,
          .complete = part >= enough};
}

}  // namespace windwright::site
