// SPDX-License-Identifier: Apache-2.0
#pragma once

namespace windwright::metrology {

/// Coverage factor: the half-width, in standard uncertainties, of the symmetric interval that
/// covers `level` under Student's t.
/// @param level  in (0, 1), e.g. 0.95
/// @param dof    above 0, need not be whole; infinity gives the normal distribution
/// @return       NaN outside these domains
/// Source: JCGM 100:2008 G.3 and Table G.2, checked in tests/published/uncertainty_test.cpp. The
/// degrees of freedom are not cut down to a whole number, as G.4.1 note 2 allows.
double student_factor(double level, double dof);

/// Chance that a chi-squared variable with `dof` degrees of freedom exceeds `chi_squared`.
double chi_squared_tail(double chi_squared, double dof);

/// Value that a chi-squared variable with `dof` degrees of freedom exceeds with chance 1 - `level`.
/// @param level  in (0, 1)
/// @param dof    above 0
/// @return       NaN outside these domains
double chi_squared_quantile(double level, double dof);

}  // namespace windwright::metrology
