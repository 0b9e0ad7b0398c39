// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "physics/blade_strength.h"

#include <boost/json/fwd.hpp>

#include <string>
#include <utility>
#include <vector>

namespace windwright::cli {

/// A section's load by name, in the order of the CSV columns.
std::vector<std::pair<const char*, double>> columns_of(const physics::SectionLoad& load);

/// {"rotor_speed_rad_s", "rotor_speed_rpm", "bound", "air_speed_m_s", "pitch_deg", "worst_section"}
boost::json::object to_json(const physics::SafeSpeed& safe);

/// What the figures leave out, for every place that shows them.
std::string safe_speed_sentence(const physics::SafeSpeed& safe, double highest_air_speed_m_s,
                                double allowable_stress_Pa);

}  // namespace windwright::cli
