// SPDX-License-Identifier: Apache-2.0
#include "twin/disc.h"

#include <functional>
#include <utility>

namespace windwright::twin {

Disc::Disc(TorqueTable table) : table_(std::move(table)) {}

void Disc::forget() {
  near_known_ = false;
}

DiscLoad Disc::load(const physics::RotorFlow& flow, double induced_m_s) {
  physics::RotorFlow steady = flow;
  const double through_m_s = flow.air_speed_m_s - induced_m_s;
  const auto induced_at_m_s = [&](double air_speed_m_s) {
    steady.air_speed_m_s = air_speed_m_s;
    return table_.induced_m_s(steady);
  };
  if (!near_known_)
    near_ = {.air_speed_m_s = flow.air_speed_m_s, .disc_air_speed_m_s = through_m_s};
  near_ = physics::equivalent_air(std::ref(induced_at_m_s), through_m_s, near_);
  near_known_ = true;
  steady.air_speed_m_s = near_.air_speed_m_s;
  return {.torque_N_m = table_.torque_N_m(steady),
          .quasi_steady_m_s = near_.air_speed_m_s - near_.disc_air_speed_m_s};
}

}  // namespace windwright::twin
