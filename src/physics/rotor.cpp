// SPDX-License-Identifier: Apache-2.0
#include "physics/rotor.h"

#include "base/errors.h"
#include "physics/blade_elements.h"
#include "physics/element_solver.h"
#include "physics/polar.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <numbers>
#include <vector>

namespace windwright::physics {

namespace {

constexpr double pi = std::numbers::pi;

ElementLoad load_of(const BladeElement& element, const RotorFlow& flow, const ElementBatch& batch,
                    std::size_t i) {
  const ElementForce force = element_force(element, flow, batch, i);
  const double W = batch.relative_speed_m_s[i];
  const double V = batch.axial_m_s[i];
  const double u = batch.backwards[i] != 0.0 ? -batch.turning_m_s[i] : batch.turning_m_s[i];
  const double reynolds = batch.reynolds_s_m[i] * W;
  const Polar& inner = *element.inner;
  const Polar& outer = *element.outer;
  return {.radius_m = element.radius_m,
          .inflow_angle_rad = batch.inflow_angle_rad[i],
          .angle_of_attack_rad = batch.angle_of_attack_rad[i],
          .axial_induction = V > 0.0 ? 1.0 - W * batch.sine[i] / V : 0.0,
          .tangential_induction = u != 0.0 ? W * batch.cosine[i] / u - 1.0 : 0.0,
          .loss_factor = batch.loss_factor[i],
          .relative_speed_m_s = W,
          .reynolds = reynolds,
          .cl = batch.cl[i],
          .cd = batch.cd[i],
          .normal_load_N_m1 = force.normal_load_N_m1,
          .tangential_load_N_m1 = force.tangential_load_N_m1,
          .residual = batch.residual[i],
          .below_reynolds = reynolds<std::max(inner.lowest_reynolds(), outer.lowest_reynolds()),
                                     .above_reynolds = reynolds>
              std::min(inner.highest_reynolds(), outer.highest_reynolds()),
          .converged = batch.converged[i] != 0.0};
}

// Still air around a rotor at rest: nothing to solve.
void rest(ElementBatch& batch, std::size_t i) {
  batch.inflow_angle_rad[i] = 0.0;
  batch.sine[i] = 0.0;
  batch.cosine[i] = 1.0;
  batch.angle_of_attack_rad[i] = -batch.blade_angle_rad[i];
  batch.relative_speed_m_s[i] = 0.0;
  batch.loss_factor[i] = 1.0;
  batch.cl[i] = 0.0;
  batch.cd[i] = 0.0;
  batch.residual[i] = 0.0;
  batch.converged[i] = 1.0;
}

bool at_rest(const ElementBatch& batch, std::size_t i) {
  return batch.axial_m_s[i] == 0.0 && batch.turning_m_s[i] == 0.0;
}

// Elements of the blade, hub to tip, that share their polars.
struct Piece {
  std::array<BladeElement, ElementBatch::most> element;
  ElementBatch batch;
};

// Fills the next piece. @return  its first element's number after the last
int next_piece(const Rotor& rotor, const RotorFlow& flow, const RotorOptions& options, int from,
               Piece& piece) {
  std::size_t station = 0;
  std::size_t count = 0;
  int i = from;
  for (; i < options.elements && count < ElementBatch::most; ++i, ++count) {
    const BladeElement element = blade_element(rotor, options, i, station);
    if (count > 0 &&
        (element.inner != piece.element[0].inner || element.outer != piece.element[0].outer)) {
      break;
    }
    piece.element[count] = element;
    put(element, rotor.pitch_rad, flow, piece.batch, count);
  }
  piece.batch.count = count;
  return i;
}

void solve(const RotorOptions& options, Piece& piece) {
  if (at_rest(piece.batch, 0)) {
    for (std::size_t k = 0; k < piece.batch.count; ++k)
      rest(piece.batch, k);
    return;
  }
  solve_elements(element_setting(piece.element[0], options), piece.batch);
}

struct Skew {
  double yaw_rad;
  double radius_ratio;
  double cosine;  // of the place round the circle
  bool swirl;
};

// Pitt and Peters' skew of the axial induction, after the fact: the element's flow is moved and its
// forces read again.
void skew(const BladeElement& element, const Skew& by, ElementBatch& batch, std::size_t i) {
  const double V = batch.axial_m_s[i];
  double W = batch.relative_speed_m_s[i];
  const double a = V > 0.0 ? 1.0 - W * batch.sine[i] / V : 0.0;
  // The wake's skew is known for working rotors only.
  if (batch.converged[i] == 0.0 || !(a > 0.0 && a < 1.0)) return;
  const double wake_rad = (1.0 + 0.6 * a) * by.yaw_rad;
  const double skewed = a * (1.0 + 15.0 * pi / 32.0 * std::tan(0.5 * std::abs(wake_rad)) *
                                       by.radius_ratio * by.cosine);
  const double axial_m_s = V * (1.0 - skewed);
  const double turning_m_s = W * batch.cosine[i];
  W = std::hypot(axial_m_s, turning_m_s);
  if (!(W > 0.0)) return;
  const double s = axial_m_s / W;
  const double c = turning_m_s / W;
  const double phi = std::atan2(s, c);
  const double alpha_rad = phi - batch.blade_angle_rad[i];
  const double reynolds = batch.reynolds_s_m[i] * W;
  const auto inner_at = element.inner->position(reynolds);
  const auto outer_at = element.outer->position(reynolds);
  const SectionForce inner = element.inner->at(alpha_rad, inner_at);
  const SectionForce outer = element.outer->at(alpha_rad, outer_at);
  const double cl = std::lerp(inner.cl, outer.cl, element.outer_weight);
  const double deficit =
      std::lerp(element.inner->lift_deficit(alpha_rad, inner_at),
                element.outer->lift_deficit(alpha_rad, outer_at), element.outer_weight);
  // As in the solver: turning speed over relative speed with the section's own lift in the swirl.
  const double swirling = by.swirl ? 0.25 * element.solidity / batch.loss_factor[i] : 0.0;
  const double rotating = c - swirling * cl;
  batch.inflow_angle_rad[i] = phi;
  batch.sine[i] = s;
  batch.cosine[i] = c;
  batch.angle_of_attack_rad[i] = alpha_rad;
  batch.relative_speed_m_s[i] = W;
  batch.cl[i] = cl + std::min(1.0, element.augmentation * rotating * rotating) * deficit;
  batch.cd[i] = std::lerp(inner.cd, outer.cd, element.outer_weight);
}

// Mean of what an element does round the circle.
void add_share(const ElementLoad& part, double share, ElementLoad& mean) {
  for (double ElementLoad::* field :
       {&ElementLoad::inflow_angle_rad, &ElementLoad::angle_of_attack_rad,
        &ElementLoad::axial_induction, &ElementLoad::tangential_induction,
        &ElementLoad::loss_factor, &ElementLoad::relative_speed_m_s, &ElementLoad::reynolds,
        &ElementLoad::cl, &ElementLoad::cd, &ElementLoad::normal_load_N_m1,
        &ElementLoad::tangential_load_N_m1}) {
    mean.*field += share * part.*field;
  }
  mean.radius_m = part.radius_m;
  mean.residual = std::max(mean.residual, part.residual);
  mean.below_reynolds = mean.below_reynolds || part.below_reynolds;
  mean.above_reynolds = mean.above_reynolds || part.above_reynolds;
  mean.converged = mean.converged && part.converged;
}

using Loads = std::array<ElementLoad, ElementBatch::most>;

// The loads of one piece, in a wind along the axis.
void straight(const Rotor&, const RotorFlow& flow, const RotorOptions& options, Piece& piece,
              Loads& loads) {
  for (std::size_t k = 0; k < piece.batch.count; ++k) {
    put_speeds(flow.air_speed_m_s, flow.rotor_speed_rad_s * piece.element[k].radius_m, piece.batch,
               k);
  }
  solve(options, piece);
  for (std::size_t k = 0; k < piece.batch.count; ++k)
    loads[k] = load_of(piece.element[k], flow, piece.batch, k);
}

// The same in yaw: means round the circle.
void yawed(const Rotor& rotor, const RotorFlow& flow, const RotorOptions& options, Piece& piece,
           Loads& loads) {
  constexpr int places = 12;
  for (std::size_t k = 0; k < piece.batch.count; ++k) {
    loads[k] = {};
    loads[k].converged = true;
  }
  for (int place = 0; place < places; ++place) {
    // From where the blade points downwind; turning takes it to where it meets the wind's part in
    // the plane of rotation.
    const double psi = 2.0 * pi * place / places;
    const double across_m_s = flow.air_speed_m_s * std::sin(std::abs(flow.yaw_rad)) * std::sin(psi);
    for (std::size_t k = 0; k < piece.batch.count; ++k) {
      put_speeds(flow.air_speed_m_s * std::cos(flow.yaw_rad),
                 flow.rotor_speed_rad_s * piece.element[k].radius_m + across_m_s, piece.batch, k);
    }
    solve(options, piece);
    for (std::size_t k = 0; k < piece.batch.count; ++k) {
      skew(piece.element[k],
           {.yaw_rad = flow.yaw_rad,
            .radius_ratio = piece.element[k].radius_m / rotor.tip_radius_m,
            .cosine = std::cos(psi),
            .swirl = options.wake_rotation},
           piece.batch, k);
      add_share(load_of(piece.element[k], flow, piece.batch, k), 1.0 / places, loads[k]);
    }
  }
}

RotorLoad integrated(const Rotor& rotor, const RotorFlow& flow, const RotorOptions& options,
                     std::vector<ElementLoad>* elements) {
  check(rotor, flow, options);
  RotorLoad total{};
  Piece piece;
  Loads loads;
  for (int i = 0; i < options.elements;) {
    i = next_piece(rotor, flow, options, i, piece);
    (flow.yaw_rad == 0.0 ? straight : yawed)(rotor, flow, options, piece, loads);
    for (std::size_t k = 0; k < piece.batch.count; ++k) {
      const ElementLoad& load = loads[k];
      add(piece.element[k], {load.normal_load_N_m1, load.tangential_load_N_m1}, total);
      add_state(piece.element[k], load.reynolds, load.converged, load.residual, total);
      if (elements != nullptr) elements->push_back(load);
    }
  }
  finish(rotor, flow, total);
  return total;
}

}  // namespace

RotorLoad rotor_load(const Rotor& rotor, const RotorFlow& flow, const RotorOptions& options) {
  return integrated(rotor, flow, options, nullptr);
}

RotorSpan rotor_span(const Rotor& rotor, const RotorFlow& flow, const RotorOptions& options) {
  RotorSpan span{};
  span.total = integrated(rotor, flow, options, &span.elements);
  return span;
}

ElementLoad element_load(const Rotor& rotor, double radius_m, const RotorFlow& flow,
                         const RotorOptions& options) {
  check(rotor, flow, options);
  if (!(radius_m > rotor.hub_radius_m && radius_m < rotor.tip_radius_m)) {
    throw base::BadInput("rotor", fmt::format("element at {} m", radius_m),
                         "a radius between hub and tip");
  }
  if (flow.yaw_rad != 0.0) {
    throw base::BadInput("rotor", "one element alone has no yaw", "a yaw of 0");
  }
  std::size_t station = 0;
  Piece piece;
  Loads loads;
  piece.element[0] = blade_element(rotor, options, radius_m, station);
  put(piece.element[0], rotor.pitch_rad, flow, piece.batch, 0);
  piece.batch.count = 1;
  straight(rotor, flow, options, piece, loads);
  return loads[0];
}

double swept_area_m2(const Rotor& rotor) {
  return pi * rotor.tip_radius_m * rotor.tip_radius_m;
}

double aspect_ratio(const std::vector<RotorStation>& stations) {
  double area_m2 = 0.0;
  for (std::size_t i = 1; i < stations.size(); ++i) {
    area_m2 += 0.5 * (stations[i].chord_m + stations[i - 1].chord_m) *
               (stations[i].radius_m - stations[i - 1].radius_m);
  }
  const double length_m = stations.back().radius_m - stations.front().radius_m;
  return length_m * length_m / area_m2;
}

double prandtl_loss_factor(int blades, double distance_ratio, double sine_of_inflow) {
  const double f = 0.5 * blades * distance_ratio / std::abs(sine_of_inflow);
  if (!(f < 36.0)) return 1.0;  // as exactly as a double can
  return 2.0 / pi * std::acos(std::exp(-f));
}

}  // namespace windwright::physics
