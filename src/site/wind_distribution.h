// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <span>

namespace windwright::site {

/// Air speeds over a year: chance of exceeding v is exp(-(v / scale)^shape). Shape 2 is the
/// Rayleigh distribution. All functions here ask for a scale and a shape above 0.
/// Source of the moments and fits: J. F. Manwell, J. G. McGowan, A. L. Rogers, Wind Energy
/// Explained, 2nd ed. (2009), 2.4.3 (from memory). Checked in tests/published/wind_test.cpp.
struct Weibull {
  double scale_m_s;
  double shape;
};

/// @param mean_m_s  above 0
/// @throws BadInput  not above 0, as the next for mean and shape
Weibull rayleigh(double mean_m_s);
Weibull weibull_of_mean(double mean_m_s, double shape);

/// Chance of an air speed up to v; 0 for v at or below 0.
double cumulative(const Weibull& wind, double air_speed_m_s);
double mean_m_s(const Weibull& wind);
double standard_deviation_m_s(const Weibull& wind);
/// The most frequent air speed; 0 for a shape up to 1.
double mode_m_s(const Weibull& wind);
/// Mean of the cube over the cube of the mean: 6 / pi for a Rayleigh distribution.
double energy_pattern_factor(const Weibull& wind);
/// Mean power of the wind through a unit of area.
double power_density_W_m2(const Weibull& wind, double density_kg_m3);
/// Integral of the chance of exceeding v from a to b, m/s: what a power curve of slope 1 there
/// gathers. 0 <= a <= b.
double exceeded_m_s(const Weibull& wind, double a_m_s, double b_m_s);

/// From mean and standard deviation: the shape that has their ratio, by root finding.
/// @throws BadInput  not above 0, or a ratio that no shape from 0.2 to 100 has
Weibull weibull_by_moments(double mean_m_s, double standard_deviation_m_s);
/// The same by Justus' approximation, shape = (deviation / mean)^-1.086. Source: C. G. Justus et
/// al., Methods for estimating wind speed frequency distributions, J. Appl. Meteorology 17 (1978)
/// 350-353.
Weibull weibull_by_justus(double mean_m_s, double standard_deviation_m_s);

struct WeibullFit {
  Weibull wind;
  double u_scale_m_s;  // from the curvature of the likelihood: independent values
  double u_shape;
  double correlation;
  double log_likelihood;
};

/// The largest likelihood. Values that follow each other closely, as averages of wind do, are worth
/// fewer: the uncertainties then are too small.
/// @param air_speed_m_s  two different ones or more, all above 0
/// @throws BadInput  otherwise
WeibullFit weibull_by_likelihood(std::span<const double> air_speed_m_s);

}  // namespace windwright::site
