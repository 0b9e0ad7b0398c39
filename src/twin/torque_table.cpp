// SPDX-License-Identifier: Apache-2.0
#include "twin/torque_table.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <numbers>
#include <span>
#include <vector>

namespace windwright::twin {

namespace {

constexpr std::size_t columns = 97;  // of s
constexpr std::size_t rows = 17;     // of ln v
constexpr double bend = 4.0;         // tip-speed ratio where s is one half
constexpr double highest_ratio = 30.0;
constexpr double s_step = highest_ratio / (highest_ratio + bend) / (columns - 1);

double ratio_of(double s) {
  return bend * s / (1.0 - s);
}

// Slopes of a monotone cubic over even steps: harmonic mean of the neighbouring secants, none at a
// turning point.
std::vector<double> monotone_slopes(std::span<const double> values) {
  const std::size_t n = values.size();
  std::vector<double> slopes(n);
  for (std::size_t i = 1; i + 1 < n; ++i) {
    const double before = values[i] - values[i - 1];
    const double after = values[i + 1] - values[i];
    slopes[i] = before * after > 0.0 ? 2.0 * before * after / (before + after) : 0.0;
  }
  slopes[0] = values[1] - values[0];
  slopes[n - 1] = values[n - 1] - values[n - 2];
  return slopes;
}

}  // namespace

TorqueTable::TorqueTable(const physics::Rotor& rotor, double density_kg_m3,
                         double dynamic_viscosity_Pa_s, double rated_air_speed_m_s)
    : radius_m_(rotor.tip_radius_m),
      reference_kinematic_m2_s_(dynamic_viscosity_Pa_s / density_kg_m3),
      log_lowest_(std::log(0.08 * rated_air_speed_m_s)),
      log_step_(std::log(1.3 / 0.08) / static_cast<double>(rows - 1)) {
  nodes_.reserve(rows * columns);
  for (std::size_t row = 0; row < rows; ++row) {
    const double air_speed_m_s = std::exp(log_lowest_ + static_cast<double>(row) * log_step_);
    std::vector<double> values(columns);
    for (std::size_t column = 0; column < columns; ++column) {
      const double ratio = ratio_of(static_cast<double>(column) * s_step);
      const physics::RotorLoad load =
          physics::rotor_load(rotor, {.air_speed_m_s = air_speed_m_s,
                                      .rotor_speed_rad_s = ratio * air_speed_m_s / radius_m_,
                                      .density_kg_m3 = density_kg_m3,
                                      .dynamic_viscosity_Pa_s = dynamic_viscosity_Pa_s});
      const double w2 = air_speed_m_s * air_speed_m_s * (1.0 + ratio * ratio);
      values[column] = load.torque_N_m / (0.5 * density_kg_m3 * std::numbers::pi * radius_m_ *
                                          radius_m_ * radius_m_ * w2);
    }
    const std::vector<double> slopes = monotone_slopes(values);
    for (std::size_t column = 0; column < columns; ++column)
      nodes_.push_back({.value = values[column], .slope = slopes[column]});
  }
}

double TorqueTable::along_s(std::size_t row, double place) const {
  const auto column = static_cast<std::size_t>(std::min(place, static_cast<double>(columns - 2)));
  const double t = place - static_cast<double>(column);
  const Node& a = nodes_[row * columns + column];
  const Node& b = nodes_[row * columns + column + 1];
  const double rise = b.value - a.value;
  return a.value + t * (a.slope + t * (3.0 * rise - 2.0 * a.slope - b.slope +
                                       t * (a.slope + b.slope - 2.0 * rise)));
}

double TorqueTable::torque_N_m(const physics::RotorFlow& flow) const {
  const double u = flow.rotor_speed_rad_s * radius_m_;
  const double v = flow.air_speed_m_s;
  const double w2 = u * u + v * v;
  if (w2 <= 0.0) return 0.0;
  const double place = std::min(u / (u + bend * v) / s_step, static_cast<double>(columns - 1));
  const double ratio = u < highest_ratio * v ? u / v : highest_ratio;
  const double kinematic_m2_s = flow.dynamic_viscosity_Pa_s / flow.density_kg_m3;
  const double same_reynolds_m_s =
      std::sqrt(w2 / (1.0 + ratio * ratio)) * reference_kinematic_m2_s_ / kinematic_m2_s;
  const double height =
      std::clamp((std::log(std::max(same_reynolds_m_s, 1e-12)) - log_lowest_) / log_step_, 0.0,
                 static_cast<double>(rows - 1));
  const auto row = static_cast<std::size_t>(std::min(height, static_cast<double>(rows - 2)));
  const double t = height - static_cast<double>(row);
  const std::array<double, 4> c{along_s(row == 0 ? 0 : row - 1, place), along_s(row, place),
                                along_s(row + 1, place),
                                along_s(std::min(row + 2, rows - 1), place)};
  const double coefficient = c[1] + 0.5 * t *
                                        (c[2] - c[0] +
                                         t * (2.0 * c[0] - 5.0 * c[1] + 4.0 * c[2] - c[3] +
                                              t * (3.0 * (c[1] - c[2]) + c[3] - c[0])));
  return coefficient * 0.5 * flow.density_kg_m3 * std::numbers::pi * radius_m_ * radius_m_ *
         radius_m_ * w2;
}

}  // namespace windwright::twin
