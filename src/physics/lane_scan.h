// SPDX-License-Identifier: Apache-2.0
// The search for the step of the scan in which elements have their balance, in vector lanes.
// Included once per instruction set.
#if defined(WINDWRIGHT_PHYSICS_LANE_SCAN_H) == defined(HWY_TARGET_TOGGLE)
#ifdef WINDWRIGHT_PHYSICS_LANE_SCAN_H
#undef WINDWRIGHT_PHYSICS_LANE_SCAN_H
#else
#define WINDWRIGHT_PHYSICS_LANE_SCAN_H
#endif

#include "physics/element_scan.h"
#include "physics/element_solver.h"
#include "physics/lane_balance.h"

#include <hwy/highway.h>

#include <array>
#include <cstddef>
#include <cstdint>

HWY_BEFORE_NAMESPACE();
namespace windwright::physics::HWY_NAMESPACE {

// Where the scan found the residual to pass zero upwards.
struct Bracket {
  I step;  // of the scan, from its node to the next
  V axial_low, turning_low, axial_high, turning_high;
  M found;
};

HWY_INLINE V across(const Elements& e, V axial, V turning) {
  return hn::Sub(hn::Mul(e.turning, axial), hn::Mul(e.axial, turning));
}

// At nodes of the scan.
HWY_INLINE Angle angle_at(const Elements& e, I node) {
  const ElementScan& scan = element_scan();
  return angle(e, hn::GatherIndex(d, scan.x_rad.data(), node),
               hn::GatherIndex(d, scan.sine.data(), node),
               hn::GatherIndex(d, scan.cosine.data(), node));
}

HWY_INLINE Angle angle_at(const Elements& e, std::size_t node) {
  const ElementScan& scan = element_scan();
  return angle(e, hn::Set(d, scan.x_rad[node]), hn::Set(d, scan.sine[node]),
               hn::Set(d, scan.cosine[node]));
}

HWY_INLINE Bracket scanned(const ElementSetting& setting, const Elements& e) {
  constexpr std::size_t start = ElementScan::start;
  const Reynolds at = reynolds(setting, e, hn::Div(hn::Set(d, 1.0), e.over_speed));
  Fields fields;
  forget(fields);
  const auto get = [&](std::size_t node, V& axial, V& turning) HWY_ATTR {
    const Trial t = trial(setting, e, at, angle_at(e, node), fields);
    axial = t.axial;
    turning = t.turning;
  };
  Bracket b;
  V axial, turning;
  get(start, axial, turning);
  const V zero = hn::Zero(d);
  const M down = hn::Ge(across(e, axial, turning), zero);
  b.found = hn::And(down, hn::Not(down));
  b.step = hn::Zero(di);
  b.axial_low = b.axial_high = axial;
  b.turning_low = b.turning_high = turning;
  if (!hn::AllTrue(d, down)) {
    V before_axial = axial;
    V before_turning = turning;
    M before_behind = hn::Not(down);
    const M forwards = hn::Gt(e.mirror, zero);
    for (std::size_t node = start + 1; node < ElementScan::nodes; ++node) {
      V here_axial, here_turning;
      get(node, here_axial, here_turning);
      const M past = hn::Ge(across(e, here_axial, here_turning), zero);
      // Turning backwards, the last crossing: the first one as seen from turning forwards, so that
      // nothing jumps where the turning stops. It may not point against the flow.
      const V along = hn::Add(hn::Mul(e.axial, here_axial), hn::Mul(e.turning, here_turning));
      const M wanted =
          hn::Or(hn::AndNot(b.found, forwards), hn::AndNot(forwards, hn::Gt(along, zero)));
      const M here = hn::And(hn::And(past, before_behind), hn::AndNot(down, wanted));
      before_behind = hn::Not(past);
      b.step = hn::IfThenElse(hn::RebindMask(di, here),
                              hn::Set(di, static_cast<std::int64_t>(node) - 1), b.step);
      b.axial_low = hn::IfThenElse(here, before_axial, b.axial_low);
      b.turning_low = hn::IfThenElse(here, before_turning, b.turning_low);
      b.axial_high = hn::IfThenElse(here, here_axial, b.axial_high);
      b.turning_high = hn::IfThenElse(here, here_turning, b.turning_high);
      b.found = hn::Or(b.found, here);
      if (hn::AllTrue(d, hn::Or(down, hn::And(b.found, forwards)))) break;
      before_axial = here_axial;
      before_turning = here_turning;
    }
  }
  if (!hn::AllFalse(d, down)) {
    V before_axial = axial;
    V before_turning = turning;
    const M up = hn::Not(down);
    for (std::size_t node = start; node-- > 0;) {
      V here_axial, here_turning;
      get(node, here_axial, here_turning);
      const M here =
          hn::AndNot(hn::Or(up, b.found), hn::Lt(across(e, here_axial, here_turning), zero));
      b.step = hn::IfThenElse(hn::RebindMask(di, here),
                              hn::Set(di, static_cast<std::int64_t>(node)), b.step);
      b.axial_low = hn::IfThenElse(here, here_axial, b.axial_low);
      b.turning_low = hn::IfThenElse(here, here_turning, b.turning_low);
      b.axial_high = hn::IfThenElse(here, before_axial, b.axial_high);
      b.turning_high = hn::IfThenElse(here, before_turning, b.turning_high);
      b.found = hn::Or(b.found, here);
      if (hn::AllTrue(d, hn::Or(up, b.found))) break;
      before_axial = here_axial;
      before_turning = here_turning;
    }
  }
  return b;
}

// The step where one element turning forwards passes zero on a shared curve; -1: nowhere.
HWY_INLINE std::int64_t step_on(const ElementCurve& curve, double axial, double turning) {
  constexpr std::size_t start = ElementScan::start;
  const auto behind = [&](std::size_t node) {
    return turning * curve.axial[node] - axial * curve.turning[node] < 0.0;
  };
  if (!behind(start)) {
    for (std::size_t node = start; node-- > 0;) {
      if (behind(node)) return static_cast<std::int64_t>(node);
    }
    return -1;
  }
  const V u = hn::Set(d, turning);
  const V v = hn::Set(d, axial);
  for (std::size_t node = start + 1; node < ElementScan::nodes; node += hn::Lanes(d)) {
    const V f = hn::Sub(hn::Mul(u, hn::LoadU(d, &curve.axial[node])),
                        hn::Mul(v, hn::LoadU(d, &curve.turning[node])));
    const auto first = hn::FindFirstTrue(d, hn::Ge(f, hn::Zero(d)));
    if (first >= 0) return static_cast<std::int64_t>(node) + first - 1;
  }
  return -1;
}

HWY_INLINE Bracket scanned_on(const ElementCurve& curve, const ElementBatch& batch, std::size_t i) {
  alignas(64) std::array<std::int64_t, ElementBatch::most> step;
  for (std::size_t lane = 0; lane < hn::Lanes(d); ++lane)
    step[lane] = step_on(curve, batch.axial_m_s[i + lane], batch.turning_m_s[i + lane]);
  Bracket b;
  const I found = hn::Load(di, step.data());
  b.step = hn::Max(found, hn::Zero(di));
  b.found = hn::RebindMask(d, hn::Gt(found, hn::Set(di, -1)));
  const I next = hn::Add(b.step, hn::Set(di, 1));
  b.axial_low = hn::GatherIndex(d, curve.axial.data(), b.step);
  b.turning_low = hn::GatherIndex(d, curve.turning.data(), b.step);
  b.axial_high = hn::GatherIndex(d, curve.axial.data(), next);
  b.turning_high = hn::GatherIndex(d, curve.turning.data(), next);
  return b;
}

}  // namespace windwright::physics::HWY_NAMESPACE
HWY_AFTER_NAMESPACE();

#endif
