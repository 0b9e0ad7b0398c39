// SPDX-License-Identifier: Apache-2.0
#include "physics/bridge_table.h"

#include "physics/bridge_cycle.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <numbers>
#include <vector>

namespace windwright::physics {
namespace {

constexpr std::size_t cells_c = 64;
constexpr std::size_t width = cells_c + 3;  // nodes of a row, with one beyond either end
// A pulse near u = 1 carries (54/(5 pi)) ... of one sixth of a period: s^3 / R alone or s^4 / X.
constexpr double pulse_reactive = 3.0 / std::numbers::pi * 0.5 * std::numbers::sqrt3 * 4.5;
constexpr double pulse_resistive =
    3.0 / std::numbers::pi * 0.5 * std::numbers::sqrt3 * 4.0 * std::numbers::sqrt2 / 3.0;
constexpr double balance = pulse_reactive / pulse_resistive;  // 2.387
constexpr double narrowest = 1e-9;                            // region
constexpr double smallest_s = 2e-3;  // stands for 0, where a pulse has no width

struct Node {
  double current;
  double square;
};

struct Scales {
  double current;
  double square;
};

Scales scales(double s, double resistance, double reactance) {
  const double opposing = reactance + balance * resistance * s;
  const double s2 = s * s;
  const double current = pulse_reactive * s2 * s2 / opposing;
  return {.current = current, .square = s2 * s2 * s2 * s / (opposing * opposing)};
}

BridgeCircuit circuit_at(double s, double c) {
  // c = X / (X + balance R s)
  const double reactance = c * balance * s;
  const double resistance = 1.0 - c;
  const double impedance = std::sqrt(reactance * reactance + resistance * resistance);
  return {.emf_peak_V = 1.0,
          .resistance_ohm = resistance / impedance,
          .reactance_ohm = reactance / impedance,
          .dc_voltage_V = std::numbers::sqrt3 * (1.0 - s * s),
          .diode_drop_V = 0.0};
}

enum class Change { third_diode, no_pause, always_three };

/// s from which on a third diode conducts at times, two conduct at all times, or three do; by
/// bisection over the exact solution.
double boundary_s(double c, Change change) {
  double below = 0.1;
  double above = 1.0;
  for (int step = 0; step < 45; ++step) {
    const double middle = 0.5 * (below + above);
    const BridgeCycle cycle = bridge_cycle(circuit_at(middle, c));
    bool past = cycle.mode == BridgeMode::three;
    if (change == Change::no_pause) past = cycle.mode != BridgeMode::discontinuous;
    if (change == Change::third_diode) {
      past = past || cycle.mode != BridgeMode::discontinuous;
      for (const BridgeArc& arc : cycle.arcs)
        past = past || (arc.line[0].rail != 0 && arc.line[1].rail != 0 && arc.line[2].rail != 0);
    }
    (past ? above : below) = middle;
  }
  return 0.5 * (below + above);
}

Node exact_node(double s, double c) {
  s = std::max(s, smallest_s);
  const BridgeCircuit circuit = circuit_at(s, c);
  const BridgeCycle cycle = bridge_cycle(circuit);
  const Scales scale = scales(s, circuit.resistance_ohm, circuit.reactance_ohm);
  const double rms = cycle.line_current_rms_A[0];
  return {.current = cycle.dc_current_A / scale.current, .square = rms * rms / scale.square};
}

/// Cubic through four equal steps that meets its neighbours with their slope.
struct Cubic {
  std::array<double, 4> weight;
  std::array<double, 4> slope;
};

Cubic cubic(double t) {
  const double t2 = t * t;
  const double t3 = t2 * t;
  return {.weight = {0.5 * (-t3 + 2.0 * t2 - t), 0.5 * (3.0 * t3 - 5.0 * t2 + 2.0),
                     0.5 * (-3.0 * t3 + 4.0 * t2 + t), 0.5 * (t3 - t2)},
          .slope = {0.5 * (-3.0 * t2 + 4.0 * t - 1.0), 0.5 * (9.0 * t2 - 10.0 * t),
                    0.5 * (-9.0 * t2 + 8.0 * t + 1.0), 0.5 * (3.0 * t2 - 2.0 * t)}};
}

Node beyond(const Node& a, const Node& b, const Node& c) {
  return {.current = 3.0 * (a.current - b.current) + c.current,
          .square = 3.0 * (a.square - b.square) + c.square};
}

/// Between two boundaries the current is smooth, at them its slope jumps: so each region has rows
/// of its own from boundary to boundary.
constexpr std::size_t regions = 4;
constexpr std::array<std::size_t, regions> cells{48, 32, 64, 64};

using Columns = std::array<double, width>;

struct Table {
  std::array<Columns, regions + 1> boundary;    // s by column: 0, the three changes, 1
  std::array<std::vector<Node>, regions> grid;  // rows x width
};

/// Where s lies on the rows of a region. Where the pause ends the current has its sharpest bend, so
/// the rows crowd towards there from both sides, with the square root of the distance.
struct Row {
  double t;         // 0 to 1
  double by_s;      // dt/ds
  double by_lower;  // dt/d(lower boundary)
  double by_upper;
};

Row row_of(std::size_t region, double s, double lower, double upper) {
  const double length = upper - lower;
  const double part = (s - lower) / length;
  Row row{.t = part,
          .by_s = 1.0 / length,
          .by_lower = (part - 1.0) / length,
          .by_upper = -part / length};
  if (region == 1) {
    const double left = std::sqrt(std::max(1e-14, 1.0 - part));
    row.t = 1.0 - left;
    for (double* slope : {&row.by_s, &row.by_lower, &row.by_upper})
      *slope *= 0.5 / left;
  } else if (region >= 2) {
    row.t = std::sqrt(std::max(1e-14, part));
    for (double* slope : {&row.by_s, &row.by_lower, &row.by_upper})
      *slope *= 0.5 / row.t;
  }
  return row;
}

double s_of(std::size_t region, double t, double lower, double upper) {
  const double part = region == 1 ? t * (2.0 - t) : region >= 2 ? t * t : t;
  return lower + (upper - lower) * part;
}

void fill_ends(std::vector<Node>& grid, std::size_t region) {
  const std::size_t rows = cells[region];
  const auto at = [&](std::size_t i, std::size_t j) -> Node& { return grid[i * width + j]; };
  for (std::size_t i = 1; i <= rows + 1; ++i) {
    at(i, 0) = beyond(at(i, 1), at(i, 2), at(i, 3));
    at(i, cells_c + 2) = beyond(at(i, cells_c + 1), at(i, cells_c), at(i, cells_c - 1));
  }
  for (std::size_t j = 0; j < width; ++j) {
    // No slope with t where the rows crowd.
    at(0, j) = region >= 2 ? at(2, j) : beyond(at(1, j), at(2, j), at(3, j));
    at(rows + 2, j) =
        region == 1 ? at(rows, j) : beyond(at(rows + 1, j), at(rows, j), at(rows - 1, j));
  }
}

Table make_table() {
  Table table{};
  for (std::size_t j = 1; j <= cells_c + 1; ++j) {
    const double c = static_cast<double>(j - 1) / cells_c;
    table.boundary[4][j] = 1.0;
    table.boundary[3][j] = std::min(boundary_s(c, Change::always_three), 1.0 - narrowest);
    table.boundary[2][j] = boundary_s(c, Change::no_pause);
    table.boundary[1][j] =
        std::min(boundary_s(c, Change::third_diode), table.boundary[2][j] - narrowest);
  }
  for (Columns& line : table.boundary) {
    line[0] = 3.0 * (line[1] - line[2]) + line[3];
    line[cells_c + 2] = 3.0 * (line[cells_c + 1] - line[cells_c]) + line[cells_c - 1];
  }
  for (std::size_t region = 0; region < regions; ++region) {
    std::vector<Node>& grid = table.grid[region];
    grid.resize((cells[region] + 3) * width);
    for (std::size_t i = 0; i <= cells[region]; ++i) {
      const double t = static_cast<double>(i) / static_cast<double>(cells[region]);
      for (std::size_t j = 1; j <= cells_c + 1; ++j) {
        const double s = s_of(region, t, table.boundary[region][j], table.boundary[region + 1][j]);
        grid[(i + 1) * width + j] = exact_node(s, static_cast<double>(j - 1) / cells_c);
      }
    }
    fill_ends(grid, region);
  }
  return table;
}

/// Values and slopes with the grid's own coordinates, both counted in cells.
struct Interpolated {
  double current;
  double square;
  double current_by_row;
  double current_by_column;
};

Interpolated interpolated(const std::vector<Node>& grid, const Cubic& by_row,
                          const Cubic& by_column, std::size_t first) {
  Interpolated sum{};
  for (std::size_t m = 0; m < 4; ++m) {
    const Node* node = &grid[first + m * width];
    double current = 0.0;
    double square = 0.0;
    double slope = 0.0;
    for (std::size_t n = 0; n < 4; ++n) {
      current += by_column.weight[n] * node[n].current;
      square += by_column.weight[n] * node[n].square;
      slope += by_column.slope[n] * node[n].current;
    }
    sum.current += by_row.weight[m] * current;
    sum.square += by_row.weight[m] * square;
    sum.current_by_row += by_row.slope[m] * current;
    sum.current_by_column += by_row.weight[m] * slope;
  }
  return sum;
}

struct Boundary {
  double s;
  double by_c;
};

Boundary boundary_at(const Columns& line, const Cubic& by_column, std::size_t first) {
  Boundary at{};
  for (std::size_t n = 0; n < 4; ++n) {
    at.s += by_column.weight[n] * line[first + n];
    at.by_c += by_column.slope[n] * line[first + n] * cells_c;
  }
  return at;
}

/// The same numbers in every run and thread: a constant that is only made when first wanted.
const Table& the_table() {
  static const Table table = make_table();
  return table;
}

}  // namespace

BridgeMeans bridge_means(const BridgePoint& point) {
  const Table& table = the_table();
  if (!(point.voltage < 1.0)) {
    return {.dc_current = 0.0, .dc_current_slope = 0.0, .line_current_square = 0.0};
  }
  const double s = std::sqrt(1.0 - std::max(0.0, point.voltage));
  const double opposing = point.reactance + balance * point.resistance * s;
  const double c = std::clamp(point.reactance / opposing, 0.0, 1.0);
  const double column = c * cells_c;
  const auto j = std::min(static_cast<std::size_t>(column), cells_c - 1);
  const Cubic by_column = cubic(column - static_cast<double>(j));
  std::size_t region = 0;
  Boundary lower{};
  Boundary upper = boundary_at(table.boundary[1], by_column, j);
  while (region + 1 < regions && s >= upper.s) {
    ++region;
    lower = upper;
    upper = boundary_at(table.boundary[region + 1], by_column, j);
    upper.s = std::max(upper.s, lower.s + narrowest);
  }
  const Row row = row_of(region, s, lower.s, upper.s);
  const auto rows = static_cast<double>(cells[region]);
  const double along = std::clamp(row.t, 0.0, 1.0) * rows;
  const auto i = std::min(static_cast<std::size_t>(along), cells[region] - 1);
  const Interpolated means = interpolated(table.grid[region], cubic(along - static_cast<double>(i)),
                                          by_column, i * width + j);
  // d/du = -1/(2 s) d/ds at fixed resistance and reactance, along which c and with it the
  // boundaries change too.
  const Scales scale = scales(s, point.resistance, point.reactance);
  const double share = balance * point.resistance / opposing;
  const double c_by_s = -c * share;
  const double row_by_s =
      rows * (row.by_s + (row.by_lower * lower.by_c + row.by_upper * upper.by_c) * c_by_s);
  const double by_s =
      scale.current * ((4.0 / s - share) * means.current + means.current_by_row * row_by_s +
                       means.current_by_column * cells_c * c_by_s);
  return {.dc_current = scale.current * means.current,
          .dc_current_slope = -0.5 * by_s / s,
          .line_current_square = scale.square * means.square};
}

BridgeGrid bridge_grid() {
  BridgeGrid grid;
  for (const Columns& line : the_table().boundary)
    grid.boundary.emplace_back(line.begin(), line.end());
  for (const std::vector<Node>& nodes : the_table().grid) {
    std::vector<double>& current = grid.current.emplace_back();
    std::vector<double>& square = grid.square.emplace_back();
    for (const Node& node : nodes) {
      current.push_back(node.current);
      square.push_back(node.square);
    }
  }
  return grid;
}

}  // namespace windwright::physics
