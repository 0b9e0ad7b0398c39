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

/// Half the change of the predicted largest cp between `half_step_deg` above and below the curve's
/// pitch, over the step and relative to the predicted largest cp: d ln(cp) / d pitch, 1/deg.
double relative_pitch_sensitivity_per_deg(const TheoryInput& input, const Curve& curve,
                                          double half_step_deg);

}  // namespace windwright::analysis
