// SPDX-License-Identifier: Apache-2.0
#pragma once

namespace windwright::metrology {

/// E_n number: difference over the root sum of squares of the two expanded uncertainties (of one
/// level of confidence, 95 % or k = 2).
/// Up to 1 the two agree.
/// @param difference  measured less reference, any unit
/// @param expanded_a  expanded uncertainty of one, same unit, 0 or more
/// @param expanded_b  of the other
/// @return            signed; 0 where difference and uncertainties are all 0
/// Source: ISO/IEC 17043:2010, B.3.1.3 e).
double en(double difference, double expanded_a, double expanded_b);

}  // namespace windwright::metrology
