// SPDX-License-Identifier: Apache-2.0
// What momentum and blade forces ask of blade elements, in vector lanes. Included once per
// instruction set.
#if defined(WINDWRIGHT_PHYSICS_LANE_BALANCE_H) == defined(HWY_TARGET_TOGGLE)
#ifdef WINDWRIGHT_PHYSICS_LANE_BALANCE_H
#undef WINDWRIGHT_PHYSICS_LANE_BALANCE_H
#else
#define WINDWRIGHT_PHYSICS_LANE_BALANCE_H
#endif

#include "physics/element_solver.h"
#include "physics/lane_math.h"
#include "physics/lane_polar.h"

#include <hwy/highway.h>

#include <cstddef>
#include <limits>
#include <numbers>

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

struct Reynolds {
  LaneReynolds<Lane> inner;
  LaneReynolds<Lane> outer;
};

struct Fields {
  LaneFields<Lane> inner;
  LaneFields<Lane> outer;
};

HWY_INLINE void forget(Fields& fields) {
  fields.inner.below = fields.outer.below = hn::Set(d, std::numeric_limits<double>::infinity());
}

// What momentum and blade forces ask at one trial angle.
struct Trial {
  V axial;    // air speed over relative speed
  V turning;  // turning speed over relative speed
  V across;   // residual: 0 where (axial, turning) points along the flow or against it
  V relative_speed;
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

HWY_INLINE Reynolds reynolds_at(const ElementSetting& setting, V logarithm) {
  const auto inner = lane_reynolds(d, setting.inner, logarithm);
  return {inner, setting.two_polars ? lane_reynolds(d, setting.outer, logarithm) : inner};
}

HWY_INLINE V log_reynolds(const Elements& e, V relative_speed) {
  return log_of(d, hn::Max(hn::Mul(e.reynolds, relative_speed), hn::Set(d, 1e-300)));
}

HWY_INLINE Reynolds reynolds(const ElementSetting& setting, const Elements& e, V relative_speed) {
  return reynolds_at(setting, log_reynolds(e, relative_speed));
}

// Prandtl's factor of one end; over_size = 1 / |sin|. Far from the end, where e = exp(-f) is small,
// by the series of the arc sine (below 1e-17 from f = 4 on); exactly 1 where e is below rounding.
HWY_INLINE V end_loss(V ratio, V over_size) {
  const V one = hn::Set(d, 1.0);
  const V f = hn::Mul(ratio, over_size);
  const M beyond = hn::Ge(f, hn::Set(d, 36.0));
  if (hn::AllTrue(d, beyond)) return one;
  const V e = exp_of_minus(d, hn::Min(f, hn::Set(d, 36.0)));
  const V factor = hn::Sub(one, arc_sine_over_right_angle(d, e));
  const M far = hn::Ge(f, hn::Set(d, 4.0));
  if (hn::AllTrue(d, far)) return hn::IfThenElse(beyond, one, factor);
  return hn::IfThenElse(far, hn::IfThenElse(beyond, one, factor), acos_over_right_angle(d, e));
}

HWY_INLINE V loss(const Elements& e, V over_size) {
  const V factor = hn::Mul(end_loss(e.tip_ratio, over_size), end_loss(e.root_ratio, over_size));
  return hn::Max(factor, hn::Set(d, 1e-6));
}

// A trial angle from the direction of turning.
struct Angle {
  V x;
  V sine;
  V cosine;
  V size;  // of the sine, not quite 0
  V over_size;
  V loss_factor;
};

HWY_INLINE Angle angle(V x, V s, V c, V loss_factor) {
  const V size = hn::Max(hn::Abs(s), hn::Set(d, 1e-12));
  return {x, s, c, size, hn::Div(hn::Set(d, 1.0), size), loss_factor};
}

HWY_INLINE Angle angle(const Elements& e, V x, V s, V c) {
  Angle at = angle(x, s, c, s);
  at.loss_factor = loss(e, at.over_size);
  return at;
}

// Air speed over relative speed from the thrust on the annulus: sin(phi) / (1 - a).
//
// n is solidity times normal force coefficient, s = sin(phi), p the result; the thrust coefficient
// of the blades is n / p^2. The momentum theorem, ct = 4 F a (1 - a), gives p = s + n / (4 F s).
// Above a = 0.4 Buhl's parabola, ct = 8/9 + (4 F - 40/9) a + (50/9 - 4 F) a^2, is 2 p^2 - b s p +
// c s^2 = n with b = 20/3 - 4 F and c = 50/9 - 4 F: no singularity at s = 0. With the flow through
// the disc reversed, s < 0, ct = 4 F a (a - 1) or the parabola, whichever is more. Where no flow
// with the wind belongs to n and s, p is negative and continuous, which is all the search needs.
HWY_INLINE V axial_part(const Angle& x, V n, V over_loss) {
  const V s = x.sine;
  const V a = x.size;
  const V F = x.loss_factor;
  const V zero = hn::Zero(d);
  const V quarter = hn::Set(d, 0.25);
  const V b = hn::Sub(hn::Set(d, 20.0 / 3.0), hn::Mul(hn::Set(d, 4.0), F));
  const V m = hn::Abs(n);
  const V r = hn::Mul(hn::Mul(quarter, m), hn::Mul(over_loss, x.over_size));
  const V D = hn::Mul(F, hn::Sub(hn::Set(d, 64.0 / 3.0), hn::Mul(hn::Set(d, 16.0), F)));
  const M light = hn::Le(r, hn::Mul(hn::Set(d, 2.0 / 3.0), a));
  V root = zero;
  V brake = hn::Add(a, r);
  const M reversed = hn::Le(s, zero);
  if (!hn::AllTrue(d, hn::AndNot(reversed, light))) {
    root = hn::Sqrt(hn::Max(hn::Sub(hn::Mul(hn::Set(d, 8.0), m), hn::Mul(D, hn::Mul(a, a))), zero));
    const V heavy = hn::Mul(quarter, hn::Add(hn::Mul(b, a), root));
    brake = hn::IfThenElse(light, brake, heavy);
  }
  const M pushed = hn::Lt(n, zero);
  V p = brake;
  if (!hn::AllFalse(d, pushed)) {
    const V stop = hn::Neg(hn::Sqrt(hn::Mul(hn::Set(d, 0.5), m)));
    p = hn::IfThenElse(pushed, hn::Max(hn::Sub(a, r), stop), p);
  }
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

// The same with Glauert's closure from a = 1/3: ct = 4 a (1 - a (5 - 3 a) / 4) F, which makes
// F (2 p^2 - 3 s p + 4 s^2 - 3 s^3 / p) = n. With the flow reversed that has a least n, and below
// it p goes on, continuous, to negative.
HWY_INLINE V glauert_part(const Angle& x, V n, V over_loss) {
  const V zero = hn::Zero(d);
  const V s = x.sine;
  const V a = x.size;
  const V m = hn::Mul(hn::Abs(n), over_loss);
  const V r = hn::Mul(hn::Mul(hn::Set(d, 0.25), m), x.over_size);
  const V outer = hn::Sqrt(hn::Mul(hn::Set(d, 0.5), m));  // root at s = 0
  // Newton's steps from above the root; the left side is convex there.
  const auto root_from = [&](V sine, V p) HWY_ATTR {
    const V s2 = hn::Mul(sine, sine);
    const V s3 = hn::Mul(hn::Set(d, 3.0), hn::Mul(s2, sine));
    for (int step = 0; step < 40; ++step) {
      const V over = hn::Div(hn::Set(d, 1.0), p);
      const V value =
          hn::Sub(hn::Add(hn::Mul(p, hn::Sub(hn::Add(p, p), hn::Mul(hn::Set(d, 3.0), sine))),
                          hn::Mul(hn::Set(d, 4.0), s2)),
                  hn::Add(hn::Mul(s3, over), m));
      const V slope = hn::Add(hn::Sub(hn::Mul(hn::Set(d, 4.0), p), hn::Mul(hn::Set(d, 3.0), sine)),
                              hn::Mul(s3, hn::Mul(over, over)));
      const V next = hn::Sub(p, hn::Div(value, hn::Max(slope, hn::Set(d, 1e-300))));
      p = hn::IfThenElse(hn::Gt(next, zero), next, hn::Mul(hn::Set(d, 0.5), p));
    }
    return p;
  };
  const M light = hn::Le(r, hn::Mul(hn::Set(d, 0.5), a));
  const V brake = hn::IfThenElse(light, hn::Add(a, r),
                                 root_from(a, hn::Add(hn::Mul(hn::Set(d, 1.5), a), outer)));
  const M pushed = hn::Lt(n, zero);
  V p = hn::IfThenElse(pushed, hn::Max(hn::Sub(a, r), hn::Neg(outer)), brake);
  const M reversed = hn::Le(s, zero);
  if (hn::AllFalse(d, reversed)) return p;
  constexpr double at_least = 0.7154047696801799;  // p over |s| there: 4 t^3 + 3 t^2 = 3
  constexpr double least = 11.363252524967988;     // n over F s^2 there
  const V share = hn::Div(m, hn::Mul(hn::Set(d, least), hn::Mul(a, a)));
  const V none =
      hn::Mul(hn::Mul(hn::Set(d, at_least), a), hn::Sub(hn::Add(share, share), hn::Set(d, 1.0)));
  const V through = root_from(hn::Neg(a), hn::Max(outer, hn::Mul(hn::Set(d, at_least), a)));
  const V back = hn::IfThenElse(hn::Le(share, hn::Set(d, 1.0)), none, through);
  return hn::IfThenElse(reversed, hn::IfThenElse(pushed, hn::Neg(brake), back), p);
}

// Share of the wake's swirl that the momentum theorem gives: all up to a = 0.4, where that theorem
// ends, then less, none where the flow through the disc stops.
HWY_INLINE V swirl_share(V s, V n, V p) {
  const V one = hn::Set(d, 1.0);
  const V zero = hn::Zero(d);
  const V part = hn::Mul(hn::Set(d, 0.6), p);
  const M all = hn::Or(hn::Ge(s, part), hn::Lt(n, zero));
  const M some = hn::Gt(s, zero);
  if (hn::AllTrue(d, hn::And(all, some))) return one;
  const V share = hn::Div(s, hn::Max(part, hn::Set(d, 1e-300)));
  return hn::IfThenElseZero(some, hn::IfThenElse(all, one, share));
}

HWY_INLINE Trial trial(const ElementSetting& setting, const Elements& e, const Reynolds& at,
                       const Angle& x, Fields& fields) {
  const V s = x.sine;
  const V c = x.cosine;
  const V alpha = hn::Sub(hn::Add(e.offset, hn::Mul(e.mirror, x.x)), e.blade_angle);
  const bool augmented = !hn::AllTrue(d, hn::Eq(e.augmentation, hn::Zero(d)));
  auto f = lane_force(d, setting.inner, alpha, at.inner, augmented, fields.inner);
  if (setting.two_polars) {
    const auto outer = lane_force(d, setting.outer, alpha, at.outer, augmented, fields.outer);
    f.cl = hn::Add(f.cl, hn::Mul(e.outer_weight, hn::Sub(outer.cl, f.cl)));
    f.cd = hn::Add(f.cd, hn::Mul(e.outer_weight, hn::Sub(outer.cd, f.cd)));
    f.lift_deficit = hn::Add(f.lift_deficit,
                             hn::Mul(e.outer_weight, hn::Sub(outer.lift_deficit, f.lift_deficit)));
  }
  const V over_loss = hn::Div(hn::Set(d, 1.0), x.loss_factor);
  const V swirling =  // of one unit of lift
      hn::Mul(hn::Mul(e.solidity, hn::Set(d, setting.swirl ? 0.25 : 0.0)), over_loss);
  if (augmented) {
    // Turning speed over relative speed, with the section's own lift in the swirl.
    const V rotating = hn::Sub(c, hn::Mul(swirling, hn::Mul(e.mirror, f.cl)));
    const V given_back =
        hn::Min(hn::Mul(e.augmentation, hn::Mul(rotating, rotating)), hn::Set(d, 1.0));
    f.cl = hn::Add(f.cl, hn::Mul(given_back, f.lift_deficit));
  }
  Trial t;
  t.cl = f.cl;
  t.cd = f.cd;
  const V lift = hn::Mul(e.mirror, f.cl);
  const V n = hn::Mul(e.solidity, hn::Add(hn::Mul(lift, c), hn::Mul(f.cd, s)));
  t.axial = setting.glauert ? glauert_part(x, n, over_loss) : axial_part(x, n, over_loss);
  t.turning = c;
  if (setting.swirl) {
    const V torque =
        setting.drag_in_swirl
            ? hn::Sub(lift, hn::Mul(hn::Mul(f.cd, c),
                                    hn::Mul(x.over_size,
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

// Sine of the angle between the flow asked for and the real one.
HWY_INLINE V residual_of(const Trial& t) {
  const V size = hn::Add(hn::Mul(t.axial, t.axial), hn::Mul(t.turning, t.turning));
  return hn::Div(hn::Abs(t.across), hn::Sqrt(size));
}

// Whether the residual is that small or smaller.
HWY_INLINE M balanced(const Trial& t, double tolerance) {
  const V size = hn::Add(hn::Mul(t.axial, t.axial), hn::Mul(t.turning, t.turning));
  return hn::Le(hn::Mul(t.across, t.across), hn::Mul(size, hn::Set(d, tolerance * tolerance)));
}

}  // namespace windwright::physics::HWY_NAMESPACE
HWY_AFTER_NAMESPACE();

#endif
