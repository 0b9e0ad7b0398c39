// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <optional>
#include <string>
#include <vector>

namespace windwright::metrology {

/// Quantities x, measured or not, and linear balances A x = c that the true values obey. Units are
/// the caller's own: each balance adds up quantities of one unit. docs/theory/reconciliation.md.
struct BalanceProblem {
  std::vector<std::string> quantities;
  std::vector<std::optional<double>> measured;  // (quantities); nothing where not measured
  /// quantities x quantities, row by row, of the measured values; symmetric, positive semidefinite
  /// (values that share all their inputs may be fully correlated). Rows of unmeasured quantities
  /// are not read.
  std::vector<double> covariance;
  std::vector<std::string> balances;
  std::vector<double> coefficients;    // A, balances x quantities, row by row
  std::vector<double> constants = {};  // c, (balances); empty: all 0
};

enum class FamilyControl { sidak, bonferroni };

struct TestLevels {
  double level = 0.95;         // of a test alone, in (0, 1): VDI 2048 uses 0.95
  double family_level = 0.95;  // of tests of many, together
  /// How that is shared among them. Sidak's is exact for independent tests and safe for correlated
  /// normal ones; Bonferroni's is safe for any.
  FamilyControl family = FamilyControl::sidak;
};

/// What the balances say about one quantity.
enum class Standing {
  redundant,      // measured, and checked by the others
  not_redundant,  // measured, and checked by none: a gross error of it cannot be seen
  observable,     // not measured, but solved for
  unobservable    // not measured, and the balances leave it open
};

struct ReconciledQuantity {
  std::string name;
  Standing standing;
  std::optional<double> value;  // nothing where unobservable
  double u;                     // 0 where unobservable
  double improvement;           // reconciled less measured; 0 where not measured
  double u_improvement;         // 0 where not improved
  /// |improvement| over u_improvement: the measurement test. Nothing where not redundant.
  std::optional<double> test;
  /// The same of the shift that explains most: the measurement test of maximum power; equal to
  /// `test` without correlations.
  std::optional<double> max_power_test;
};

struct ReconciledBalance {
  std::string name;
  std::optional<double> residual;    // A x - c of the measured values; nothing with unmeasured ones
  std::optional<double> u_residual;  // from the covariance of the measured values
  std::optional<double> nodal_test;  // |residual| over u_residual
};

struct GlobalTest {
  double statistic;  // J: the least sum of squares of the improvements, in their uncertainties
  int dof;           // redundant balances
  double critical_value;
  bool passed;
};

struct CriticalValues {
  double single;        // of one test alone
  double measurements;  // of as many as there are redundant quantities, together
  double balances;      // of as many as there are nodal tests, together
};

struct Reconciliation {
  std::vector<ReconciledQuantity> quantities;  // in the problem's order
  std::vector<double> covariance;  // of the reconciled values, quantities x quantities, row by row;
                                   // 0 where unobservable
  std::vector<double> sensitivity;  // d reconciled / d measured, quantities x quantities, row by
                                    // row: reconciled values of Estimates are sums with these
  std::vector<ReconciledBalance> balances;
  std::optional<GlobalTest> global;  // nothing without redundancy
  CriticalValues critical;
  /// How J answers to shifts s of the measured values: J(x - s) = J - 2 gradient s + s curvature s.
  std::vector<double> gradient;   // (quantities)
  std::vector<double> curvature;  // quantities x quantities, row by row
};

/// Weighted least squares under linear balances: the values next to the measured ones, in the
/// metric of their covariance, that obey the balances. Unmeasured quantities are projected out by
/// an orthogonal decomposition and solved for where the balances determine them.
/// @throws BadInput  sizes that do not fit; values that are not finite; a variance of 0 or below; a
///                   covariance that is not symmetric or not positive semidefinite; a balance that
///                   is empty or follows from the others; balances that the covariance takes as
///                   free of uncertainty; a level outside (0, 1)
/// Source: VDI 2048 Part 1 (2000) for improvements and the global and single tests; unmeasured
/// quantities: Crowe, Garcia Campos, Hrymak, Reconciliation of process flow rates by matrix
/// projection, AIChE J. 29 (1983) 881; QR: Sanchez and Romagnoli, Comput. Chem. Eng. 20 (1996) 493;
/// measurement tests: Mah and Tamhane, AIChE J. 28 (1982) 828; nodal test: Reilly and Carpani
/// (1963), Mah, Stanley, Downing, Ind. Eng. Chem. Process Des. Dev. 15 (1976) 175 (all from
/// memory). Checked in tests/published/reconciliation_test.cpp.
Reconciliation reconcile(const BalanceProblem& problem, const TestLevels& levels = {});

/// Two-sided critical value of a normal test where `tests` of them share the level.
/// @param tests  1 or above
double family_critical_value(const TestLevels& levels, int tests);

}  // namespace windwright::metrology
