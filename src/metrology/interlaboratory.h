// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "metrology/agreement.h"
#include "metrology/outliers.h"
#include "metrology/robust.h"

#include <cstddef>
#include <optional>
#include <span>
#include <string>
#include <vector>

namespace windwright::metrology {

/// What one group (laboratory, team, operator) measured at one level of the quantity.
struct Cell {
  std::string group;
  std::vector<double> values;  // repeats, one or more
  std::optional<double> u;     // standard uncertainty that the group states for its mean
};

/// Mean and spread of one cell, and how both lie among the others.
struct CellStatistics {
  std::string group;
  std::size_t count;
  double mean;
  double standard_deviation;  // NaN for a single value
  double h;                   // Mandel's: (mean - mean of all cells) / standard deviation of means
  double k;                   // Mandel's: standard deviation / pooled one; NaN for a single value
};

/// Repeatability and reproducibility of one level. NaN where single values leave them open.
struct Precision {
  std::size_t groups;
  std::size_t values;
  double mean;                   // of all values
  double deviation_of_means;     // standard deviation of the cell means
  double repeatability;          // s_r
  double between;                // s_L, 0 where the means scatter less than s_r lets expect
  double reproducibility;        // s_R, root of s_r^2 + s_L^2
  double repeatability_limit;    // 2.8 s_r: two results of one group differ by less in 95 %
  double reproducibility_limit;  // 2.8 s_R: the same of two groups
};

/// A cell that a test finds too far out.
struct SuspectCell {
  std::size_t cell;
  std::string test;  // "Cochran" (its spread), or "Grubbs" (its mean)
  double statistic;
  double critical_5pct;
  double critical_1pct;
  Standing standing;
};

/// The assigned value that groups are scored against.
struct Assigned {
  double value;
  double u;                   // NaN: a reference of a single value that states none
  double standard_deviation;  // s* of the groups, the yardstick of z
  std::string basis;          // in words
};

/// z: difference from the assigned value over s*; z' with the assigned value's own uncertainty in
/// the yardstick, where that is above 0.3 s*. zeta and E_n where the group states its uncertainty
/// and that of the assigned value is known. Up to 2 (E_n: 1) satisfactory, from 3 on a call to act.
struct Score {
  std::string group;
  double z;
  std::optional<double> zeta;
  std::optional<double> en;
};

/// What h and k of one group exceed by chance; k is NaN where most cells have a single value.
struct MandelLimits {
  double h_5pct;
  double h_1pct;
  double k_5pct;
  double k_1pct;
};

struct LevelStudy {
  std::vector<CellStatistics> cells;
  MandelLimits limits;
  Precision all;  // of every cell
  /// Cochran's and Grubbs' test of all cells, whatever they find: statistic beside its critical
  /// values. None where there is nothing to test: no repeats, or no scatter among them.
  std::vector<SuspectCell> tests;
  std::vector<SuspectCell> suspects;
  std::vector<std::string> outliers;  // groups that the next leaves out
  std::optional<Precision> without_outliers;
  RobustMean robust;  // of the cell means, outliers included: it needs no verdict
  Assigned assigned;
  bool z_prime;                          // the scores are z'
  std::vector<Score> scores;             // (cells)
  std::optional<WeightedMean> weighted;  // of the means, where every group states its uncertainty
  bool calls_for_action;  // an outlier (1 %), a z or zeta of 3 or more, an E_n beyond 1
};

/// Repeatability and reproducibility (unequal numbers of repeats allowed).
/// @param cells  two or more
/// @throws BadInput  fewer
/// Source: ISO 5725-2:1994, 7.4.
Precision precision_of(std::span<const Cell> cells);

/// One level of an interlaboratory comparison: precision, Mandel's h and k, Cochran's test of the
/// largest spread and Grubbs' of the means, each repeated without the outliers found; robust mean
/// and scores. Nothing is left out silently: results stand with all cells, and beside them without
/// the outliers (1 %).
/// @param cells      three or more, one a group
/// @param reference  a value to score against instead of the robust mean; takes no part otherwise
/// @throws BadInput  fewer; a cell without values, or not finite
/// Source: ISO 5725-2:1994, 7; ISO 13528:2015, 7.7, 9.4 to 9.7. Checked in
/// tests/published/interlaboratory_test.cpp.
LevelStudy study_level(std::span<const Cell> cells,
                       const std::optional<Cell>& reference = std::nullopt);

}  // namespace windwright::metrology
