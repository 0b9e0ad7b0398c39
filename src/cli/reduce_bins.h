// SPDX-License-Identifier: Apache-2.0
#pragma once

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

/// Power curve and annual energy of a points CSV.
/// @param rotor  rotor.toml for the swept area, or empty
/// @return  exit code
int reduce_bins(const std::string& file, const std::string& rotor, const BinsRequest& request,
                bool json);

}  // namespace windwright::cli
