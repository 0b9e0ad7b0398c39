// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "cli/rotor_optima.h"
#include "cli/rotor_sweep.h"

#include <string>
#include <vector>

namespace windwright::cli {

/// One row a point; with elements one row an element.
std::string points_csv(const std::vector<SweepPoint>& points);
/// One document with the same names, and what did not fit into columns.
std::string points_json(const std::vector<SweepPoint>& points,
                        const std::vector<SweepOptimum>& optima);
/// What a reader of the numbers must know, a line each; empty where nothing is the matter.
std::vector<std::string> notes(const std::vector<SweepPoint>& points);

/// Where air is compressed more than this theory knows: "; tip speeds above 100 m/s ...". Empty
/// below.
std::string tip_speed_remark(double tip_speed_m_s);

}  // namespace windwright::cli
