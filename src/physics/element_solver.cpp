// SPDX-License-Identifier: Apache-2.0
#include "physics/element_solver.h"

#include "physics/element_scan.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <numbers>

// This file compiles itself once per instruction set; what follows is read each time, in this
// order.
// clang-format off
#undef HWY_TARGET_INCLUDE
#define HWY_TARGET_INCLUDE "physics/element_solver.cpp"
#include <hwy/foreach_target.h>  // IWYU pragma: keep
#include <hwy/highway.h>
#include "physics/lane_math.h"
// clang-format on

HWY_BEFORE_NAMESPACE();
namespace windwright::physics::HWY_NAMESPACE {

using Lane = hn::ScalableTag<double>;
using V = hn::Vec<Lane>;
using M = hn::Mask<Lane>;
using I = hn::Vec<hn::RebindToSigned<Lane>>;
constexpr Lane d;
constexpr hn::RebindToSigned<Lane> di;

constexpr double pi = std::numbers::pi;

// The elements of one vector. Turning backwards is solved in the mirror: angles from the direction
// of turning, lift with the other sign.
struct Elements {
  V axial;
  V turning;
  V mirror;  // 1 or -1
  V offset;  // inflow angle = offset + mirror x
  V blade_angle;
  V solidity;
  V tip_ratio;
  V root_ratio;
  V augmentation;
  V reynolds;
  V outer_weight;
  V over_speed;  // 1 / hypot(axial, turning)
};

struct Position {
  I lower;
  V weight;  // of the next table
};

struct Positions {
  Position inner;
  Position outer;
};

// What momentum and blade forces ask at one trial angle.
struct Trial {
  V axial;    // air speed over relative speed
  V turning;  // turning speed over relative speed
  V across;   // residual: 0 where (axial, turning) points along the flow or against it
  V relative_speed;
  V loss_factor;
  V cl;
  V cd;
};

HWY_INLINE Elements elements_at(const ElementBatch& batch, std::size_t i) {
  Elements e;
  e.axial = hn::Load(d, &batch.axial_m_s[i]);
  e.turning = hn::Load(d, &batch.turning_m_s[i]);
  const V backwards = hn::Load(d, &batch.backwards[i]);
  e.mirror = hn::Sub(hn::Set(d, 1.0), hn::Add(backwards, backwards));
  e.offset = hn::Mul(backwards, hn::Set(d, pi));
  e.blade_angle = hn::Load(d, &batch.blade_angle_rad[i]);
  e.solidity = hn::Load(d, &batch.solidity[i]);
  e.tip_ratio = hn::Load(d, &batch.tip_ratio[i]);
  e.root_ratio = hn::Load(d, &batch.root_ratio[i]);
  e.augmentation = hn::Load(d, &batch.augmentation[i]);
  e.reynolds = hn::Load(d, &batch.reynolds_s_m[i]);
  e.outer_weight = hn::Load(d, &batch.outer_weight[i]);
  const V square = hn::Add(hn::Mul(e.axial, e.axial), hn::Mul(e.turning, e.turning));
  e.over_speed = hn::Div(hn::Set(d, 1.0), hn::Sqrt(square));
  return e;
}

// Between which tables a Reynolds number lies; the nearest outside them.
HWY_INLINE Position position(const PolarArrays& polar, V log_reynolds) {
  if (polar.tables == 1) return {hn::Zero(di), hn::Zero(d)};
  I lower = hn::Zero(di);
  for (std::int64_t table = 1; table + 1 < polar.tables; ++table) {
    const M above = hn::Ge(log_reynolds, hn::Set(d, polar.log_reynolds[table]));
    lower = hn::IfThenElse(hn::RebindMask(di, above), hn::Set(di, table), lower);
  }
  const V low = hn::GatherIndex(d, polar.log_reynolds, lower);
  const V high = hn::GatherIndex(d, polar.log_reynolds, hn::Add(lower, hn::Set(di, 1)));
  const V weight = hn::Div(hn::Sub(log_reynolds, low), hn::Sub(high, low));
  return {lower, hn::Min(hn::Max(weight, hn::Zero(d)), hn::Set(d, 1.0))};
}

HWY_INLINE Positions positions(const ElementSetting& setting, const Elements& e, V relative_speed) {
  const V reynolds = hn::Max(hn::Mul(e.reynolds, relative_speed), hn::Set(d, 1e-300));
  const V logarithm = log_of(d, reynolds);
  const Position inner = position(setting.inner, logarithm);
  return {inner, setting.two_polars ? position(setting.outer, logarithm) : inner};
}

HWY_INLINE V blended(const double* part, I index, std::int64_t tables, V along, V weight) {
  const I next = hn::Add(index, hn::Set(di, tables));
  const V a = hn::GatherIndex(d, part, index);
  V low = hn::Add(a, hn::Mul(along, hn::Sub(hn::GatherIndex(d, part, next), a)));
  if (tables > 1) {
    const V b = hn::GatherIndex(d, part + 1, index);
    const V high = hn::Add(b, hn::Mul(along, hn::Sub(hn::GatherIndex(d, part + 1, next), b)));
    low = hn::Add(low, hn::Mul(weight, hn::Sub(high, low)));
  }
  return low;
}

struct Force {
  V cl;
  V cd;
  V lift_deficit;
};

HWY_INLINE Force force(const PolarArrays& polar, V alpha, const Position& at, bool augmented) {
  const V turn = hn::Set(d, 2.0 * pi);
  alpha = hn::Sub(alpha, hn::Mul(turn, hn::Round(hn::Mul(alpha, hn::Set(d, 0.5 / pi)))));
  const V bin = hn::Mul(hn::Add(alpha, hn::Set(d, pi)), hn::Set(d, polar.bins_per_rad));
  const I one = hn::Set(di, 1);
  // Rounding may put an angle a hair outside +-pi.
  const V last_bin = hn::Set(d, 2.0 * pi * polar.bins_per_rad - 0.5);
  I node = hn::GatherIndex(di, polar.first,
                           hn::ConvertTo(di, hn::Min(hn::Max(bin, hn::Zero(d)), last_bin)));
  V above = hn::GatherIndex(d, polar.alpha_rad, hn::Add(node, one));
  for (;;) {
    const auto farther = hn::And(hn::RebindMask(di, hn::Le(above, alpha)),
                                 hn::Lt(node, hn::Set(di, polar.nodes - 2)));
    if (hn::AllFalse(di, farther)) break;
    node = hn::IfThenElse(farther, hn::Add(node, one), node);
    above = hn::GatherIndex(d, polar.alpha_rad, hn::Add(node, one));
  }
  const V below = hn::GatherIndex(d, polar.alpha_rad, node);
  const V along = hn::Div(hn::Sub(alpha, below), hn::Sub(above, below));
  I index = at.lower;
  for (std::int64_t table = 0; table < polar.tables; ++table)
    index = hn::Add(index, node);
  Force f;
  f.cl = blended(polar.cl, index, polar.tables, along, at.weight);
  f.cd = blended(polar.cd, index, polar.tables, along, at.weight);
  f.lift_deficit = hn::Zero(d);
  if (augmented) {
    f.lift_deficit = blended(polar.lift_deficit, index, polar.tables, along, at.weight);
  }
  return f;
}

// Prandtl's factor of one end; over_sine = 1 / |sin|.
HWY_INLINE V end_loss(V ratio, V over_sine) {
  const V f = hn::Min(hn::Mul(ratio, over_sine), hn::Set(d, 36.0));
  return acos_over_right_angle(d, exp_of_minus(d, f));
}

HWY_INLINE V loss(const Elements& e, V over_sine) {
  const V far = hn::Set(d, 36.0);
  V factor = hn::Set(d, 1.0);
  if (!hn::AllTrue(d, hn::Ge(hn::Mul(e.tip_ratio, over_sine), far))) {
    factor = end_loss(e.tip_ratio, over_sine);
  }
  if (!hn::AllTrue(d, hn::Ge(hn::Mul(e.root_ratio, over_sine), far))) {
    factor = hn::Mul(factor, end_loss(e.root_ratio, over_sine));
  }
  return hn::Max(factor, hn::Set(d, 1e-6));
}

// Air speed over relative speed from the thrust on the annulus: sin(phi) / (1 - a).
//
// n is solidity times normal force coefficient, s = sin(phi), p the result; the thrust coefficient
// of the blades is n / p^2. The momentum theorem, ct = 4 F a (1 - a), gives p = s + n / (4 F s).
// Above a = 0.4 Buhl's parabola, ct = 8/9 + (4 F - 40/9) a + (50/9 - 4 F) a^2, is 2 p^2 - b s p +
// c s^2 = n with b = 20/3 - 4 F and c = 50/9 - 4 F: no singularity at s = 0. With the flow through
// the disc reversed, s < 0, ct = 4 F a (a - 1) or the parabola, whichever is more. Where no flow
// with the wind belongs to n and s, p is negative and continuous, which is all the search needs.
HWY_INLINE V axial_part(V s, V a, V n, V F) {
  const V zero = hn::Zero(d);
  const V quarter = hn::Set(d, 0.25);
  const V b = hn::Sub(hn::Set(d, 20.0 / 3.0), hn::Mul(hn::Set(d, 4.0), F));
  const V m = hn::Abs(n);
  const V r = hn::Div(hn::Mul(quarter, m), hn::Mul(F, a));
  const V D = hn::Mul(F, hn::Sub(hn::Set(d, 64.0 / 3.0), hn::Mul(hn::Set(d, 16.0), F)));
  const V root =
      hn::Sqrt(hn::Max(hn::Sub(hn::Mul(hn::Set(d, 8.0), m), hn::Mul(D, hn::Mul(a, a))), zero));
  const V heavy = hn::Mul(quarter, hn::Add(hn::Mul(b, a), root));
  const V brake =
      hn::IfThenElse(hn::Le(r, hn::Mul(hn::Set(d, 2.0 / 3.0), a)), hn::Add(a, r), heavy);
  const M pushed = hn::Lt(n, zero);
  V p = brake;
  if (!hn::AllFalse(d, pushed)) {
    const V stop = hn::Neg(hn::Sqrt(hn::Mul(hn::Set(d, 0.5), m)));
    p = hn::IfThenElse(pushed, hn::Max(hn::Sub(a, r), stop), p);
  }
  const M reversed = hn::Le(s, zero);
  if (!hn::AllFalse(d, reversed)) {
    const V c = hn::Sub(hn::Set(d, 50.0 / 9.0), hn::Mul(hn::Set(d, 4.0), F));
    const V least = hn::Mul(hn::Max(hn::Mul(hn::Set(d, 4.0), F), c), a);  // times a: n there
    const V none = hn::Sub(hn::Div(m, least), a);
    const V through = hn::Min(hn::Sub(r, a), hn::Mul(quarter, hn::Sub(root, hn::Mul(b, a))));
    const V back = hn::IfThenElse(hn::Le(m, hn::Mul(least, a)), none, through);
    p = hn::IfThenElse(reversed, hn::IfThenElse(pushed, hn::Neg(brake), back), p);
  }
  return p;
}

// Share of the wake's swirl that the momentum theorem gives: all up to a = 0.4, where that theorem
// ends, then less, none where the flow through the disc stops.
HWY_INLINE V swirl_share(V s, V n, V p) {
  const V one = hn::Set(d, 1.0);
  const V zero = hn::Zero(d);
  V share = hn::Min(hn::Div(s, hn::Max(hn::Mul(hn::Set(d, 0.6), p), hn::Set(d, 1e-300))), one);
  share = hn::IfThenElse(hn::Lt(n, zero), one, share);
  return hn::IfThenElse(hn::Le(s, zero), zero, share);
}

// s, c: sine and cosine of x, the angle from the direction of turning.
HWY_INLINE Trial trial(const ElementSetting& setting, const Elements& e, const Positions& at, V x,
                       V s, V c) {
  Trial t;
  const V alpha = hn::Sub(hn::Add(e.offset, hn::Mul(e.mirror, x)), e.blade_angle);
  const bool augmented = !hn::AllTrue(d, hn::Eq(e.augmentation, hn::Zero(d)));
  Force f = force(setting.inner, alpha, at.inner, augmented);
  if (setting.two_polars) {
    const Force outer = force(setting.outer, alpha, at.outer, augmented);
    f.cl = hn::Add(f.cl, hn::Mul(e.outer_weight, hn::Sub(outer.cl, f.cl)));
    f.cd = hn::Add(f.cd, hn::Mul(e.outer_weight, hn::Sub(outer.cd, f.cd)));
    f.lift_deficit = hn::Add(f.lift_deficit,
                             hn::Mul(e.outer_weight, hn::Sub(outer.lift_deficit, f.lift_deficit)));
  }
  const V a = hn::Max(hn::Abs(s), hn::Set(d, 1e-12));
  const V over_sine = hn::Div(hn::Set(d, 1.0), a);
  t.loss_factor = loss(e, over_sine);
  const V swirling =  // of one unit of lift
      hn::Div(hn::Mul(e.solidity, hn::Set(d, setting.swirl ? 0.25 : 0.0)), t.loss_factor);
  if (augmented) {
    // Turning speed over relative speed, with the section's own lift in the swirl.
    const V rotating = hn::Sub(c, hn::Mul(swirling, hn::Mul(e.mirror, f.cl)));
    const V given_back =
        hn::Min(hn::Mul(e.augmentation, hn::Mul(rotating, rotating)), hn::Set(d, 1.0));
    f.cl = hn::Add(f.cl, hn::Mul(given_back, f.lift_deficit));
  }
  t.cl = f.cl;
  t.cd = f.cd;
  const V lift = hn::Mul(e.mirror, f.cl);
  const V n = hn::Mul(e.solidity, hn::Add(hn::Mul(lift, c), hn::Mul(f.cd, s)));
  t.axial = axial_part(s, a, n, t.loss_factor);
  t.turning = c;
  if (setting.swirl) {
    const V torque =
        setting.drag_in_swirl
            ? hn::Sub(lift, hn::Mul(hn::Mul(f.cd, c),
                                    hn::Mul(over_sine,
                                            hn::IfThenElse(hn::Lt(s, hn::Zero(d)), hn::Set(d, -1.0),
                                                           hn::Set(d, 1.0)))))
            : lift;
    t.turning = hn::Sub(c, hn::Mul(hn::Mul(swirling, torque), swirl_share(s, n, t.axial)));
  }
  t.across =
      hn::Mul(hn::Sub(hn::Mul(e.turning, t.axial), hn::Mul(e.axial, t.turning)), e.over_speed);
  const V along = hn::Add(hn::Mul(e.axial, t.axial), hn::Mul(e.turning, t.turning));
  t.relative_speed =
      hn::Div(along, hn::Add(hn::Mul(t.axial, t.axial), hn::Mul(t.turning, t.turning)));
  return t;
}

// Where the scan found the residual to pass zero upwards.
struct Bracket {
  I step;  // of the scan, from its node to the next
  V axial_low, turning_low, axial_high, turning_high;
  M found;
};

HWY_INLINE V across(const Elements& e, V axial, V turning) {
  return hn::Sub(hn::Mul(e.turning, axial), hn::Mul(e.axial, turning));
}

struct OwnCurve {
  const ElementSetting& setting;
  const Elements& e;
  const Positions& at;
  HWY_INLINE void get(std::size_t node, V& axial, V& turning) const {
    const ElementScan& scan = element_scan();
    const Trial t = trial(setting, e, at, hn::Set(d, scan.x_rad[node]), hn::Set(d, scan.sine[node]),
                          hn::Set(d, scan.cosine[node]));
    axial = t.axial;
    turning = t.turning;
  }
};

struct SharedCurve {
  const ElementCurve& curve;
  HWY_INLINE void get(std::size_t node, V& axial, V& turning) const {
    axial = hn::Set(d, curve.axial[node]);
    turning = hn::Set(d, curve.turning[node]);
  }
};

template <class Curve>
HWY_INLINE Bracket scanned(const Elements& e, const Curve& curve) {
  constexpr std::size_t start = ElementScan::start;
  Bracket b;
  V axial, turning;
  curve.get(start, axial, turning);
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
      curve.get(node, here_axial, here_turning);
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
      curve.get(node, here_axial, here_turning);
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

struct Solved {
  V x;
  V sine;
  V cosine;
  Trial trial;
  V residual;
  M good;
};

HWY_INLINE V residual_of(const Trial& t) {
  const V size = hn::Add(hn::Mul(t.axial, t.axial), hn::Mul(t.turning, t.turning));
  return hn::Div(hn::Abs(t.across), hn::Sqrt(size));
}

HWY_INLINE void keep(const M& which, const Trial& from, Trial& to) {
  to.axial = hn::IfThenElse(which, from.axial, to.axial);
  to.turning = hn::IfThenElse(which, from.turning, to.turning);
  to.across = hn::IfThenElse(which, from.across, to.across);
  to.relative_speed = hn::IfThenElse(which, from.relative_speed, to.relative_speed);
  to.loss_factor = hn::IfThenElse(which, from.loss_factor, to.loss_factor);
  to.cl = hn::IfThenElse(which, from.cl, to.cl);
  to.cd = hn::IfThenElse(which, from.cd, to.cd);
}

// Anderson and Bjorck's secant: the newest point and the last one across the root, whose residual
// shrinks while it is kept.
struct Secant {
  V x0, f0;  // kept
  V x1, f1;  // newest
  V slope;   // between the last two
};

HWY_INLINE V next_of(const Secant& k) {
  const V width = hn::Sub(k.x1, k.x0);
  const V step = hn::Mul(k.f1, hn::Div(width, hn::Sub(k.f1, k.f0)));
  const V x = hn::Sub(k.x1, step);
  const M inside = hn::And(hn::Gt(x, hn::Min(k.x0, k.x1)), hn::Lt(x, hn::Max(k.x0, k.x1)));
  return hn::IfThenElse(inside, x, hn::Sub(k.x1, hn::Mul(hn::Set(d, 0.5), width)));
}

HWY_INLINE void take(Secant& k, const M& which, V x, V f) {
  const V zero = hn::Zero(d);
  const M crossed = hn::Lt(hn::Mul(f, k.f1), zero);
  const V ratio = hn::Sub(hn::Set(d, 1.0), hn::Div(f, k.f1));
  const V shrink = hn::IfThenElse(hn::Gt(ratio, zero), ratio, hn::Set(d, 0.5));
  const V x0 = hn::IfThenElse(crossed, k.x1, k.x0);
  const V f0 = hn::IfThenElse(crossed, k.f1, hn::Mul(k.f0, shrink));
  const V slope = hn::Div(hn::Sub(f, k.f1), hn::Sub(x, k.x1));
  k.slope = hn::IfThenElse(which, slope, k.slope);
  k.x0 = hn::IfThenElse(which, x0, k.x0);
  k.f0 = hn::IfThenElse(which, f0, k.f0);
  k.x1 = hn::IfThenElse(which, x, k.x1);
  k.f1 = hn::IfThenElse(which, f, k.f1);
}

// The straight line through the scan's residuals, and what it says of the root.
struct Guess {
  V x;
  V slope;
  V relative_speed;
};

HWY_INLINE Guess guessed(const Elements& e, const Bracket& b) {
  const ElementScan& scan = element_scan();
  const V low = hn::GatherIndex(d, scan.x_rad.data(), b.step);
  const V high = hn::GatherIndex(d, scan.x_rad.data(), hn::Add(b.step, hn::Set(di, 1)));
  const V f_low = hn::Mul(across(e, b.axial_low, b.turning_low), e.over_speed);
  const V f_high = hn::Mul(across(e, b.axial_high, b.turning_high), e.over_speed);
  const V rise = hn::Sub(f_high, f_low);
  const V share = hn::Neg(hn::Div(f_low, rise));
  const V axial = hn::Add(b.axial_low, hn::Mul(share, hn::Sub(b.axial_high, b.axial_low)));
  const V turning = hn::Add(b.turning_low, hn::Mul(share, hn::Sub(b.turning_high, b.turning_low)));
  const V along = hn::Add(hn::Mul(e.axial, axial), hn::Mul(e.turning, turning));
  const V width = hn::Sub(high, low);
  return {hn::Add(low, hn::Mul(share, width)), hn::Div(rise, width),
          hn::Div(along, hn::Add(hn::Mul(axial, axial), hn::Mul(turning, turning)))};
}

// Secant steps from a guess, each with the Reynolds number of the flow before it, until both stand
// still. Elements that stray or do not settle are not good.
HWY_INLINE Solved settled(const ElementSetting& setting, const Elements& e, I step,
                          const Guess& from, M good) {
  const ElementScan& scan = element_scan();
  const V zero = hn::Zero(d);
  const V middle = hn::GatherIndex(d, scan.middle_rad.data(), step);
  const V middle_sine = hn::GatherIndex(d, scan.middle_sine.data(), step);
  const V middle_cosine = hn::GatherIndex(d, scan.middle_cosine.data(), step);
  // As far as `turned` holds, and no farther than the steps next door.
  const V reach = hn::Min(
      hn::Set(d, 0.1),
      hn::Mul(hn::Set(d, 3.0), hn::Sub(middle, hn::GatherIndex(d, scan.x_rad.data(), step))));
  Solved result;
  result.x = from.x;
  result.good = hn::AndNot(good, good);
  result.sine = result.cosine = result.residual = zero;
  V x = from.x;
  V W = from.relative_speed;
  V slope = from.slope;
  V x_before = x;
  V f_before = zero;
  M comparable = hn::AndNot(good, good);
  good = hn::And(good, hn::And(hn::Gt(slope, zero), hn::Gt(W, zero)));
  for (int pass = 0; pass < 20; ++pass) {
    const Positions at = positions(setting, e, W);
    const auto sc = turned(d, middle_sine, middle_cosine, hn::Sub(x, middle));
    const Trial t = trial(setting, e, at, x, sc.sine, sc.cosine);
    const V residual = residual_of(t);
    const V change = hn::Abs(hn::Sub(t.relative_speed, W));
    good = hn::And(good, hn::Gt(t.relative_speed, zero));
    const M done = hn::And(hn::AndNot(result.good, good),
                           hn::And(hn::Le(residual, hn::Set(d, 5e-12)),
                                   hn::Le(change, hn::Mul(hn::Set(d, 1e-10), W))));
    result.x = hn::IfThenElse(done, x, result.x);
    result.sine = hn::IfThenElse(done, sc.sine, result.sine);
    result.cosine = hn::IfThenElse(done, sc.cosine, result.cosine);
    result.residual = hn::IfThenElse(done, residual, result.residual);
    if (pass == 0) result.trial = t;
    keep(done, t, result.trial);
    result.good = hn::Or(result.good, done);
    if (hn::AllTrue(d, hn::Or(result.good, hn::Not(good)))) break;
    const V secant = hn::Div(hn::Sub(t.across, f_before), hn::Sub(x, x_before));
    const M sound = hn::And(hn::And(comparable, hn::Ne(x, x_before)),
                            hn::And(hn::Gt(secant, hn::Mul(hn::Set(d, 0.25), slope)),
                                    hn::Lt(secant, hn::Mul(hn::Set(d, 4.0), slope))));
    slope = hn::IfThenElse(sound, secant, slope);
    comparable = hn::Le(change, hn::Mul(hn::Set(d, 1e-3), W));
    x_before = x;
    f_before = t.across;
    x = hn::Sub(x, hn::Div(t.across, slope));
    good = hn::And(good, hn::Lt(hn::Abs(hn::Sub(x, middle)), reach));
    x = hn::IfThenElse(good, x, x_before);
    W = hn::IfThenElse(good, t.relative_speed, W);
  }
  return result;
}

// The sure way where that fails, at kinks of a polar: brackets the root between two nodes of the
// scan at one Reynolds number first. Elements whose root is not there at their own Reynolds number
// are not good.
HWY_INLINE Solved bracketed(const ElementSetting& setting, const Elements& e, const Bracket& b) {
  const ElementScan& scan = element_scan();
  const V zero = hn::Zero(d);
  V W = guessed(e, b).relative_speed;
  const Positions at = positions(setting, e, W);

  // At the Reynolds number of this flow the root may lie in the step next door.
  I step = b.step;
  Trial t_low;
  Trial t_high;
  M good;
  for (int attempt = 0;; ++attempt) {
    const I next = hn::Add(step, hn::Set(di, 1));
    t_low = trial(setting, e, at, hn::GatherIndex(d, scan.x_rad.data(), step),
                  hn::GatherIndex(d, scan.sine.data(), step),
                  hn::GatherIndex(d, scan.cosine.data(), step));
    t_high = trial(setting, e, at, hn::GatherIndex(d, scan.x_rad.data(), next),
                   hn::GatherIndex(d, scan.sine.data(), next),
                   hn::GatherIndex(d, scan.cosine.data(), next));
    const M past_low = hn::Ge(t_low.across, zero);
    const M before_high = hn::Lt(t_high.across, zero);
    good = hn::AndNot(hn::Or(past_low, before_high), b.found);
    if (attempt == 2 || hn::AllTrue(d, hn::Or(good, hn::Not(b.found)))) break;
    const I one = hn::Set(di, 1);
    const I moved =
        hn::IfThenElse(hn::RebindMask(di, past_low), hn::Sub(step, one),
                       hn::IfThenElse(hn::RebindMask(di, before_high), hn::Add(step, one), step));
    step = hn::Min(hn::Max(moved, hn::Zero(di)), hn::Set(di, ElementScan::nodes - 2));
  }
  const V low = hn::GatherIndex(d, scan.x_rad.data(), step);
  const V high = hn::GatherIndex(d, scan.x_rad.data(), hn::Add(step, hn::Set(di, 1)));
  const V middle = hn::GatherIndex(d, scan.middle_rad.data(), step);
  const V middle_sine = hn::GatherIndex(d, scan.middle_sine.data(), step);
  const V middle_cosine = hn::GatherIndex(d, scan.middle_cosine.data(), step);
  Secant k{low, t_low.across, high, t_high.across,
           hn::Div(hn::Sub(t_high.across, t_low.across), hn::Sub(high, low))};
  W = hn::IfThenElse(good, t_high.relative_speed, W);
  for (int i = 0; i < 40; ++i) {
    const M open = hn::And(good, hn::And(hn::Gt(hn::Abs(k.f1), hn::Set(d, 1e-10)),
                                         hn::Gt(hn::Abs(hn::Sub(k.x1, k.x0)), hn::Set(d, 1e-14))));
    if (hn::AllFalse(d, open)) break;
    const V x = next_of(k);
    const auto sc = turned(d, middle_sine, middle_cosine, hn::Sub(x, middle));
    const Trial t = trial(setting, e, at, x, sc.sine, sc.cosine);
    take(k, open, x, t.across);
    W = hn::IfThenElse(open, t.relative_speed, W);
  }
  return settled(setting, e, step, {k.x1, k.slope, W}, good);
}

// The residual with the Reynolds number of its own flow: a function of the angle alone.
HWY_INLINE Trial own_trial(const ElementSetting& setting, const Elements& e, double x_rad) {
  const V x = hn::Set(d, x_rad);
  const V s = hn::Set(d, std::sin(x_rad));
  const V c = hn::Set(d, std::cos(x_rad));
  V W = hn::Div(hn::Set(d, 1.0), e.over_speed);
  Trial t = trial(setting, e, positions(setting, e, W), x, s, c);
  for (int pass = 0; pass < 12; ++pass) {
    if (!(hn::GetLane(t.relative_speed) > 0.0)) break;
    const double before = hn::GetLane(W);
    W = t.relative_speed;
    t = trial(setting, e, positions(setting, e, W), x, s, c);
    if (std::abs(hn::GetLane(W) - before) <= 1e-14 * before) break;
  }
  return t;
}

// The slow and sure way for what the quick one leaves: every node of the scan and eight steps
// between, the Reynolds number carried along.
HWY_NOINLINE void solve_carefully(const ElementSetting& setting, ElementBatch& batch,
                                  std::size_t i) {
  ElementBatch one;
  for (std::size_t lane = 0; lane < hn::Lanes(d); ++lane)
    copy_state(batch, i, one, lane);
  const Elements e = elements_at(one, 0);
  const ElementScan& scan = element_scan();
  constexpr std::size_t between = 8;
  Trial t = own_trial(setting, e, 0.0);
  const bool down = hn::GetLane(t.across) >= 0.0;
  const bool backwards = batch.backwards[i] != 0.0;
  double x_before = 0.0;
  double f_before = hn::GetLane(t.across);
  double low = 0.0;
  double high = 0.0;
  bool found = false;
  const std::size_t steps = down ? ElementScan::start : ElementScan::nodes - 1 - ElementScan::start;
  for (std::size_t part = 1; part <= between * steps && !(found && (down || !backwards)); ++part) {
    const std::size_t step = (part - 1) / between;
    const std::size_t node = down ? ElementScan::start - step : ElementScan::start + step;
    const std::size_t next = down ? node - 1 : node + 1;
    const double share = static_cast<double>(part - step * between) / between;
    const double x = std::lerp(scan.x_rad[node], scan.x_rad[next], share);
    t = own_trial(setting, e, x);
    const double f = hn::GetLane(t.across);
    const bool passed = down ? f < 0.0 && f_before >= 0.0 : f >= 0.0 && f_before < 0.0;
    if (passed && hn::GetLane(t.relative_speed) > 0.0) {
      low = down ? x : x_before;
      high = down ? x_before : x;
      found = true;
    }
    x_before = x;
    f_before = f;
  }
  double x = std::atan2(batch.axial_m_s[i], batch.turning_m_s[i]);
  for (int pass = 0; found && pass < 200; ++pass) {
    x = 0.5 * (low + high);
    t = own_trial(setting, e, x);
    const double f = hn::GetLane(t.across);
    if (f == 0.0 || x == low || x == high) break;
    (f < 0.0 ? low : high) = x;
  }
  if (!found) t = own_trial(setting, e, x);
  const double residual = hn::GetLane(residual_of(t));
  const bool good = found && residual < 1e-11 && hn::GetLane(t.relative_speed) > 0.0;
  const double mirror = hn::GetLane(e.mirror);
  batch.inflow_angle_rad[i] = hn::GetLane(e.offset) + mirror * x;
  batch.sine[i] = std::sin(x);
  batch.cosine[i] = mirror * std::cos(x);
  batch.angle_of_attack_rad[i] = batch.inflow_angle_rad[i] - batch.blade_angle_rad[i];
  batch.relative_speed_m_s[i] =
      good ? hn::GetLane(t.relative_speed) : 1.0 / hn::GetLane(e.over_speed);
  batch.loss_factor[i] = hn::GetLane(t.loss_factor);
  batch.cl[i] = hn::GetLane(t.cl);
  batch.cd[i] = hn::GetLane(t.cd);
  batch.residual[i] = residual;
  batch.converged[i] = good ? 1.0 : 0.0;
}

HWY_INLINE Solved either(const Solved& first, const Solved& second) {
  Solved one = second;
  one.x = hn::IfThenElse(first.good, first.x, second.x);
  one.sine = hn::IfThenElse(first.good, first.sine, second.sine);
  one.cosine = hn::IfThenElse(first.good, first.cosine, second.cosine);
  one.residual = hn::IfThenElse(first.good, first.residual, second.residual);
  keep(first.good, first.trial, one.trial);
  one.good = hn::Or(first.good, second.good);
  return one;
}

HWY_INLINE void store(const Elements& e, const Solved& r, ElementBatch& batch, std::size_t i) {
  const V angle = hn::Add(e.offset, hn::Mul(e.mirror, r.x));
  hn::Store(angle, d, &batch.inflow_angle_rad[i]);
  hn::Store(r.sine, d, &batch.sine[i]);
  hn::Store(hn::Mul(e.mirror, r.cosine), d, &batch.cosine[i]);
  hn::Store(hn::Sub(angle, e.blade_angle), d, &batch.angle_of_attack_rad[i]);
  hn::Store(r.trial.relative_speed, d, &batch.relative_speed_m_s[i]);
  hn::Store(r.trial.loss_factor, d, &batch.loss_factor[i]);
  hn::Store(r.trial.cl, d, &batch.cl[i]);
  hn::Store(r.trial.cd, d, &batch.cd[i]);
  hn::Store(r.residual, d, &batch.residual[i]);
  hn::Store(hn::IfThenElse(r.good, hn::Set(d, 1.0), hn::Zero(d)), d, &batch.converged[i]);
}

void fill_up(ElementBatch& batch) {
  for (std::size_t i = batch.count; i % hn::Lanes(d) != 0; ++i)
    copy_state(batch, batch.count - 1, batch, i);
}

void solve(const ElementSetting& setting, ElementBatch& batch) {
  fill_up(batch);
  for (std::size_t i = 0; i < batch.count; i += hn::Lanes(d)) {
    const Elements e = elements_at(batch, i);
    const Positions at = positions(setting, e, hn::Div(hn::Set(d, 1.0), e.over_speed));
    const Bracket b = scanned(e, OwnCurve{setting, e, at});
    const Solved quick = settled(setting, e, b.step, guessed(e, b), b.found);
    store(e, quick, batch, i);
    if (hn::AllTrue(d, quick.good)) continue;
    const Solved sure = bracketed(setting, e, b);
    store(e, either(quick, sure), batch, i);
  }
  for (std::size_t i = 0; i < batch.count; ++i) {
    if (batch.converged[i] == 0.0) solve_carefully(setting, batch, i);
  }
}

void solve_on(const ElementSetting& setting, const ElementCurve& curve, ElementBatch& batch) {
  fill_up(batch);
  for (std::size_t i = 0; i < batch.count; i += hn::Lanes(d)) {
    const Elements e = elements_at(batch, i);
    const Bracket b = scanned(e, SharedCurve{curve});
    store(e, settled(setting, e, b.step, guessed(e, b), b.found), batch, i);
  }
  ElementBatch rest;
  std::array<std::size_t, ElementBatch::most> place;
  for (std::size_t i = 0; i < batch.count; ++i) {
    if (batch.converged[i] != 0.0) continue;
    place[rest.count] = i;
    copy_state(batch, i, rest, rest.count++);
  }
  if (rest.count == 0) return;
  solve(setting, rest);
  for (std::size_t k = 0; k < rest.count; ++k)
    copy_solution(rest, k, batch, place[k]);
}

void tabulate_on(const ElementSetting& setting, const ElementBatch& batch, std::size_t element,
                 ElementCurve& curve) {
  ElementBatch one;
  for (std::size_t lane = 0; lane < hn::Lanes(d); ++lane)
    copy_state(batch, element, one, lane);
  const Elements e = elements_at(one, 0);
  const Positions at = positions(setting, e, hn::Div(hn::Set(d, 1.0), e.over_speed));
  const ElementScan& scan = element_scan();
  for (std::size_t node = 0; node < ElementScan::nodes; node += hn::Lanes(d)) {
    const Trial t = trial(setting, e, at, hn::LoadU(d, &scan.x_rad[node]),
                          hn::LoadU(d, &scan.sine[node]), hn::LoadU(d, &scan.cosine[node]));
    hn::StoreU(t.axial, d, &curve.axial[node]);
    hn::StoreU(t.turning, d, &curve.turning[node]);
  }
}

}  // namespace windwright::physics::HWY_NAMESPACE
HWY_AFTER_NAMESPACE();

#if HWY_ONCE
namespace windwright::physics {

namespace {

using Lanes = ElementBatch::Lanes ElementBatch::*;
constexpr Lanes states[]{&ElementBatch::axial_m_s,       &ElementBatch::turning_m_s,
                         &ElementBatch::backwards,       &ElementBatch::solidity,
                         &ElementBatch::blade_angle_rad, &ElementBatch::tip_ratio,
                         &ElementBatch::root_ratio,      &ElementBatch::augmentation,
                         &ElementBatch::reynolds_s_m,    &ElementBatch::outer_weight};
constexpr Lanes solutions[]{&ElementBatch::inflow_angle_rad,
                            &ElementBatch::sine,
                            &ElementBatch::cosine,
                            &ElementBatch::angle_of_attack_rad,
                            &ElementBatch::cl,
                            &ElementBatch::cd,
                            &ElementBatch::relative_speed_m_s,
                            &ElementBatch::residual,
                            &ElementBatch::loss_factor,
                            &ElementBatch::converged};

}  // namespace

void copy_state(const ElementBatch& from, std::size_t i, ElementBatch& to, std::size_t k) {
  for (const Lanes lanes : states)
    (to.*lanes)[k] = (from.*lanes)[i];
}

void copy_solution(const ElementBatch& from, std::size_t i, ElementBatch& to, std::size_t k) {
  for (const Lanes lanes : solutions)
    (to.*lanes)[k] = (from.*lanes)[i];
}

HWY_EXPORT(solve);
HWY_EXPORT(solve_on);
HWY_EXPORT(tabulate_on);

void solve_elements(const ElementSetting& setting, ElementBatch& batch) {
  HWY_DYNAMIC_DISPATCH(solve)(setting, batch);
}

void solve_elements(const ElementSetting& setting, const ElementCurve& curve, ElementBatch& batch) {
  HWY_DYNAMIC_DISPATCH(solve_on)(setting, curve, batch);
}

void tabulate(const ElementSetting& setting, const ElementBatch& batch, std::size_t element,
              ElementCurve& curve) {
  HWY_DYNAMIC_DISPATCH(tabulate_on)(setting, batch, element, curve);
}

}  // namespace windwright::physics
#endif
