// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "analysis/power_curve.h"
#include "site/annual_energy.h"

#include <boost/json/fwd.hpp>

#include <optional>
#include <string>
#include <vector>

namespace CLI {
class App;
class Option;
}  // namespace CLI

namespace windwright::cli {

/// Options of `reduce --bins`, beside those of `reduce`.
struct BinsRequest {
  bool wanted = false;
  std::string power;
  std::string regulation = "passive";
  double reference_density_kg_m3 = 1.225;
  double averaging_s = 60.0;
  std::optional<double> swept_area_m2;
  double u_air_speed_m_s = 0.0;
  double u_air_speed_pct = 0.0;
  double u_power_W = 0.0;
  double u_power_pct = 0.0;
  double u_density_pct = 0.0;
  double cut_out_m_s = 25.0;
  std::optional<double> mean_air_speed_m_s;
  double weibull_shape = 2.0;
  std::vector<const CLI::Option*> options;  // what goes with `wanted` only
  const CLI::Option* shape_option = nullptr;
};

void add_bins_options(CLI::App& verb, BinsRequest& request);

struct BinsStudy {
  analysis::PowerCurve curve;
  std::vector<site::SiteEnergy> energies;  // Rayleigh 4 to 11 m/s, then the site of one's own
};

/// Power curve and annual energy of a points CSV, as asked for.
/// @param rotor  rotor.toml for the swept area, or empty
/// @throws BadInput  options that do not go together; as points_from_file and power_curve
BinsStudy study_bins(const std::string& file, const std::string& rotor, const BinsRequest& request);
boost::json::object to_json(const BinsStudy& study);

/// The same, shown.
/// @return  exit code
int reduce_bins(const std::string& file, const std::string& rotor, const BinsRequest& request,
                bool json);

}  // namespace windwright::cli
