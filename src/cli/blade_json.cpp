// SPDX-License-Identifier: Apache-2.0
#include "cli/blade_json.h"

#include "physics/blade_strength.h"

#include <boost/json.hpp>
#include <fmt/format.h>

#include <numbers>
#include <string>
#include <utility>
#include <vector>

namespace windwright::cli {

namespace {

constexpr double degree = std::numbers::pi / 180.0;
constexpr double rpm_from_rad_s = 30.0 / std::numbers::pi;

}  // namespace

std::vector<std::pair<const char*, double>> columns_of(const physics::SectionLoad& load) {
  return {{"radius_m", load.radius_m},
          {"centrifugal_force_N", load.centrifugal_force_N},
          {"flapwise_moment_N_m", load.flapwise_moment_N_m},
          {"edgewise_moment_N_m", load.edgewise_moment_N_m},
          {"weight_moment_N_m", load.weight_moment_N_m},
          {"centrifugal_stress_Pa", load.centrifugal_stress_Pa},
          {"bending_stress_Pa", load.bending_stress_Pa},
          {"stress_Pa", load.stress_Pa}};
}

boost::json::object to_json(const physics::SafeSpeed& safe) {
  boost::json::object worst;
  for (const auto& [name, value] : columns_of(safe.worst))
    worst[name] = value;
  return {{"rotor_speed_rad_s", safe.rotor_speed_rad_s},
          {"rotor_speed_rpm", safe.rotor_speed_rad_s * rpm_from_rad_s},
          {"bound", safe.bound == physics::SpeedBound::stress ? "stress" : "tip_speed"},
          {"air_speed_m_s", safe.air_speed_m_s},
          {"pitch_deg", safe.pitch_rad / degree},
          {"worst_section", std::move(worst)}};
}

std::string safe_speed_sentence(const physics::SafeSpeed& safe, double highest_air_speed_m_s,
                                double allowable_stress_Pa) {
  if (safe.rotor_speed_rad_s <= 0.0) {
    return fmt::format(
        "not safe at any rotor speed: at {:.4g} m/s the stopped blade already carries {:.4g} MPa, "
        "allowed are {:.4g} MPa",
        safe.air_speed_m_s, safe.worst.stress_Pa / 1e6, allowable_stress_Pa / 1e6);
  }
  return fmt::format(
      "safe up to {:.4g} rad/s ({:.0f} rpm) at air speeds up to {:.4g} m/s, bound by {}: {:.4g} "
      "MPa "
      "of {:.4g} MPa at radius {:.3g} m, air {:.3g} m/s. Steady loads on a sound blade; notches, "
      "fatigue, creep and heat are the safety factor's. A qualified person decides.",
      safe.rotor_speed_rad_s, safe.rotor_speed_rad_s * rpm_from_rad_s, highest_air_speed_m_s,
      safe.bound == physics::SpeedBound::stress ? "stress" : "the tip speed",
      safe.worst.stress_Pa / 1e6, allowable_stress_Pa / 1e6, safe.worst.radius_m,
      safe.air_speed_m_s);
}

}  // namespace windwright::cli
