// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "analysis/remarks.h"
#include "analysis/results.h"

#include <optional>
#include <vector>

namespace windwright::analysis {

/// Groups points by blade count, pitch and other hard-to-change settings, sorts each curve by
/// tip-speed ratio, fits its maximum and adds what theory predicts. Curves come in the order of
/// their settings.
/// @param points   reduced, in any order
/// @param section  where they were measured, for the theory
/// @param remarks  receives what a reader must know
std::vector<Curve> curves_of(std::vector<PointResult> points, const ReductionInput& input,
                             const std::optional<Section>& section, Remarks& remarks);

}  // namespace windwright::analysis
