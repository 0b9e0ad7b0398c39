// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstddef>
#include <span>
#include <vector>

namespace windwright::signal {

/// Arithmetic mean in two passes, right to the last digits also where the values share a large
/// offset.
/// @param samples  at least one
/// @throws BadInput  no samples
double mean(std::span<const double> samples);

/// Variance of the samples about their mean, divisor n - 1 (two passes).
/// @param samples  at least two
/// @throws BadInput  fewer
double variance(std::span<const double> samples);

/// Autocorrelation coefficient r = sum (x_i - m)(x_(i+lag) - m) / sum (x_i - m)^2; 0 for constant
/// samples.
/// @param lag  less than the number of samples
/// @throws BadInput  lag too large
/// Checked in tests/published/statistics_test.cpp against NIST StRD, univariate summary statistics.
double autocorrelation(std::span<const double> samples, std::size_t lag);

/// Means of consecutive blocks of `size` samples; an incomplete last block is left out.
std::vector<double> block_means(std::span<const double> samples, std::size_t size);

/// Mean of samples that follow each other too closely to be independent.
struct CorrelatedMean {
  double mean;
  double u;                  // standard uncertainty of the mean, from the samples' scatter alone
  double dof;                // degrees of freedom of u, at least 1
  double effective_samples;  // as many independent samples would give the same u; at most n
};

/// Standard uncertainty of the mean of a stationary series:
///
///   u^2 = s^2 2 tau / n,  tau = 1/2 + sum of the autocorrelation coefficients over lags 1 to W
///
/// with the window W closed automatically where truncation and statistical errors of tau balance,
/// u^2 corrected for the bias (2 W + 1) / n, and n / (2 W + 1) degrees of freedom. Long series are
/// averaged into 128 to 255 blocks first, so that a slow part is seen beneath fast noise and the
/// cost stays linear. tau below 1/2 (swings about the mean) is taken as 1/2: never better than
/// independent samples. Constant samples give u = 0 and n - 1 degrees of freedom: the resolution of
/// the converter is the caller's to add.
///
/// Good for 20 independent stretches and more; with fewer the interval is wide but still covers
/// (tests/signal/statistics_property_test.cpp has the rates).
/// Source: Wolff, Monte Carlo errors with less errors, Computer Physics Communications 156 (2004)
/// 143-153, section 3.3, S = 1.5; blocking: Flyvbjerg and Petersen, J. Chem. Phys. 91 (1989) 461.
/// @param samples  at least two, evenly spaced, in time
/// @throws BadInput  fewer
CorrelatedMean mean_of_correlated(std::span<const double> samples);

/// Mean of independent samples: u = s / sqrt(n), n - 1 degrees of freedom (JCGM 100:2008 4.2.3).
/// @throws BadInput  fewer than two samples
CorrelatedMean mean_of_independent(std::span<const double> samples);

/// Means of series sampled together and the covariance of these means.
struct SeriesMeans {
  std::vector<double> means;       // (series)
  std::vector<double> covariance;  // series x series, row by row; positive semidefinite
  double dof;                      // of every element: the fewest of the series
};

/// Means of k series of the same instants (v, v^3 and v i of the same samples, say) with the
/// covariance of the means. Variances are those of `mean_of_correlated`; correlation coefficients
/// are long-term ones: autocovariance matrices of block means, summed under a triangular window of
/// 2 W + 1 lags, W the longest window of the series, and at least 8, so that a part that answers
/// late through its own inertia (a rotor to the air speed) is seen. A pure delay of d of the 128
/// blocks costs d / 8 of the coefficient.
/// Source: Newey and West, A simple, positive semi-definite, heteroskedasticity and autocorrelation
/// consistent covariance matrix, Econometrica 55 (1987) 703-708; degrees of freedom of a triangular
/// window, 3/2 n over its length: Priestley, Spectral Analysis and Time Series (1981), Table 6.2.
/// @param series  at least one, all of the same length, at least two samples
/// @throws BadInput  otherwise
SeriesMeans means_of_correlated(std::span<const std::span<const double>> series);

}  // namespace windwright::signal
