// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "analysis/results.h"

#include <optional>

namespace windwright::analysis {

/// What theory is made for.
struct TheoryInput {
  const ReductionInput& reduction;
  const std::optional<Section>& section;  // closed: predicted as it shows there
};

/// Fills the curve's theory (61 tip-speed ratios from 0.6 of the smallest to 1.3 of the largest
/// measured) and each point's own: blade-element theory for the bench's rotor with the curve's
/// blades and pitch, in the mean air state and air speed of its points, in its section; with a
/// generator also the electrical power that it makes of the rotor's torque.
void add_theory(const TheoryInput& input, Curve& curve);

/// What a pitch that was not set quite right does to the maximum of a curve.
struct PitchSensitivity {
  double relative_cp_per_deg;              // d ln(largest cp) / d pitch
  double optimum_tip_speed_ratio_per_deg;  // d optimum / d pitch; 0 where no maximum lies inside
};

/// From the predictions `half_step_deg` above and below the curve's pitch.
PitchSensitivity pitch_sensitivity(const TheoryInput& input, const Curve& curve,
                                   double half_step_deg);

}  // namespace windwright::analysis
