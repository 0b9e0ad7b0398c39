// SPDX-License-Identifier: Apache-2.0
// Polars read in vector lanes. Included once per instruction set.
#if defined(WINDWRIGHT_PHYSICS_LANE_POLAR_H) == defined(HWY_TARGET_TOGGLE)
#ifdef WINDWRIGHT_PHYSICS_LANE_POLAR_H
#undef WINDWRIGHT_PHYSICS_LANE_POLAR_H
#else
#define WINDWRIGHT_PHYSICS_LANE_POLAR_H
#endif

#include "physics/polar.h"

#include <hwy/highway.h>

#include <cstdint>
#include <numbers>

HWY_BEFORE_NAMESPACE();
namespace windwright::physics::HWY_NAMESPACE {

namespace hn = hwy::HWY_NAMESPACE;

/// Between which tables a Reynolds number lies; the nearest outside them.
template <class D>
struct LaneReynolds {
  hn::Vec<hn::RebindToSigned<D>> table;  // the lower one
  hn::Vec<D> weight;                     // of the next one
};

template <class D>
HWY_INLINE LaneReynolds<D> lane_reynolds(D d, const PolarArrays& polar, hn::Vec<D> log_reynolds) {
  const hn::RebindToSigned<D> di;
  if (polar.tables == 1) return {hn::Zero(di), hn::Zero(d)};
  auto table = hn::Zero(di);
  auto low = hn::Set(d, polar.log_reynolds[0]);
  auto over_width = hn::Set(d, 1.0 / (polar.log_reynolds[1] - polar.log_reynolds[0]));
  for (std::int64_t next = 1; next + 1 < polar.tables; ++next) {
    const double at = polar.log_reynolds[next];
    const auto above = hn::Ge(log_reynolds, hn::Set(d, at));
    table = hn::IfThenElse(hn::RebindMask(di, above), hn::Set(di, next), table);
    low = hn::IfThenElse(above, hn::Set(d, at), low);
    over_width =
        hn::IfThenElse(above, hn::Set(d, 1.0 / (polar.log_reynolds[next + 1] - at)), over_width);
  }
  const auto weight = hn::Mul(hn::Sub(log_reynolds, low), over_width);
  return {table, hn::Min(hn::Max(weight, hn::Zero(d)), hn::Set(d, 1.0))};
}

/// One quantity over one field between two angles and two tables.
template <class D>
struct LaneField {
  hn::Vec<D> low;  // the lower table's at the field's first angle
  hn::Vec<D> low_rise;
  hn::Vec<D> high;  // the next table's; not set where there is one table only
  hn::Vec<D> high_rise;
};

/// The field of a polar that was read last. Angles that search their root move little: most find
/// the next one in it, without another gather. `below` at infinity: none yet.
template <class D>
struct LaneFields {
  hn::Vec<D> below;  // its angles
  hn::Vec<D> above;
  hn::Vec<D> over_width;
  hn::Vec<hn::RebindToSigned<D>> table;
  LaneField<D> cl;
  LaneField<D> cd;
  LaneField<D> lift_deficit;
};

template <class D>
struct LaneForce {
  hn::Vec<D> cl;
  hn::Vec<D> cd;
  hn::Vec<D> lift_deficit;
};

template <class D>
HWY_INLINE LaneField<D> field(D d, const double* part, hn::Vec<hn::RebindToSigned<D>> index,
                              std::int64_t tables) {
  const hn::RebindToSigned<D> di;
  const auto next = hn::Add(index, hn::Set(di, tables));
  LaneField<D> f;
  f.low = hn::GatherIndex(d, part, index);
  f.low_rise = hn::Sub(hn::GatherIndex(d, part, next), f.low);
  f.high = f.low;
  f.high_rise = f.low_rise;
  if (tables > 1) {
    f.high = hn::GatherIndex(d, part + 1, index);
    f.high_rise = hn::Sub(hn::GatherIndex(d, part + 1, next), f.high);
  }
  return f;
}

template <class D>
HWY_NOINLINE void find_fields(D d, const PolarArrays& polar, hn::Vec<D> alpha,
                              hn::Vec<hn::RebindToSigned<D>> table, bool augmented,
                              LaneFields<D>& fields) {
  const hn::RebindToSigned<D> di;
  const auto one = hn::Set(di, 1);
  const auto bin =
      hn::Mul(hn::Add(alpha, hn::Set(d, std::numbers::pi)), hn::Set(d, polar.bins_per_rad));
  // Rounding may put an angle a hair outside +-pi.
  const auto last_bin = hn::Set(d, 2.0 * std::numbers::pi * polar.bins_per_rad - 0.5);
  auto node = hn::GatherIndex(di, polar.first,
                              hn::ConvertTo(di, hn::Min(hn::Max(bin, hn::Zero(d)), last_bin)));
  auto above = hn::GatherIndex(d, polar.alpha_rad, hn::Add(node, one));
  for (;;) {
    const auto farther = hn::And(hn::RebindMask(di, hn::Le(above, alpha)),
                                 hn::Lt(node, hn::Set(di, polar.nodes - 2)));
    if (hn::AllFalse(di, farther)) break;
    node = hn::IfThenElse(farther, hn::Add(node, one), node);
    above = hn::GatherIndex(d, polar.alpha_rad, hn::Add(node, one));
  }
  fields.below = hn::GatherIndex(d, polar.alpha_rad, node);
  fields.above = above;
  fields.over_width = hn::Div(hn::Set(d, 1.0), hn::Sub(above, fields.below));
  fields.table = table;
  auto index = table;
  for (std::int64_t i = 0; i < polar.tables; ++i)
    index = hn::Add(index, node);
  fields.cl = field(d, polar.cl, index, polar.tables);
  fields.cd = field(d, polar.cd, index, polar.tables);
  if (augmented) fields.lift_deficit = field(d, polar.lift_deficit, index, polar.tables);
}

template <class D>
HWY_INLINE hn::Vec<D> read(const LaneField<D>& f, hn::Vec<D> along, hn::Vec<D> weight) {
  const auto low = hn::Add(f.low, hn::Mul(along, f.low_rise));
  const auto high = hn::Add(f.high, hn::Mul(along, f.high_rise));
  return hn::Add(low, hn::Mul(weight, hn::Sub(high, low)));
}

/// @param alpha      any angle, rad
/// @param augmented  whether the lift deficit is wanted; else it is 0
/// @param fields     what an earlier call with this polar left, or none
template <class D>
HWY_INLINE LaneForce<D> lane_force(D d, const PolarArrays& polar, hn::Vec<D> alpha,
                                   const LaneReynolds<D>& at, bool augmented,
                                   LaneFields<D>& fields) {
  const hn::RebindToSigned<D> di;
  const auto turn = hn::Set(d, 2.0 * std::numbers::pi);
  alpha =
      hn::Sub(alpha, hn::Mul(turn, hn::Round(hn::Mul(alpha, hn::Set(d, 0.5 / std::numbers::pi)))));
  const auto inside = hn::And(hn::Ge(alpha, fields.below), hn::Lt(alpha, fields.above));
  const auto same = hn::Eq(at.table, fields.table);
  if (!hn::AllTrue(di, hn::And(hn::RebindMask(di, inside), same))) {
    find_fields(d, polar, alpha, at.table, augmented, fields);
  }
  const auto along = hn::Mul(hn::Sub(alpha, fields.below), fields.over_width);
  return {read(fields.cl, along, at.weight), read(fields.cd, along, at.weight),
          augmented ? read(fields.lift_deficit, along, at.weight) : hn::Zero(d)};
}

}  // namespace windwright::physics::HWY_NAMESPACE
HWY_AFTER_NAMESPACE();

#endif
