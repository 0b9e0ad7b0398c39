// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "physics/polar.h"

#include <array>
#include <cstddef>

namespace windwright::physics {

/// What the elements of one batch share.
struct ElementSetting {
  PolarArrays inner;
  PolarArrays outer;  // the same one where both stations share it
  bool two_polars;
  bool swirl;
  bool drag_in_swirl;
  bool glauert;  // closure at high thrust; else Buhl's
};

/// Up to `most` elements side by side, each quantity an array over them.
struct alignas(64) ElementBatch {
  static constexpr std::size_t most = 64;
  using Lanes = std::array<double, most>;

  // What an element is and meets. Speeds are not negative and not both 0.
  Lanes axial_m_s;
  Lanes turning_m_s;
  Lanes backwards;        // 1 where it turns backwards, else 0
  Lanes blade_angle_rad;  // twist and pitch
  Lanes solidity;         // B c / (2 pi r)
  Lanes tip_ratio;        // (B/2) (R - r) / r; no_loss where there is none
  Lanes root_ratio;       // (B/2) (r - hub) / hub; the same
  Lanes augmentation;     // share of the lift deficit given back, over (turning / relative speed)^2
  Lanes reynolds_s_m;     // density chord / viscosity
  Lanes outer_weight;     // of the outer polar
  // What it does.
  Lanes inflow_angle_rad;
  Lanes sine;  // of the inflow angle
  Lanes cosine;
  Lanes angle_of_attack_rad;
  Lanes relative_speed_m_s;
  Lanes loss_factor;
  Lanes cl;  // augmentation included
  Lanes cd;
  Lanes residual;  // sine of the angle between what momentum and blade forces ask and the real flow
  Lanes secant_steps;  // of the search that found it; 0 where halving did
  Lanes converged;     // 1 or 0

  std::size_t count = 0;  // last, so that the arrays are aligned as the struct is

  static constexpr double no_loss = 1e6;
};

/// Copies what an element is and meets, or what it does.
void copy_state(const ElementBatch& from, std::size_t i, ElementBatch& to, std::size_t k);
void copy_solution(const ElementBatch& from, std::size_t i, ElementBatch& to, std::size_t k);

/// The relative flow that momentum and blade forces ask of one element, over the fixed scan of
/// inflow angles, at one Reynolds number: what elements that differ only in their speeds share.
struct ElementCurve {
  static constexpr std::size_t most = 104;  // nodes of the scan, in whole vectors
  std::array<double, most> axial;
  std::array<double, most> turning;
  std::array<double, most> loss_factor;  // depends on the place on the blade only
};

/// Solves every element of a batch for its inflow angle and Reynolds number. Theory and the proof
/// that there is a solution: docs/theory/rotor.md.
///
/// With momentum and blade forces resolved for air speed over relative speed, p, and turning speed
/// over relative speed, q, both functions of the inflow angle, the angle is right where (p, q)
/// points along the real pair of speeds. The scan goes up from the plane of rotation in steps of
/// 0.75 degrees (near) to 6 (far) and takes the first crossing; where already the start is past it,
/// down. Within that step: Anderson and Bjorck's secant (A new high order method of regula falsi
/// type, BIT 13 (1973) 253), then secant steps that carry the Reynolds number along.
///
/// @return  in the batch: residual below 1e-11 where converged. Elsewhere, which is not known to
///          happen, the angle of the undisturbed flow and converged = 0.
/// The same bits for an element whatever its neighbours and whatever the machine's vector width.
void solve_elements(const ElementSetting& setting, ElementBatch& batch);

/// The curve's loss factors: first, and once for all blade angles.
void tabulate_losses(const ElementBatch& batch, std::size_t element, ElementCurve& curve);

/// The rest of the curve. A node's Reynolds number is that of the element that would have its
/// balance there: known from the curve that was in `curve` before, at a blade angle close by, or
/// from tabulate_losses, without induction.
/// @param element  index in the batch, turning forwards; its air speed counts, not its turning
void tabulate(const ElementSetting& setting, const ElementBatch& batch, std::size_t element,
              ElementCurve& curve);

/// As solve_elements, for elements that all belong to this curve and turn forwards.
void solve_elements(const ElementSetting& setting, const ElementCurve& curve, ElementBatch& batch);

}  // namespace windwright::physics
