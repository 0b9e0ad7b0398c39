// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "physics/blockage.h"
#include "physics/rotor.h"

#include <optional>
#include <string>
#include <vector>

namespace windwright::cli {

/// What `windwright rotor` was asked for, as texts; empty: not given.
struct RotorVerbOptions {
  std::string file;
  std::string air_speed;
  std::string tsr;
  std::string pitch;
  std::string blades;
  std::string rotor_speed_rpm;
  std::string air_speeds;
  std::string density;
  std::string viscosity;
  std::string losses = "both";
  std::string rotational_augmentation = "on";
  std::string yaw;
  std::string tunnel_area;
  std::string start_up;
  std::string load_ohm;
  bool spanwise = false;
  bool optimum = false;
  bool json = false;
};

/// What those texts say, else the standard air's and the rotor's own.
/// @throws BadInput  out of bounds
double density_kg_m3(const RotorVerbOptions& options);
double viscosity_Pa_s(const RotorVerbOptions& options);
std::vector<double> pitches_deg(const RotorVerbOptions& options, const physics::Rotor& rotor);

struct AirAndSpeed {
  double air_speed_m_s;
  double rotor_speed_rad_s;
  std::optional<double> tip_speed_ratio;  // as asked for
};

/// The same, read: every operating point is one of `blade_counts`, of `pitches_deg`, of `speeds`.
struct RotorSweep {
  physics::Rotor rotor;  // of the file; blades and pitch are set for each point
  physics::RotorOptions method;
  std::vector<int> blade_counts;
  std::vector<double> pitches_deg;
  std::vector<AirAndSpeed> speeds;
  double density_kg_m3;
  double dynamic_viscosity_Pa_s;
  double yaw_rad;
  std::optional<double> section_area_m2;  // nothing: open air
  bool spanwise;
};
/// @throws BadInput  an option that cannot be, two that do not go together, too many points
RotorSweep rotor_sweep(const RotorVerbOptions& options, const physics::Rotor& rotor);

/// One operating point. In a tunnel air speed, tip-speed ratio and coefficients are on the tunnel's
/// speed, and `elements` sees the open-air speed that gives the same loads.
struct SweepPoint {
  int blade_count;
  double pitch_deg;
  physics::RotorFlow flow;
  physics::RotorSpan span;  // elements only where asked for
  std::optional<physics::RotorInTunnel> tunnel;
  double tunnel_blockage;  // 0 in open air
};
/// Blade counts outermost, then pitches, then speeds.
std::vector<SweepPoint> sweep_points(const RotorSweep& sweep);

}  // namespace windwright::cli
