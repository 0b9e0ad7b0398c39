// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <string>

namespace windwright::cli {

/// `windwright rotor --design DESIGN.toml --into DIR`, options as texts; empty: not given.
struct RotorDesignRequest {
  std::string design;
  std::string into;
  std::string plate_polar;  // one more section to compare, "plate"
  bool replace = false;     // files that are already there
  bool json = false;
};

/// Designs the blade, writes rotor.toml, its polar, stations.csv, comparison.csv, sections/ and
/// blade.stl, and prints what each practical blade costs.
/// @throws BadInput  also where a file is already there and `replace` was not given
void design_rotor(const RotorDesignRequest& request);

}  // namespace windwright::cli
