// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "physics/blade_design.h"
#include "physics/blade_solid.h"
#include "physics/rotor.h"

#include <string>
#include <vector>

namespace windwright::bench {

/// One row a station: radius_m, chord_m, twist_deg and how it works at the design point.
std::string station_csv(const std::vector<physics::DesignStation>& stations);

/// One station's ring of points as CSV, `x_m,y_m,z_m` in metres, the first point again at the end.
std::string section_csv(const std::vector<physics::BladePoint>& ring, double radius_m);

/// The surface as binary STL, lengths in millimetres, as printers expect them: 80 bytes of text, a
/// count, and for each triangle a normal, three points and two empty bytes, all little-endian.
std::string stl_bytes(const physics::BladeSolid& solid);

}  // namespace windwright::bench
