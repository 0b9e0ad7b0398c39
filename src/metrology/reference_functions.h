// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <string_view>

namespace windwright::metrology {

/// Coefficients of industrial platinum resistance thermometers: R = R0 (1 + A t + B t^2 +
/// C (t - 100) t^3), C below 0 degC only, t in degC from -200 to 850.
/// Source: IEC 60751:2008, 4.2. Checked in tests/published/reference_functions_test.cpp.
inline constexpr double platinum_a = 3.9083e-3;
inline constexpr double platinum_b = -5.775e-7;
inline constexpr double platinum_c = -4.183e-12;
double platinum_resistance_ohm(double temperature_C, double ice_point_ohm = 100.0);
/// The inverse, exact to rounding; beyond -200 to 850 degC it is carried on.
double platinum_temperature_C(double resistance_ohm, double ice_point_ohm = 100.0);

/// Largest error of a platinum thermometer, as made: class "AA", "A", "B" or "C".
/// @return  in K; NaN for another class
/// Source: IEC 60751:2008, Table 3 (from memory).
double platinum_tolerance_K(std::string_view tolerance_class, double temperature_C);

/// Letters of the thermocouple types: "BEJKNRST".
std::string_view thermocouple_types();

/// Emf against a junction at 0 degC, and its slope.
struct Emf {
  double emf_V;
  double slope_V_K;
};
/// Reference function of a type, temperatures on ITS-90: polynomials, type K above 0 degC with an
/// exponential term. Beyond the type's range the function of its end is carried on.
/// @param type  one of thermocouple_types()
/// Source: IEC 60584-1:2013; coefficients of Burns et al., NIST Monograph 175 (1993). Checked in
/// tests/published/reference_functions_test.cpp.
Emf thermocouple_emf(char type, double temperature_C);
/// Range of the type's reference function, in degC.
struct TemperatureRange {
  double lowest_C;
  double highest_C;
};
TemperatureRange thermocouple_range(char type);
/// Inverse of the reference function, to rounding, on its rising branch; beyond the range carried
/// on along the tangent.
double thermocouple_temperature_C(char type, double emf_V);

/// Air speed from the pressures of a pitot-static tube.
/// @param difference_Pa  total less static pressure, 0 or more
/// @param density_kg_m3  above 0
/// @param factor         of the tube's calibration, 1 for an ideal one
/// Source: ISO 3966:2020, without compressibility. Checked in tests/published/.
double pitot_speed_m_s(double difference_Pa, double density_kg_m3, double factor = 1.0);
/// The same with compressibility, from the isentropic relation of a perfect gas.
/// @param static_Pa   static pressure, above 0
/// @param static_K    static temperature, above 0
/// Source: Anderson, Fundamentals of Aerodynamics, 8.7.1.
double pitot_speed_compressible_m_s(double difference_Pa, double static_Pa, double static_K);

}  // namespace windwright::metrology
