// SPDX-License-Identifier: Apache-2.0
// The search for a balance in the plane of inflow angle and Reynolds number: slow, and complete to
// its grid. Included once per instruction set.
#if defined(WINDWRIGHT_PHYSICS_LANE_SEARCH_H) == defined(HWY_TARGET_TOGGLE)
#ifdef WINDWRIGHT_PHYSICS_LANE_SEARCH_H
#undef WINDWRIGHT_PHYSICS_LANE_SEARCH_H
#else
#define WINDWRIGHT_PHYSICS_LANE_SEARCH_H
#endif

#include "physics/element_scan.h"
#include "physics/element_solver.h"
#include "physics/lane_balance.h"
#include "physics/polar.h"

#include <hwy/highway.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>

HWY_BEFORE_NAMESPACE();
namespace windwright::physics::HWY_NAMESPACE {

struct PlaneRoot {
  double x;
  double log_reynolds;
  bool found;
};

// What is missing at a place of the plane, in all lanes.
struct Missing {
  V across;    // 0 where the angle is right
  V reynolds;  // logarithm of the flow's own Reynolds number over this one
  Trial trial;
};

HWY_INLINE Missing missing(const ElementSetting& setting, const Elements& e, V x, V sine, V cosine,
                           V logarithm) {
  Fields fields;
  forget(fields);
  Missing m;
  m.trial = trial(setting, e, reynolds_at(setting, logarithm), angle(e, x, sine, cosine), fields);
  // A flow against the real one has no Reynolds number: as if very small.
  const M with = hn::Gt(m.trial.relative_speed, hn::Zero(d));
  const V own = hn::IfThenElse(with, log_reynolds(e, m.trial.relative_speed), hn::Set(d, -1e3));
  m.across = m.trial.across;
  m.reynolds = hn::Sub(own, logarithm);
  return m;
}

struct Corner {
  double across;
  double reynolds;
};

// Corners: first and second angle at the lower number, then at the higher.
struct Cell {
  std::array<double, 2> x;
  std::array<double, 2> log_reynolds;
  std::array<Corner, 4> corner;
};

// The angle's equation must pass zero between the corners; the Reynolds number's must come near it,
// as its change over the cell goes: a kink of the polar may hide that it passes.
HWY_INLINE bool may_hold_root(const Cell& cell) {
  const auto near_zero = [&](double Corner::* part, double margin) {
    double lowest = cell.corner[0].*part;
    double highest = lowest;
    for (const Corner& corner : cell.corner) {
      lowest = std::min(lowest, corner.*part);
      highest = std::max(highest, corner.*part);
    }
    const double beyond = margin * (highest - lowest);
    return lowest - beyond <= 0.0 && highest + beyond >= 0.0;
  };
  return near_zero(&Corner::across, 0.0) && near_zero(&Corner::reynolds, 2.0);
}

// Which way to cut so that lines of zero that run side by side come apart.
HWY_INLINE bool changes_more_with_angle(const Cell& cell) {
  double with_angle = 0.0;
  double with_reynolds = 0.0;
  for (double Corner::* part : {&Corner::across, &Corner::reynolds}) {
    const auto at = [&](std::size_t i) { return cell.corner[i].*part; };
    const double size = std::abs(at(0)) + std::abs(at(1)) + std::abs(at(2)) + std::abs(at(3));
    if (!(size > 0.0)) continue;
    with_angle += (std::abs(at(1) - at(0)) + std::abs(at(3) - at(2))) / size;
    with_reynolds += (std::abs(at(2) - at(0)) + std::abs(at(3) - at(1))) / size;
  }
  return with_angle > with_reynolds;
}

HWY_INLINE Corner corner_at(const ElementSetting& setting, const Elements& e, double x,
                            double log_reynolds) {
  const Missing m = missing(setting, e, hn::Set(d, x), hn::Set(d, std::sin(x)),
                            hn::Set(d, std::cos(x)), hn::Set(d, log_reynolds));
  return {hn::GetLane(m.across), hn::GetLane(m.reynolds)};
}

// Halves a cell again and again and goes after every half in which both may pass zero, until one is
// left as small as numbers go.
HWY_INLINE PlaneRoot root_in(const ElementSetting& setting, const Elements& e, const Cell& whole) {
  struct Part {
    Cell cell;
    int depth;
  };
  constexpr int deepest = 120;
  std::array<Part, deepest + 2> waiting;
  std::size_t count = 0;
  waiting[count++] = {whole, 0};
  for (int budget = 4000; count > 0 && budget > 0; --budget) {
    const Part part = waiting[--count];
    const Cell& cell = part.cell;
    const double x = 0.5 * (cell.x[0] + cell.x[1]);
    const double u = 0.5 * (cell.log_reynolds[0] + cell.log_reynolds[1]);
    const bool x_done = x == cell.x[0] || x == cell.x[1];
    const bool u_done = u == cell.log_reynolds[0] || u == cell.log_reynolds[1];
    if (part.depth >= deepest || (x_done && u_done)) {
      const Missing m = missing(setting, e, hn::Set(d, x), hn::Set(d, std::sin(x)),
                                hn::Set(d, std::cos(x)), hn::Set(d, u));
      if (hn::GetLane(residual_of(m.trial)) < 1e-11 && std::abs(hn::GetLane(m.reynolds)) < 1e-9) {
        return {x, u, true};
      }
      continue;
    }
    const bool split_x = u_done || (!x_done && changes_more_with_angle(cell));
    Cell near = cell;
    Cell far = cell;
    if (split_x) {
      const Corner low = corner_at(setting, e, x, cell.log_reynolds[0]);
      const Corner high = corner_at(setting, e, x, cell.log_reynolds[1]);
      near.x[1] = far.x[0] = x;
      near.corner[1] = far.corner[0] = low;
      near.corner[3] = far.corner[2] = high;
    } else {
      const Corner first = corner_at(setting, e, cell.x[0], u);
      const Corner second = corner_at(setting, e, cell.x[1], u);
      near.log_reynolds[1] = far.log_reynolds[0] = u;
      near.corner[2] = far.corner[0] = first;
      near.corner[3] = far.corner[1] = second;
    }
    if (may_hold_root(far)) waiting[count++] = {far, part.depth + 1};
    if (may_hold_root(near)) waiting[count++] = {near, part.depth + 1};
  }
  return {0.0, 0.0, false};
}

constexpr std::size_t most_rows = 128;
struct Rows {
  std::array<double, most_rows> log_reynolds;
  std::size_t count;
};

// The Reynolds numbers of both polars' tables, where their forces have kinks, some between, and one
// far out on either side, where the nearest table holds.
HWY_INLINE Rows rows_over(const ElementSetting& setting, std::size_t between) {
  constexpr double far = 60.0;
  std::array<double, most_rows> table;
  std::size_t tables = 0;
  for (const PolarArrays* polar : {&setting.inner, &setting.outer}) {
    for (std::int64_t i = 0; i < polar->tables && tables < most_rows; ++i)
      table[tables++] = polar->log_reynolds[i];
  }
  std::sort(table.data(), table.data() + tables);
  tables =
      static_cast<std::size_t>(std::unique(table.data(), table.data() + tables) - table.data());
  Rows rows;
  rows.log_reynolds[0] = table[0] - far;
  rows.count = 1;
  const std::size_t cuts = std::max<std::size_t>(1, between / tables);
  for (std::size_t i = 0; i + 1 < tables; ++i) {
    for (std::size_t k = 0; k < cuts && rows.count + 2 < most_rows; ++k) {
      rows.log_reynolds[rows.count++] =
          std::lerp(table[i], table[i + 1], static_cast<double>(k) / static_cast<double>(cuts));
    }
  }
  rows.log_reynolds[rows.count++] = table[tables - 1];
  rows.log_reynolds[rows.count++] = table[tables - 1] + far;
  return rows;
}

constexpr std::size_t parts = 8;  // of a step of the scan; a multiple of every vector's lanes
struct alignas(64) Strip {
  std::array<double, parts> x, sine, cosine;
  double x_before;
  std::array<std::array<double, parts>, most_rows> across;
  std::array<std::array<double, parts>, most_rows> reynolds;
};

// From one node of the scan (left out) evenly to another.
HWY_INLINE void fill(const ElementSetting& setting, const Elements& e, const Rows& rows,
                     const std::array<double, 2>& between_rad, Strip& strip) {
  strip.x_before = between_rad[0];
  for (std::size_t k = 0; k < parts; ++k) {
    const double share = static_cast<double>(k + 1) / parts;
    strip.x[k] = std::lerp(between_rad[0], between_rad[1], share);
    strip.sine[k] = std::sin(strip.x[k]);
    strip.cosine[k] = std::cos(strip.x[k]);
  }
  for (std::size_t row = 0; row < rows.count; ++row) {
    for (std::size_t k = 0; k < parts; k += hn::Lanes(d)) {
      const Missing m = missing(setting, e, hn::Load(d, &strip.x[k]), hn::Load(d, &strip.sine[k]),
                                hn::Load(d, &strip.cosine[k]), hn::Set(d, rows.log_reynolds[row]));
      hn::Store(m.across, d, &strip.across[row][k]);
      hn::Store(m.reynolds, d, &strip.reynolds[row][k]);
    }
  }
}

// From a node through others in steps of one.
HWY_INLINE PlaneRoot root_from(const ElementSetting& setting, const Elements& e, const Rows& rows,
                               std::size_t from, std::size_t to) {
  const ElementScan& scan = element_scan();
  std::array<Corner, most_rows> before;
  for (std::size_t row = 0; row < rows.count; ++row)
    before[row] = corner_at(setting, e, scan.x_rad[from], rows.log_reynolds[row]);
  Strip strip;
  for (std::size_t node = from; node != to;) {
    const std::size_t next = to > from ? node + 1 : node - 1;
    fill(setting, e, rows, {scan.x_rad[node], scan.x_rad[next]}, strip);
    for (std::size_t k = 0; k < parts; ++k) {
      for (std::size_t row = 0; row + 1 < rows.count; ++row) {
        const Cell cell{
            .x = {k == 0 ? strip.x_before : strip.x[k - 1], strip.x[k]},
            .log_reynolds = {rows.log_reynolds[row], rows.log_reynolds[row + 1]},
            .corner = {before[row], Corner{strip.across[row][k], strip.reynolds[row][k]},
                       before[row + 1],
                       Corner{strip.across[row + 1][k], strip.reynolds[row + 1][k]}}};
        if (!may_hold_root(cell)) continue;
        const PlaneRoot root = root_in(setting, e, cell);
        if (root.found) return root;
      }
      for (std::size_t row = 0; row < rows.count; ++row)
        before[row] = {strip.across[row][k], strip.reynolds[row][k]};
    }
    node = next;
  }
  return {0.0, 0.0, false};
}

// The first balance up from the plane of rotation; turning backwards, the last; down where the
// plane is past it already. A fine grid follows where a coarse one shows none.
HWY_INLINE PlaneRoot searched(const ElementSetting& setting, const Elements& e, bool backwards) {
  constexpr std::size_t start = ElementScan::start;
  constexpr std::size_t last = ElementScan::nodes - 1;
  const V undisturbed = hn::Div(hn::Set(d, 1.0), e.over_speed);
  const bool down =
      corner_at(setting, e, 0.0, hn::GetLane(log_reynolds(e, undisturbed))).across >= 0.0;
  PlaneRoot root{0.0, 0.0, false};
  for (const std::size_t between : {1, 64}) {
    const Rows rows = rows_over(setting, between);
    const auto up = [&] {
      return backwards ? root_from(setting, e, rows, last, start)
                       : root_from(setting, e, rows, start, last);
    };
    root = down ? root_from(setting, e, rows, start, 0) : up();
    if (!root.found) root = down ? up() : root_from(setting, e, rows, start, 0);
    if (root.found) break;
  }
  return root;
}

}  // namespace windwright::physics::HWY_NAMESPACE
HWY_AFTER_NAMESPACE();

#endif
