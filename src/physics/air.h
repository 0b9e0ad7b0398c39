// SPDX-License-Identifier: Apache-2.0
#pragma once

namespace windwright::physics {

/// State of the air at a place. The equations below give numbers for any positive temperature and
/// pressure; their sources vouch for them only in the ranges stated with each. Whoever reads a
/// state from a file or an option checks it there.
struct Air {
  double temperature_K;
  double pressure_Pa;
  double relative_humidity;             // 0 to 1
  double co2_mole_fraction = 400.0e-6;  // outdoor air of today
};

/// Standard air at sea level: 15 degC, 1013.25 hPa, dry (ISO 2533:1975).
inline constexpr double standard_temperature_K = 288.15;
inline constexpr double standard_pressure_Pa = 101325.0;
inline constexpr double standard_density_kg_m3 = 1.225;

/// Standard uncertainties of the equations themselves, relative to their value.
inline constexpr double density_equation_u_relative = 2.2e-5;
/// Sutherland's law leaves out humidity (saturated air at 30 degC is about 1 % thinner) and lies
/// 0.4 % below today's reference equation for dry air at 300 K.
inline constexpr double viscosity_equation_u_relative = 5.0e-3;
inline constexpr double speed_of_sound_equation_u_relative = 3.0e-4;

/// Mole fraction of water vapour: relative humidity times enhancement factor times saturation
/// vapour pressure over pressure.
/// Source: as density_kg_m3.
double water_vapour_mole_fraction(const Air& air);

/// Density of moist air by the CIPM-2007 equation.
/// Range: 15 to 27 degC, 600 to 1100 hPa, any humidity; used beyond that for want of a better one.
/// Source: Picard, Davis, Glaeser, Fujii, Revised formula for the density of moist air (CIPM-2007),
/// Metrologia 45 (2008) 149-155, appendix. Checked in tests/published/air_test.cpp.
double density_kg_m3(const Air& air);

/// Dynamic viscosity of dry air by Sutherland's law, 1.458e-6 T^(3/2) / (T + 110.4 K).
/// Range: 100 to 1900 K, pressures where air is a dilute gas.
/// Source: U.S. Standard Atmosphere 1976, equation 51. Checked in tests/published/air_test.cpp.
double dynamic_viscosity_Pa_s(const Air& air);

/// Speed of sound in moist air at zero frequency.
/// Range: 0 to 30 degC, 750 to 1020 hPa, up to 6 % water vapour, up to 1 % carbon dioxide.
/// Source: Cramer, The variation of the specific heat ratio and the speed of sound in air with
/// temperature, pressure, humidity, and CO2 concentration, J. Acoust. Soc. Am. 93 (1993) 2510-2516,
/// equation 15 and table III. Checked in tests/published/air_test.cpp.
double speed_of_sound_m_s(const Air& air);

}  // namespace windwright::physics
