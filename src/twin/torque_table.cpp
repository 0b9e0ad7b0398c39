// SPDX-License-Identifier: Apache-2.0
#include "twin/torque_table.h"

#include "physics/blockage.h"
#include "physics/dynamic_inflow.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <limits>
#include <numbers>
#include <optional>

namespace windwright::twin {

namespace {

constexpr std::size_t columns = 385;  // of s
constexpr std::size_t rows = 33;      // of ln v
constexpr double unknown = std::numeric_limits<double>::quiet_NaN();
constexpr double bend = 4.0;  // tip-speed ratio where s is one half
constexpr double highest_ratio = 30.0;
constexpr double s_step = highest_ratio / (highest_ratio + bend) / (columns - 1);

double ratio_of(double s) {
  return bend * s / (1.0 - s);
}

// Slope of a monotone cubic over even steps: harmonic mean of the neighbouring secants, none at a
// turning point.
double monotone_slope(double before, double here, double after) {
  const double rise_before = here - before;
  const double rise_after = after - here;
  if (rise_before * rise_after <= 0.0) return 0.0;
  return 2.0 * rise_before * rise_after / (rise_before + rise_after);
}

}  // namespace

TorqueTable::TorqueTable(const physics::Rotor& rotor, double density_kg_m3,
                         double dynamic_viscosity_Pa_s, double rated_air_speed_m_s,
                         std::optional<double> section_area_m2)
    : rotor_(rotor),
      density_kg_m3_(density_kg_m3),
      dynamic_viscosity_Pa_s_(dynamic_viscosity_Pa_s),
      section_area_m2_(section_area_m2),
      log_lowest_(std::log(0.08 * rated_air_speed_m_s)),
      log_step_(std::log(1.3 / 0.08) / static_cast<double>(rows - 1)),
      nodes_(rows * columns, Node{.value = {unknown, unknown}, .slope = {unknown, unknown}}) {}

const TorqueTable::Node& TorqueTable::value_at(std::size_t row, std::size_t column) {
  Node& node = nodes_[row * columns + column];
  if (!std::isnan(node.value[torque])) return node;
  const double radius_m = rotor_.tip_radius_m;
  const double ratio = ratio_of(static_cast<double>(column) * s_step);
  const double air_speed_m_s = std::exp(log_lowest_ + static_cast<double>(row) * log_step_);
  const physics::RotorFlow flow{.air_speed_m_s = air_speed_m_s,
                                .rotor_speed_rad_s = ratio * air_speed_m_s / radius_m,
                                .density_kg_m3 = density_kg_m3_,
                                .dynamic_viscosity_Pa_s = dynamic_viscosity_Pa_s_};
  double torque_N_m = 0.0;
  double induced_m_s = 0.0;
  if (section_area_m2_) {
    const physics::RotorInTunnel in = physics::rotor_in_tunnel(rotor_, flow, *section_area_m2_);
    torque_N_m = in.load.torque_N_m;
    induced_m_s = air_speed_m_s * (1.0 - in.disc.disc_speed_ratio);
  } else {
    const physics::RotorLoad load = physics::rotor_load(rotor_, flow);
    torque_N_m = load.torque_N_m;
    induced_m_s = physics::quasi_steady_induced_m_s(rotor_, flow, load.thrust_N);
  }
  const double w2 = air_speed_m_s * air_speed_m_s * (1.0 + ratio * ratio);
  node.value[torque] =
      torque_N_m / (0.5 * density_kg_m3_ * std::numbers::pi * radius_m * radius_m * radius_m * w2);
  node.value[induced] = induced_m_s / std::sqrt(w2);
  return node;
}

const TorqueTable::Node& TorqueTable::node_at(std::size_t row, std::size_t column) {
  Node& node = nodes_[row * columns + column];
  if (!std::isnan(node.slope[torque])) return node;
  value_at(row, column);
  const Node& before = value_at(row, column == 0 ? 0 : column - 1);
  const Node& after = value_at(row, std::min(column + 1, columns - 1));
  for (const Quantity q : {torque, induced}) {
    if (column == 0) {
      node.slope[q] = after.value[q] - node.value[q];
    } else if (column == columns - 1) {
      node.slope[q] = node.value[q] - before.value[q];
    } else {
      node.slope[q] = monotone_slope(before.value[q], node.value[q], after.value[q]);
    }
  }
  return node;
}

double TorqueTable::along_s(Quantity quantity, std::size_t row, double place) {
  const auto column = static_cast<std::size_t>(std::min(place, static_cast<double>(columns - 2)));
  const double t = place - static_cast<double>(column);
  const Node& from = node_at(row, column);
  const Node& to = node_at(row, column + 1);
  const double a = from.value[quantity];
  const double a_slope = from.slope[quantity];
  const double b_slope = to.slope[quantity];
  const double rise = to.value[quantity] - a;
  return a + t * (a_slope + t * (3.0 * rise - 2.0 * a_slope - b_slope +
                                 t * (a_slope + b_slope - 2.0 * rise)));
}

TorqueTable::Place TorqueTable::place_of(const physics::RotorFlow& flow) const {
  const double u = flow.rotor_speed_rad_s * rotor_.tip_radius_m;
  const double v = flow.air_speed_m_s;
  const double w2 = u * u + v * v;
  if (w2 <= 0.0) return {.row = 0, .past_row = 0.0, .column = 0.0, .w2 = 0.0};
  const double ratio = u < highest_ratio * v ? u / v : highest_ratio;
  const double kinematic_m2_s = flow.dynamic_viscosity_Pa_s / flow.density_kg_m3;
  const double same_reynolds_m_s = std::sqrt(w2 / (1.0 + ratio * ratio)) * dynamic_viscosity_Pa_s_ /
                                   density_kg_m3_ / kinematic_m2_s;
  const double height =
      std::clamp((std::log(std::max(same_reynolds_m_s, 1e-12)) - log_lowest_) / log_step_, 0.0,
                 static_cast<double>(rows - 1));
  const auto row = static_cast<std::size_t>(std::min(height, static_cast<double>(rows - 2)));
  return {.row = row,
          .past_row = height - static_cast<double>(row),
          .column = std::min(u / (u + bend * v) / s_step, static_cast<double>(columns - 1)),
          .w2 = w2};
}

double TorqueTable::coefficient(Quantity quantity, const Place& place) {
  const std::size_t row = place.row;
  const double t = place.past_row;
  const std::array<double, 4> c{along_s(quantity, row == 0 ? 0 : row - 1, place.column),
                                along_s(quantity, row, place.column),
                                along_s(quantity, row + 1, place.column),
                                along_s(quantity, std::min(row + 2, rows - 1), place.column)};
  return c[1] + 0.5 * t *
                    (c[2] - c[0] +
                     t * (2.0 * c[0] - 5.0 * c[1] + 4.0 * c[2] - c[3] +
                          t * (3.0 * (c[1] - c[2]) + c[3] - c[0])));
}

double TorqueTable::torque_N_m(const physics::RotorFlow& flow) {
  const Place place = place_of(flow);
  if (place.w2 <= 0.0) return 0.0;
  const double radius_m = rotor_.tip_radius_m;
  return coefficient(torque, place) * 0.5 * flow.density_kg_m3 * std::numbers::pi * radius_m *
         radius_m * radius_m * place.w2;
}

double TorqueTable::induced_m_s(const physics::RotorFlow& flow) {
  const Place place = place_of(flow);
  if (place.w2 <= 0.0) return 0.0;
  return coefficient(induced, place) * std::sqrt(place.w2);
}

}  // namespace windwright::twin
