// SPDX-License-Identifier: Apache-2.0
#include "physics/element_solver.h"

#include "physics/element_scan.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>

// This file compiles itself once per instruction set; what follows is read each time, in this
// order.
// clang-format off
#undef HWY_TARGET_INCLUDE
#define HWY_TARGET_INCLUDE "physics/element_solver.cpp"
#include <hwy/foreach_target.h>  // IWYU pragma: keep
#include <hwy/highway.h>
#include "physics/lane_balance.h"
#include "physics/lane_scan.h"
#include "physics/lane_search.h"
// clang-format on

HWY_BEFORE_NAMESPACE();
namespace windwright::physics::HWY_NAMESPACE {

struct Solved {
  Angle angle;
  Trial trial;
  V residual;
  V secant_steps;
  M good;
};

HWY_INLINE void keep(const M& which, const Angle& from, Angle& to) {
  to.x = hn::IfThenElse(which, from.x, to.x);
  to.sine = hn::IfThenElse(which, from.sine, to.sine);
  to.cosine = hn::IfThenElse(which, from.cosine, to.cosine);
  to.loss_factor = hn::IfThenElse(which, from.loss_factor, to.loss_factor);
}

HWY_INLINE void keep(const M& which, const Trial& from, Trial& to) {
  to.axial = hn::IfThenElse(which, from.axial, to.axial);
  to.turning = hn::IfThenElse(which, from.turning, to.turning);
  to.across = hn::IfThenElse(which, from.across, to.across);
  to.relative_speed = hn::IfThenElse(which, from.relative_speed, to.relative_speed);
  to.cl = hn::IfThenElse(which, from.cl, to.cl);
  to.cd = hn::IfThenElse(which, from.cd, to.cd);
}

// Anderson and Bjorck's secant: the newest point and the last one across the root, whose residual
// shrinks while it is kept.
struct Secant {
  V x0, f0;  // kept
  V x1, f1;  // newest
  V run;     // angle over residual between the last two
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
  const V run = hn::Div(hn::Sub(x, k.x1), hn::Sub(f, k.f1));
  k.run = hn::IfThenElse(which, run, k.run);
  k.x0 = hn::IfThenElse(which, x0, k.x0);
  k.f0 = hn::IfThenElse(which, f0, k.f0);
  k.x1 = hn::IfThenElse(which, x, k.x1);
  k.f1 = hn::IfThenElse(which, f, k.f1);
}

// The straight line through the scan's residuals, and what it says of the root.
struct Guess {
  V x;
  V run;  // angle over residual
  V relative_speed;
  V relative_speed_slope;  // over the angle
};

HWY_INLINE V speed_of(const Elements& e, V axial, V turning) {
  const V along = hn::Add(hn::Mul(e.axial, axial), hn::Mul(e.turning, turning));
  return hn::Div(along, hn::Add(hn::Mul(axial, axial), hn::Mul(turning, turning)));
}

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
  return {hn::Add(low, hn::Mul(share, width)), hn::Div(width, rise),
          hn::Div(along, hn::Add(hn::Mul(axial, axial), hn::Mul(turning, turning))),
          hn::Div(hn::Sub(speed_of(e, b.axial_high, b.turning_high),
                          speed_of(e, b.axial_low, b.turning_low)),
                  width)};
}

// Secant steps from a guess, the relative speed drawn on along with the angle, until both stand
// still. Elements that stray or do not settle are not good. One pass at a time, so that several
// vectors can take turns: what a pass waits for, the passes of the others fill.
struct Course {
  Elements e;
  V middle, middle_sine, middle_cosine;  // of the step
  V reach;
  V x, W, run, W_slope;
  V x_before, f_before, W_before;
  M comparable;
  M good;
  Fields fields;
  Solved result;
  bool over;
};
constexpr int most_passes = 20;

HWY_INLINE void begin(const Elements& e, I step, const Guess& from, M good, Course& k) {
  const ElementScan& scan = element_scan();
  const V zero = hn::Zero(d);
  k.e = e;
  k.middle = hn::GatherIndex(d, scan.middle_rad.data(), step);
  k.middle_sine = hn::GatherIndex(d, scan.middle_sine.data(), step);
  k.middle_cosine = hn::GatherIndex(d, scan.middle_cosine.data(), step);
  // As far as `turned` holds, and no farther than the steps next door.
  k.reach = hn::Min(
      hn::Set(d, 0.1),
      hn::Mul(hn::Set(d, 3.0), hn::Sub(k.middle, hn::GatherIndex(d, scan.x_rad.data(), step))));
  k.result.good = k.comparable = hn::AndNot(good, good);
  k.result.secant_steps = zero;
  forget(k.fields);
  k.x = k.x_before = from.x;
  k.W = k.W_before = from.relative_speed;
  k.run = from.run;
  k.W_slope = from.relative_speed_slope;
  k.f_before = zero;
  k.good = hn::And(good, hn::And(hn::Gt(k.run, zero), hn::Gt(k.W, zero)));
  k.over = false;
}

HWY_INLINE void pass(const ElementSetting& setting, bool first, Course& k) {
  const V zero = hn::Zero(d);
  const Reynolds at = reynolds(setting, k.e, k.W);
  const auto sc = turned(d, k.middle_sine, k.middle_cosine, hn::Sub(k.x, k.middle));
  const Angle here = angle(k.e, k.x, sc.sine, sc.cosine);
  const Trial t = trial(setting, k.e, at, here, k.fields);
  k.result.secant_steps =
      hn::Add(k.result.secant_steps, hn::IfThenZeroElse(k.result.good, hn::Set(d, 1.0)));
  const V change = hn::Abs(hn::Sub(t.relative_speed, k.W));
  k.good = hn::And(k.good, hn::Gt(t.relative_speed, zero));
  const M done =
      hn::And(hn::AndNot(k.result.good, k.good),
              hn::And(balanced(t, 5e-12), hn::Le(change, hn::Mul(hn::Set(d, 1e-10), k.W))));
  if (first) {
    k.result.angle = here;
    k.result.trial = t;
  }
  keep(done, here, k.result.angle);
  keep(done, t, k.result.trial);
  k.result.good = hn::Or(k.result.good, done);
  k.over = hn::AllTrue(d, hn::Or(k.result.good, hn::Not(k.good)));
  if (k.over) return;
  const V moved = hn::Sub(k.x, k.x_before);
  const V rise = hn::Sub(t.across, k.f_before);
  const V over_both = hn::Div(hn::Set(d, 1.0), hn::Mul(moved, rise));
  const V secant_run = hn::Mul(hn::Mul(moved, moved), over_both);
  const M sound = hn::And(hn::And(k.comparable, hn::Ne(k.x, k.x_before)),
                          hn::And(hn::Gt(secant_run, hn::Mul(hn::Set(d, 0.25), k.run)),
                                  hn::Lt(secant_run, hn::Mul(hn::Set(d, 4.0), k.run))));
  k.run = hn::IfThenElse(sound, secant_run, k.run);
  const V secant_slope = hn::Mul(hn::Mul(hn::Sub(t.relative_speed, k.W_before), rise), over_both);
  k.W_slope = hn::IfThenElse(sound, secant_slope, k.W_slope);
  k.comparable = hn::Le(change, hn::Mul(hn::Set(d, 1e-3), k.W));
  k.x_before = k.x;
  k.f_before = t.across;
  k.W_before = t.relative_speed;
  const V back = hn::Mul(t.across, k.run);
  const V x = hn::Sub(k.x, back);
  k.good = hn::And(k.good, hn::Lt(hn::Abs(hn::Sub(x, k.middle)), k.reach));
  k.x = hn::IfThenElse(k.good, x, k.x_before);
  const V drawn_on = hn::Sub(t.relative_speed, hn::Mul(k.W_slope, back));
  k.W = hn::IfThenElse(hn::And(k.good, hn::Gt(drawn_on, zero)), drawn_on, k.W);
}

HWY_INLINE Solved settled(const ElementSetting& setting, const Elements& e, I step,
                          const Guess& from, M good) {
  Course k;
  begin(e, step, from, good, k);
  for (int i = 0; i < most_passes && !k.over; ++i)
    pass(setting, i == 0, k);
  k.result.residual = residual_of(k.result.trial);
  return k.result;
}

// The sure way where that fails, at kinks of a polar: brackets the root between two nodes of the
// scan at one Reynolds number first. Elements whose root is not there at their own Reynolds number
// are not good.
HWY_INLINE Solved bracketed(const ElementSetting& setting, const Elements& e, const Bracket& b) {
  const ElementScan& scan = element_scan();
  const V zero = hn::Zero(d);
  Fields fields;
  forget(fields);
  V W = guessed(e, b).relative_speed;
  const Reynolds at = reynolds(setting, e, W);

  // At the Reynolds number of this flow the root may lie in the step next door.
  I step = b.step;
  Trial t_low;
  Trial t_high;
  M good;
  for (int attempt = 0;; ++attempt) {
    const I next = hn::Add(step, hn::Set(di, 1));
    t_low = trial(setting, e, at, angle_at(e, step), fields);
    t_high = trial(setting, e, at, angle_at(e, next), fields);
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
           hn::Div(hn::Sub(high, low), hn::Sub(t_high.across, t_low.across))};
  W = hn::IfThenElse(good, t_high.relative_speed, W);
  for (int i = 0; i < 40; ++i) {
    const M open = hn::And(good, hn::And(hn::Gt(hn::Abs(k.f1), hn::Set(d, 1e-10)),
                                         hn::Gt(hn::Abs(hn::Sub(k.x1, k.x0)), hn::Set(d, 1e-14))));
    if (hn::AllFalse(d, open)) break;
    const V x = next_of(k);
    const auto sc = turned(d, middle_sine, middle_cosine, hn::Sub(x, middle));
    const Trial t = trial(setting, e, at, angle(e, x, sc.sine, sc.cosine), fields);
    take(k, open, x, t.across);
    W = hn::IfThenElse(open, t.relative_speed, W);
  }
  return settled(setting, e, step, {k.x1, k.run, W, zero}, good);
}

// The elements of one place of a batch in all lanes.
HWY_INLINE Elements alone(const ElementBatch& batch, std::size_t i) {
  ElementBatch one;
  for (std::size_t lane = 0; lane < hn::Lanes(d); ++lane)
    copy_state(batch, i, one, lane);
  return elements_at(one, 0);
}

// The slow and sure way for what the quick ones leave.
HWY_NOINLINE void solve_carefully(const ElementSetting& setting, ElementBatch& batch,
                                  std::size_t i) {
  const Elements e = alone(batch, i);
  const PlaneRoot root = searched(setting, e, batch.backwards[i] != 0.0);
  const double x = root.found ? root.x : std::atan2(batch.axial_m_s[i], batch.turning_m_s[i]);
  Fields fields;
  forget(fields);
  const Angle at = angle(e, hn::Set(d, x), hn::Set(d, std::sin(x)), hn::Set(d, std::cos(x)));
  const V undisturbed = hn::Div(hn::Set(d, 1.0), e.over_speed);
  const Trial t = trial(setting, e,
                        root.found ? reynolds_at(setting, hn::Set(d, root.log_reynolds))
                                   : reynolds(setting, e, undisturbed),
                        at, fields);
  const double mirror = hn::GetLane(e.mirror);
  batch.inflow_angle_rad[i] = hn::GetLane(e.offset) + mirror * x;
  batch.sine[i] = hn::GetLane(at.sine);
  batch.cosine[i] = mirror * hn::GetLane(at.cosine);
  batch.angle_of_attack_rad[i] = batch.inflow_angle_rad[i] - batch.blade_angle_rad[i];
  batch.relative_speed_m_s[i] = hn::GetLane(root.found ? t.relative_speed : undisturbed);
  batch.loss_factor[i] = hn::GetLane(at.loss_factor);
  batch.cl[i] = hn::GetLane(t.cl);
  batch.cd[i] = hn::GetLane(t.cd);
  batch.residual[i] = hn::GetLane(residual_of(t));
  batch.secant_steps[i] = 0.0;
  batch.converged[i] = root.found ? 1.0 : 0.0;
}

HWY_INLINE Solved either(const Solved& first, const Solved& second) {
  Solved one = second;
  keep(first.good, first.angle, one.angle);
  one.residual = hn::IfThenElse(first.good, first.residual, second.residual);
  one.secant_steps = hn::IfThenElse(first.good, first.secant_steps, second.secant_steps);
  keep(first.good, first.trial, one.trial);
  one.good = hn::Or(first.good, second.good);
  return one;
}

HWY_INLINE void store(const Elements& e, const Solved& r, ElementBatch& batch, std::size_t i) {
  const V inflow = hn::Add(e.offset, hn::Mul(e.mirror, r.angle.x));
  hn::Store(inflow, d, &batch.inflow_angle_rad[i]);
  hn::Store(r.angle.sine, d, &batch.sine[i]);
  hn::Store(hn::Mul(e.mirror, r.angle.cosine), d, &batch.cosine[i]);
  hn::Store(hn::Sub(inflow, e.blade_angle), d, &batch.angle_of_attack_rad[i]);
  hn::Store(r.trial.relative_speed, d, &batch.relative_speed_m_s[i]);
  hn::Store(r.angle.loss_factor, d, &batch.loss_factor[i]);
  hn::Store(r.trial.cl, d, &batch.cl[i]);
  hn::Store(r.trial.cd, d, &batch.cd[i]);
  hn::Store(r.residual, d, &batch.residual[i]);
  hn::Store(r.secant_steps, d, &batch.secant_steps[i]);
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
    const Bracket b = scanned(setting, e);
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
  constexpr std::size_t abreast = 4;
  std::array<Course, abreast> course;
  std::array<Bracket, abreast> bracket;
  const std::size_t lanes = hn::Lanes(d);
  for (std::size_t first = 0; first < batch.count; first += abreast * lanes) {
    const std::size_t vectors = std::min(abreast, (batch.count - first + lanes - 1) / lanes);
    for (std::size_t j = 0; j < vectors; ++j) {
      const std::size_t i = first + j * lanes;
      const Elements e = elements_at(batch, i);
      bracket[j] = scanned_on(curve, batch, i);
      begin(e, bracket[j].step, guessed(e, bracket[j]), bracket[j].found, course[j]);
    }
    bool over = false;
    for (int i = 0; i < most_passes && !over; ++i) {
      over = true;
      for (std::size_t j = 0; j < vectors; ++j) {
        if (!course[j].over) pass(setting, i == 0, course[j]);
        over = over && course[j].over;
      }
    }
    for (std::size_t j = 0; j < vectors; ++j) {
      Solved& solved = course[j].result;
      solved.residual = residual_of(solved.trial);
      if (!hn::AllTrue(d, solved.good))
        solved = either(solved, bracketed(setting, course[j].e, bracket[j]));
      store(course[j].e, solved, batch, first + j * lanes);
    }
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

static_assert(ElementCurve::most == ElementScan::tabulated);

void tabulate_losses_on(const ElementBatch& batch, std::size_t element, ElementCurve& curve) {
  const Elements e = alone(batch, element);
  const ElementScan& scan = element_scan();
  for (std::size_t node = 0; node < ElementScan::tabulated; node += hn::Lanes(d)) {
    const V s = hn::LoadU(d, &scan.sine[node]);
    hn::StoreU(angle(e, s, s, s).loss_factor, d, &curve.loss_factor[node]);
    hn::StoreU(s, d, &curve.axial[node]);
  }
}

void tabulate_on(const ElementSetting& setting, const ElementBatch& batch, std::size_t element,
                 ElementCurve& curve) {
  const Elements e = alone(batch, element);
  const ElementScan& scan = element_scan();
  Fields fields;
  forget(fields);
  // An element that has its balance at a node meets its air speed over the axial part there: that
  // of the curve before, kept from what no flow belongs to.
  const V least = hn::Set(d, 0.02);
  for (std::size_t node = 0; node < ElementScan::tabulated; node += hn::Lanes(d)) {
    const V before = hn::Max(hn::LoadU(d, &curve.axial[node]), least);
    const Reynolds at = reynolds(setting, e, hn::Div(e.axial, before));
    const Angle x = angle(hn::LoadU(d, &scan.x_rad[node]), hn::LoadU(d, &scan.sine[node]),
                          hn::LoadU(d, &scan.cosine[node]), hn::LoadU(d, &curve.loss_factor[node]));
    const Trial t = trial(setting, e, at, x, fields);
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
constexpr Lanes solutions[]{
    &ElementBatch::inflow_angle_rad,    &ElementBatch::sine,     &ElementBatch::cosine,
    &ElementBatch::angle_of_attack_rad, &ElementBatch::cl,       &ElementBatch::cd,
    &ElementBatch::relative_speed_m_s,  &ElementBatch::residual, &ElementBatch::secant_steps,
    &ElementBatch::loss_factor,         &ElementBatch::converged};

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
HWY_EXPORT(tabulate_losses_on);
HWY_EXPORT(tabulate_on);

void solve_elements(const ElementSetting& setting, ElementBatch& batch) {
  HWY_DYNAMIC_DISPATCH(solve)(setting, batch);
}

void solve_elements(const ElementSetting& setting, const ElementCurve& curve, ElementBatch& batch) {
  HWY_DYNAMIC_DISPATCH(solve_on)(setting, curve, batch);
}

void tabulate_losses(const ElementBatch& batch, std::size_t element, ElementCurve& curve) {
  HWY_DYNAMIC_DISPATCH(tabulate_losses_on)(batch, element, curve);
}

void tabulate(const ElementSetting& setting, const ElementBatch& batch, std::size_t element,
              ElementCurve& curve) {
  HWY_DYNAMIC_DISPATCH(tabulate_on)(setting, batch, element, curve);
}

}  // namespace windwright::physics
#endif
