// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

namespace windwright::physics {

struct PolarRow {
  double reynolds;
  double alpha_rad;  // -pi to pi
  double cl;
  double cd;
};

struct SectionForce {
  double cl;
  double cd;
};

/// One Reynolds number's rows. What a wind tunnel gives as nearly the same Reynolds number is one
/// table: rows within 3 % of the lowest are taken together at their geometric mean.
struct PolarTable {
  double reynolds;
  double lowest_alpha_rad;
  double highest_alpha_rad;
  std::size_t rows;
};

/// A polar's tables as plain arrays, for code that reads many angles at once. A node is an angle at
/// which all tables have a value; between nodes everything is linear.
struct PolarArrays {
  const double* alpha_rad;    // (nodes) ascending, -pi to pi
  const std::int64_t* first;  // (bins + 1) last node at or before the start of an even bin
  const double* cl;           // nodes x tables, a node's tables side by side; so the next two
  const double* cd;
  const double* lift_deficit;
  const double* log_reynolds;  // (tables) ascending
  std::int64_t nodes;
  std::int64_t tables;
  double bins_per_rad;
};

/// Lift and drag of a blade section against angle of attack and Reynolds number.
///
/// Between rows linear in the angle, between tables linear in the logarithm of the Reynolds number;
/// below the lowest and above the highest Reynolds number the nearest table holds. Rows that give
/// the same angle twice (hysteresis) count with their mean.
///
/// Beyond its rows a table is continued to +-180 degrees, without a step, after Viterna and
/// Corrigan, Fixed pitch rotor performance of large horizontal axis wind turbines (DOE/NASA
/// Workshop on Large Horizontal Axis Wind Turbines, Cleveland 1981): a plate of the blade's aspect
/// ratio AR, cd_max = 1.11 + 0.018 AR (2.01 above AR 50), cl = cd_max sin a cos a, cd = cd_max
/// sin^2 a, and what the last row has more than that dies away with cos^2 a / sin a (lift) and cos
/// a (drag) up to 90 degrees; on the negative side the same mirrored. Past 90 degrees the plate
/// alone. Where the last row lies within 5 degrees of zero or beyond 60 that formula is singular;
/// there the excess fades linearly over 20 degrees. Drag never falls below the table's least. Where
/// that leaves +180 and -180 degrees, which are one angle, with two values, their mean holds there.
///
/// The lift deficit is what stall takes: the line of attached lift, slope times sin(alpha -
/// alpha0), less the table's lift, where that is positive (mirrored below alpha0, the angle of no
/// lift). The slope is the steepest from alpha0 to a row 2 to 8 degrees above it, 2 pi at most.
/// Beyond 30 degrees from alpha0 it fades to none at 60. A table without such a line, as one of
/// constant lift, has no deficit. Rotation gives part of it back: physics/rotor.h.
///
/// Immutable once made: any number of threads may read it. Looking up allocates nothing.
class Polar {
 public:
  /// @param rows          in any order, at least one; cd not negative
  /// @param aspect_ratio  blade length over mean chord, for the continuation
  /// @throws BadInput     no rows, or a number out of its range
  explicit Polar(std::vector<PolarRow> rows, double aspect_ratio = 10.0);

  /// Where a Reynolds number lies between the tables.
  struct Position {
    std::uint32_t lower;   // table
    std::uint32_t higher;  // table, the same one outside the range
    double weight;         // of the higher one
  };
  /// @param reynolds  above 0; anything else counts as below the range
  Position position(double reynolds) const;

  /// @param alpha_rad  any finite angle
  SectionForce at(double alpha_rad, Position position) const;
  SectionForce at(double alpha_rad, double reynolds) const {
    return at(alpha_rad, position(reynolds));
  }

  /// See above; not negative above the angle of no lift, not positive below.
  double lift_deficit(double alpha_rad, Position position) const;

  /// Valid as long as this polar.
  PolarArrays arrays() const;

  double lowest_reynolds() const { return tables_.front().reynolds; }
  double highest_reynolds() const { return tables_.back().reynolds; }
  std::span<const PolarTable> tables() const { return tables_; }  // Reynolds number ascending

 private:
  struct Place {
    std::size_t node;
    double along;  // from this node to the next
  };
  Place place(double alpha_rad) const;
  double blend(const std::vector<double>& part, Place place, Position position) const;
  void lay_out(const std::vector<std::vector<PolarRow>>& groups, double aspect_ratio);
  void join_ends(std::size_t tables);
  void index_angles();

  std::vector<PolarTable> tables_;
  std::vector<double> log_reynolds_;  // (tables)
  std::vector<double> alpha_rad_;     // (nodes), -pi to pi: angles of all tables together
  std::vector<double> cl_;            // nodes x tables, a node's tables side by side
  std::vector<double> cd_;
  std::vector<double> lift_deficit_;
  std::vector<std::int64_t> first_;  // (bins of angle + 1) last node at or before the bin's start
};

}  // namespace windwright::physics
