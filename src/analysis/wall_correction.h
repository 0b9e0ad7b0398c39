// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "analysis/remarks.h"
#include "analysis/results.h"

#include <optional>
#include <vector>

namespace windwright::analysis {

/// The closed section of these points; nothing for an open jet.
/// @throws BadInput  the rotor does not fit into it
std::optional<Section> section_of(const ReductionInput& input);

/// Adds what every point would be in open air. The thrust that the correction starts from is the
/// measured one, else that of theory for this rotor in this tunnel; a remark says which.
void correct_for_walls(const ReductionInput& input, const Section& section,
                       std::vector<PointResult>& points, Remarks& remarks);

/// The points as they would be in open air: corrected values in place of the measured ones, no
/// stages.
std::vector<PointResult> open_air_points(std::vector<PointResult> points);

/// Says what a power coefficient above 16/27 means here, and that an open jet is not corrected.
void remark_on_limits(const ReductionInput& input, const std::optional<Section>& section,
                      const std::vector<PointResult>& points, Remarks& remarks);

/// Standard uncertainty of the wall correction itself, as a part of it: what measurements on small
/// rotors leave between theory and experiment, about a quarter.
/// Source: A. S. Bahaj et al., Renewable Energy 32 (2007) 407-426 against the theory of
/// physics/blockage.h (18 % of cp against 15 %; from memory); T. Y. Chen, L. R. Liou, Exp. Thermal
/// and Fluid Science 35 (2011) 565-569 for the size.
inline constexpr double u_correction_part = 0.25;
/// The same where open air is past an axial induction of 0.4, where its own theory is a fit through
/// scattered measurements, or the correction is held (a judgement: double).
inline constexpr double u_correction_part_beyond = 0.5;
/// Relative standard uncertainty of a predicted thrust coefficient: what blade-element theory
/// reaches in attached flow (tests/published/measured_rotor_test.cpp) with room for low Reynolds
/// numbers.
inline constexpr double u_theory_thrust_relative = 0.10;

}  // namespace windwright::analysis
