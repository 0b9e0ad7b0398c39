// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "physics/generator.h"

#include <array>
#include <cstddef>
#include <filesystem>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::analysis {

/// What a run on a drive can tell about a generator, in this order everywhere.
enum class GeneratorParameter {
  flux_linkage,
  winding_resistance,
  winding_inductance,
  bearing_torque,
  bearing_viscous,
  iron_hysteresis,
  iron_eddy
};
inline constexpr std::size_t generator_parameters = 7;
/// The field of physics::Generator, with its unit suffix.
std::string_view name_of(GeneratorParameter parameter);

/// A value and its standard uncertainty, above 0.
struct Reading {
  double value;
  double u;
};

/// Means at one steady speed. Without a direct current the terminals are open. At open terminals
/// every reading counts by itself; a loaded point needs voltage and current.
struct GeneratorPoint {
  double rotor_speed_rad_s;
  double u_rotor_speed_rad_s = 0.0;  // 0: taken as exact
  std::optional<Reading> dc_voltage_V = std::nullopt;
  std::optional<Reading> dc_current_A = std::nullopt;
  std::optional<Reading> torque_N_m = std::nullopt;    // at the shaft
  std::optional<Reading> ac_voltage_V = std::nullopt;  // rms of a phase; open terminals only
  bool magnetised = true;  // false: a rotor without magnets, or before they are fitted
};

/// What hangs on the bridge: decides which of the two models holds.
enum class DcTerminals {
  held_voltage,   // battery or large capacitor: physics::generator_on_voltage
  smooth_current  // resistance behind an inductance: physics::generator_load
};

struct IdentificationOptions {
  DcTerminals terminals = DcTerminals::held_voltage;
  /// What is known otherwise (a bridge's resistance, a bearing's data sheet), by parameter.
  std::array<std::optional<Reading>, generator_parameters> known;
};

/// Parameters that these points cannot tell apart: only a combination of them is determined.
struct Confounded {
  std::vector<GeneratorParameter> parameters;
  bool entirely;  // no information at all; otherwise a correlation beyond 0.99
};

struct GeneratorIdentification {
  physics::Generator generator;  // the start with what was found in place
  std::array<double, generator_parameters> value;
  std::array<double, generator_parameters> u;  // infinite where entirely confounded
  /// (parameters x parameters), row by row; of what is determined.
  std::array<double, generator_parameters * generator_parameters> covariance;
  std::array<double, generator_parameters * generator_parameters> correlation;
  std::vector<Confounded> confounded;
  /// Constant part and slope of the drag at open terminals, always told apart from each other.
  Reading drag_torque_N_m;   // bearing + pole_pairs hysteresis
  Reading drag_slope_N_m_s;  // viscous + pole_pairs^2 eddy
  double chi_squared;        // of all readings, known values included
  int degrees_of_freedom;
  double p_value;             // that readings as good as stated would miss by more
  double largest_residual;    // in standard deviations of that residual
  std::size_t largest_point;  // index of its point
  bool converged;
  int steps;
  std::string stopped_because;
};

/// Weighted least squares with errors in all variables: the true speed and the true DC voltage (on
/// a smooth current: the true current) of every point are unknowns too, so that an error in them
/// reaches all readings of its point together, as it does at the bench. Levenberg-Marquardt
/// (Ceres' TinySolver); derivatives by Jets but for the bridge's mean current, by central
/// differences. Diode values, pole pairs and cogging stay those of `start`.
///
/// At constant flux bearing_torque and pole_pairs times iron_hysteresis, viscous friction and
/// pole_pairs^2 times iron_eddy are one constant and one slope of drag: to part them takes a point
/// that is not magnetised, or a known value.
/// @param start  also the first guess; flux within a factor of 2 or so
/// @throws BadInput  too few readings, a value that is not finite, an uncertainty not above 0
/// Source: Bjorck, Numerical Methods for Least Squares Problems (1996), 9.4 (errors in variables).
/// Checked by recovery in tests/analysis/generator_identification_test.cpp.
GeneratorIdentification identify_generator(const physics::Generator& start,
                                           std::span<const GeneratorPoint> points,
                                           const IdentificationOptions& options);

/// Speeds of a rotor that coasts down, as points of drag: consecutive pairs, each used once, so
/// that their errors are independent. Mean speed and inertia times deceleration.
struct CoastDown {
  std::vector<double> time_s;
  std::vector<double> rotor_speed_rad_s;
  double u_rotor_speed_rad_s;
  double inertia_kg_m2;  // taken as exact: its error scales all drag alike
  bool magnetised = true;
};
/// @throws BadInput  fewer than 2 times, columns of different length, times that do not rise
std::vector<GeneratorPoint> points_of_coast_down(const CoastDown& run);

/// Reads the columns `rotor_speed_rad_s`, `dc_voltage_V`, `dc_current_A`, `torque_N_m`,
/// `ac_voltage_V` with their `u_NAME`, and `setting/magnetised` (1 or 0), of a points CSV
/// (docs/points.md); others are left. A current of 0 is an open circuit.
/// @throws BadInput  with file and line: no speed, a reading without u_NAME above 0
std::vector<GeneratorPoint> generator_points_from_file(const std::filesystem::path& file);
std::vector<GeneratorPoint> generator_points_from_text(std::string_view text,
                                                       const std::string& file);

}  // namespace windwright::analysis
