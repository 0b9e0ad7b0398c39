// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "campaign/conductor.h"
#include "metrology/estimate.h"

#include <filesystem>
#include <map>
#include <string>
#include <vector>

namespace windwright::analysis {

/// One test point as means of its samples: what a run gives, and what any other lab can write as
/// points CSV. Quantities are known by their column name (`air_speed_m_s`, `dc_power_W`, ...) and
/// present only where measured; powers are means of products, `air_speed_cubed_m3_s3` the mean of
/// the cube.
struct Point {
  int number = 0;
  int blade_count = 0;
  double pitch_deg = 0.0;
  std::map<std::string, double> settings;  // other actuators
  bool settled = true;
  std::map<std::string, metrology::Estimate> quantities;
};

/// Samples -> points: certificates turn counts into values, random parts from the samples' own
/// scatter and autocorrelation, systematic parts from the certificates, kept by input.
std::vector<Point> points_of_run(const campaign::Run& run);

/// Points CSV: columns, then `u_NAME`; a run's file also has `u_NAME/INPUT` columns (one signed
/// contribution each) and `u_NAME/random`, so that correlation survives the file. docs/files.md.
std::string points_csv(const std::vector<Point>& points);
/// @throws BadInput
std::vector<Point> points_from_file(const std::filesystem::path& file);

}  // namespace windwright::analysis
