// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <span>

namespace windwright::metrology {

/// When a signal counts as settled.
struct SettlingRule {
  double drift_relative;        // largest drift over the window, relative to the mean
  double drift_absolute = 0.0;  // allowed at any rate: what a signal near 0 needs
  double level = 0.95;          // of the test for a drift
};

struct Drift {
  double mean;
  double drift;              // slope times the length of the window
  double u;                  // its standard uncertainty; infinity where it cannot be told
  double dof;                // of u
  double effective_samples;  // independent ones among the block means, about the line
  bool settled;
};

/// Drift of a signal over a window of consecutive block means: least-squares slope, with the number
/// of block means reduced for the lag-1 autocorrelation r of the residuals,
/// n_e = n (1 - r) / (1 + r), in the residual variance and in the n_e - 2 degrees of freedom; r is
/// corrected for its bias in a short series after a line was taken out.
///
/// Settled when the drift is within its bound and either does not stand out of the scatter at
/// `level` or is within its bound with its whole expanded uncertainty (a tiny drift that many
/// samples make visible does no harm); also when all block means lie within the bound of each
/// other. Otherwise too short or too slow a window (n_e under 3) is not settled.
/// Source: Santer et al., Statistical significance of trends and trend differences in
/// layer-average atmospheric temperature time series, J. Geophys. Res. 105 (2000) 7337-7356,
/// eqs. 3 to 6; bias: Kendall, Note on bias in the estimation of autocorrelation, Biometrika 41
/// (1954) 403-404, with (2 + 4 r) / n for a fitted line.
/// @param block_means  evenly spaced, in time; 6 and more can settle
Drift drift_over(std::span<const double> block_means, const SettlingRule& rule);

}  // namespace windwright::metrology
