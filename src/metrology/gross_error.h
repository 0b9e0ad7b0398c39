// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "metrology/reconciliation.h"

#include <optional>
#include <string>
#include <vector>

namespace windwright::metrology {

/// One thing that may be wrong, and what it would do: a sensor that shifts every quantity made from
/// it, a modelled loss, a leak.
struct Fault {
  std::string name;
  /// (quantities) shift of each measured value by a fault of one unit; 1 where the fault is counted
  /// in the quantity's own unit, its standard uncertainty where it is counted in those
  std::vector<double> shift;
};

/// One fault a measured quantity, counted in its standard uncertainties, under the quantity's name.
std::vector<Fault> faults_of_single_quantities(const BalanceProblem& problem);

struct FaultTest {
  std::string name;
  /// Likelihood-ratio test of this fault alone: normal if there is no fault. Nothing where no
  /// balance answers to it.
  std::optional<double> test;
  double size;    // of the fault that explains most, in its units
  double u_size;  // 0 where nothing answers
  /// Size that the test finds with a chance of 90 %, in its units; 0 where nothing answers.
  double detectable_size;
  std::size_t group;  // index into the groups; faults that nothing answers to have none: no_group
};
inline constexpr std::size_t no_group = static_cast<std::size_t>(-1);

/// A fault that was found.
struct Finding {
  std::vector<std::string> names;  // more than one: the balances answer to them alike
  double test;
  double critical_value;
  double size;  // of the first named, estimated together with the findings before it
  double u_size;
  /// Faults that explain nearly as much: their likelihood is within that of a 95 % interval, so
  /// chance may have put them second.
  std::vector<std::string> also_possible;
};

struct GrossErrors {
  Reconciliation plain;                          // with every value believed
  std::vector<FaultTest> tests;                  // (faults), on that
  std::vector<std::vector<std::string>> groups;  // faults that no set of values can tell apart
  double critical_value;                         // of as many tests as there are groups, together
  std::vector<Finding> findings;  // in the order of finding; empty: no fault stands out
  Reconciliation corrected;       // with the findings' sizes set free; the plain one without any
  bool explained;  // the global test of `corrected` passes, or nothing is left to test
};

/// Looks for gross errors one at a time: the likelihood-ratio test of every fault; the fault with
/// the largest, if above the critical value for all of them together, is found; its size is set
/// free (for a sensor of one quantity: the measurement is eliminated) and the rest is tested again.
///
/// Faults whose shifts the balances answer to alike (correlation of the answers 1 to rounding) have
/// the same test whatever the values are: they are named together. Why likelihood ratios: a sensor
/// may enter several quantities (one voltage, three powers), which tests of single measurements
/// cannot express; for a fault of one quantity it is the measurement test of maximum power. Why
/// sizes set free rather than subtracted: earlier findings are estimated again, so a wrong size
/// does not pull the next one after it.
/// @param faults  shifts of measured quantities only; at least one of them not 0
/// @throws BadInput  as reconcile; shifts that do not fit the quantities, are not finite or all 0
/// Source: Narasimhan and Mah, Generalized likelihood ratio method for gross error identification,
/// AIChE J. 33 (1987) 1514; serial elimination: Rosenberg, Mah, Iordache, Ind. Eng. Chem. Res. 26
/// (1987) 555; several at once: Narasimhan and Jordache, Data Reconciliation and Gross Error
/// Detection (2000), ch. 8 (all from memory).
GrossErrors find_gross_errors(const BalanceProblem& problem, const std::vector<Fault>& faults,
                              const TestLevels& levels = {});

}  // namespace windwright::metrology
