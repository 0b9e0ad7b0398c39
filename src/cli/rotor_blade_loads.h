// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <string>

namespace windwright::cli {

/// `windwright rotor FILE --blade-loads`, options as texts; empty: not given.
struct BladeLoadsRequest {
  std::string file;
  std::string air_speed;  // the highest the blades are to stand
  std::string pitch;
  std::string blades;
  std::string density;
  std::string viscosity;
  std::string tunnel_area;
  bool json = false;
};

/// Root loads and stresses at that air speed from standstill to the safe speed, and that speed.
/// @throws BadInput
void show_blade_loads(const BladeLoadsRequest& request);

}  // namespace windwright::cli
