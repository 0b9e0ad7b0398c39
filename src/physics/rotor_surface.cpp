// SPDX-License-Identifier: Apache-2.0
#include "base/errors.h"
#include "physics/blade_elements.h"
#include "physics/element_solver.h"
#include "physics/rotor.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <span>
#include <vector>

namespace windwright::physics {

namespace {

void check_ratios(const RotorFlow& flow, std::span<const double> tip_speed_ratios,
                  std::span<const double> pitches_rad) {
  if (!(flow.air_speed_m_s > 0.0)) {
    throw base::BadInput("rotor", fmt::format("air speed is {} m/s", flow.air_speed_m_s),
                         "above 0, where a tip-speed ratio has a meaning");
  }
  for (const double ratio : tip_speed_ratios) {
    if (!(ratio >= 0.0 && std::isfinite(ratio))) {
      throw base::BadInput("rotor", fmt::format("tip-speed ratio is {}", ratio), "0 or more");
    }
  }
  for (const double pitch_rad : pitches_rad) {
    if (!std::isfinite(pitch_rad)) {
      throw base::BadInput("rotor", "pitch is not finite", "an angle");
    }
  }
}

struct Rows {
  const Rotor& rotor;
  const RotorFlow& flow;
  const RotorOptions& options;
  std::span<const double> ratios;
  std::span<const double> pitches_rad;
};

// One element at all pitches and tip-speed ratios.
void add_element(const Rows& rows, const BladeElement& element, std::span<RotorLoad> loads) {
  const ElementSetting setting = element_setting(element, rows.options);
  const double V = rows.flow.air_speed_m_s;
  const double speed_m_s = V * element.radius_m / rows.rotor.tip_radius_m;  // per tip-speed ratio
  ElementBatch batch;
  for (std::size_t k = 0; k < ElementBatch::most; ++k)
    put(element, 0.0, rows.flow, batch, k);
  ElementCurve curve;
  tabulate_losses(batch, 0, curve);
  for (const double pitch_rad : rows.pitches_rad) {
    batch.blade_angle_rad.fill(element.twist_rad + pitch_rad);
    put_speeds(V, speed_m_s * rows.ratios[rows.ratios.size() / 2], batch, 0);
    tabulate(setting, batch, 0, curve);
    for (std::size_t first = 0; first < rows.ratios.size(); first += ElementBatch::most) {
      batch.count = std::min(ElementBatch::most, rows.ratios.size() - first);
      for (std::size_t k = 0; k < batch.count; ++k)
        put_speeds(V, speed_m_s * rows.ratios[first + k], batch, k);
      solve_elements(setting, curve, batch);
      for (std::size_t k = 0; k < batch.count; ++k) {
        RotorLoad& total = loads[first + k];
        add(element, element_force(element, rows.flow, batch, k), total);
        add_state(element, batch.reynolds_s_m[k] * batch.relative_speed_m_s[k],
                  batch.converged[k] != 0.0, batch.residual[k], total);
      }
    }
    loads = loads.subspan(rows.ratios.size());
  }
}

}  // namespace

std::vector<RotorLoad> rotor_surface(const Rotor& rotor, const RotorFlow& flow,
                                     std::span<const double> tip_speed_ratios,
                                     std::span<const double> pitches_rad,
                                     const RotorOptions& options) {
  RotorFlow at = flow;
  at.rotor_speed_rad_s = 0.0;
  check(rotor, at, options);
  check_ratios(flow, tip_speed_ratios, pitches_rad);
  const std::size_t ratios = tip_speed_ratios.size();
  std::vector<RotorLoad> loads(ratios * pitches_rad.size());
  if (loads.empty()) return loads;
  const auto flow_at = [&](std::size_t k) {
    at.rotor_speed_rad_s = tip_speed_ratios[k] * flow.air_speed_m_s / rotor.tip_radius_m;
    return at;
  };
  if (flow.yaw_rad != 0.0) {
    Rotor pitched = rotor;
    for (std::size_t row = 0; row < pitches_rad.size(); ++row) {
      pitched.pitch_rad = pitches_rad[row];
      for (std::size_t k = 0; k < ratios; ++k)
        loads[row * ratios + k] = rotor_load(pitched, flow_at(k), options);
    }
    return loads;
  }
  const Rows rows{rotor, flow, options, tip_speed_ratios, pitches_rad};
  std::size_t station = 0;
  for (int i = 0; i < options.elements; ++i) {
    add_element(rows, blade_element(rotor, options, i, station), loads);
  }
  for (std::size_t row = 0; row < pitches_rad.size(); ++row) {
    for (std::size_t k = 0; k < ratios; ++k)
      finish(rotor, flow_at(k), loads[row * ratios + k]);
  }
  return loads;
}

}  // namespace windwright::physics
