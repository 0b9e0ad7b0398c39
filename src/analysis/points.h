// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "campaign/conductor.h"
#include "metrology/estimate.h"

#include <filesystem>
#include <limits>
#include <map>
#include <set>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::analysis {

/// One test point as means of its samples: what a run gives, and what any other lab can write as
/// points CSV. Quantities are known by their column name (`air_speed_m_s`, `dc_power_W`, ...) and
/// present only where measured; powers are means of products, `air_speed_cubed_m3_s3` the mean of
/// the cube, alternating voltage and current are root mean squares. The air speed is that at the
/// rotor disc. A quantity without contributions has no stated uncertainty (not: none).
struct Point {
  int number = 0;
  int blade_count = 0;                                          // 0: not stated, as the rotor's
  double pitch_deg = std::numeric_limits<double>::quiet_NaN();  // NaN: not stated, as the rotor's
  std::map<std::string, double> block_settings;                 // other hard-to-change actuators
  std::map<std::string, double> settings;                       // other actuators
  bool settled = true;
  std::set<std::string> beyond_certificate;  // channels read outside the range of their calibration
  std::map<std::string, metrology::Estimate> quantities;
};

/// Samples -> points: certificates turn counts into values, random parts from the samples' own
/// scatter and autocorrelation, systematic parts from the certificates, kept by input. Method:
/// docs/theory/reduction.md.
/// @throws BadInput  a test point lies outside the recording, or a channel is missing there
std::vector<Point> points_of_run(const campaign::Run& run);

/// A stretch of a run's recording, in seconds from its first sample.
struct Window {
  double from_s;
  double to_s;
};

/// A window as a point, and what its ends say of the energy that turns.
struct WindowPoint {
  Point point;                            // numbered from 1 in the order of the windows
  metrology::Estimate first_speed_rad_s;  // mean over the window's first block, its scatter alone
  metrology::Estimate last_speed_rad_s;
};

/// As points_of_run, for any windows: settled or not, between test points or across them; settings
/// are those of the test point that the window leads to or lies in.
/// @throws BadInput  a window that is not inside the recording, holds a gap or fewer than four
///                   blocks
std::vector<WindowPoint> points_of_windows(const campaign::Run& run,
                                           const std::vector<Window>& windows);

/// Points CSV: columns, then `u_NAME`; a run's file also has `u_NAME/INPUT` columns (one signed
/// contribution each, `u_NAME/random...` for those that belong to the row alone), so that
/// correlation survives the file. Same points, same bytes. docs/points.md.
/// @param source  where the points come from, in words; one line
std::string points_csv(const std::vector<Point>& points, std::string_view source = {});

/// What points are read for. A power curve asks for no rotor speed and takes any described column
/// as its power.
enum class PointsFor { coefficients, power_curve };

/// Reads a points CSV. `u_NAME` without `u_NAME/INPUT` columns is taken as independent from row to
/// row. A column of another name must be described by a comment `# NAME [unit]: meaning`.
/// @throws BadInput  unknown column, missing air speed, rotor speed, air density (or temperature,
///                   pressure and humidity) or anything to reduce; a number that is not finite or
///                   outside its plausible range; a negative uncertainty; a unit that is not the
///                   column's
std::vector<Point> points_from_file(const std::filesystem::path& file,
                                    PointsFor use = PointsFor::coefficients);
/// As above. @param file  name for the messages
std::vector<Point> points_from_text(std::string_view text, const std::string& file,
                                    PointsFor use = PointsFor::coefficients);

/// The `# source: ...` lines of a points CSV, in order; empty where there are none.
std::vector<std::string> sources_of_points(const std::filesystem::path& file);

}  // namespace windwright::analysis
