// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "analysis/points.h"
#include "analysis/results.h"
#include "base/clock.h"
#include "campaign/conductor.h"
#include "metrology/agreement.h"
#include "metrology/estimate.h"

#include <boost/json/fwd.hpp>

#include <cstddef>
#include <map>
#include <optional>
#include <string>
#include <vector>

namespace windwright::analysis {

/// When a sensor was used under a certificate, and how long that holds: what a drift hangs on.
struct CertificateAge {
  base::UtcTime used;
  double validity_s;
};

/// A reduced run with what made its systematic errors.
struct RunToCompare {
  std::string name;
  Results results;
  /// By systematic input: what its error hangs on, as text. Runs with the same text have the error
  /// in common; an input that is left out belongs to its run alone.
  std::map<std::string, std::string> origins;
  std::map<std::string, CertificateAge> ages;  // of the inputs `CHANNEL:drift`
};

/// A run from its folder. Calibration and residual hang on the certificate's whole text, the
/// standard's error on the standard (so that it stays common after a new calibration with it),
/// position, profile, modelled losses and walls on the bench's description, the tip radius on the
/// rotor's; the density equation is everybody's.
/// @throws BadInput  as reduce
RunToCompare run_to_compare(const campaign::Run& run, std::string name);

/// Points from elsewhere. A file does not say which sensor a name means, so two files have nothing
/// in common but the density equation, unless the caller knows better.
/// @param input         predictions are not needed
/// @param same_sensors  systematic inputs of one name are one error in all files given so
RunToCompare points_to_compare(const ReductionInput& input, std::string name, bool same_sensors);

/// One pair of runs at one setting: a - b.
struct RunDifference {
  std::size_t a;  // index of the run
  std::size_t b;
  metrology::Agreement maximum_cp;
  double u_if_independent;  // of the difference of maxima, were nothing in common
  std::optional<metrology::Agreement> optimum_tip_speed_ratio;
};

/// The curves of one setting, in two or more runs. Estimates are those of the runs, their inputs
/// renamed so that common errors have common names.
struct ComparedCurve {
  std::string label;
  std::string stage;                                                        // which cp
  std::vector<std::size_t> runs;                                            // that have it
  std::vector<metrology::Estimate> maximum_cp;                              // (runs)
  std::vector<std::optional<metrology::Estimate>> optimum_tip_speed_ratio;  // (runs)
  std::vector<RunDifference> differences;                                   // all pairs
  std::optional<metrology::WeightedMean> mean_cp;  // where every run has a random part
  std::vector<BudgetLine> budget;                  // of the first difference of maxima
};

struct RunComparison {
  std::vector<std::string> runs;
  bool open_air;  // corrected for tunnel walls, because a run comes from a closed section
  std::vector<ComparedCurve> curves;
  std::vector<std::string> common;  // inputs that two or more runs have in common
  std::vector<std::string> remarks;
  /// False: an E_n beyond 1. Nothing: none, but one is not known, or nothing is compared.
  std::optional<bool> agree;
};

/// Largest cp and optimum tip-speed ratio of every setting that two or more runs have, pair by
/// pair, with the uncertainty of the difference: errors in common drop out of it. Where each run
/// has a single curve these are compared whatever their settings. The drift of a sensor counts as a
/// random walk: of its variance at the end of the certificate, the part that the time between the
/// first and the last of the runs allows lies between them, the rest is common.
/// docs/theory/comparison.md has the equations.
/// @param runs  two or more
/// @throws BadInput  fewer; no setting in common
RunComparison compare_runs(const std::vector<RunToCompare>& runs);

boost::json::value to_json(const RunComparison& comparison);

}  // namespace windwright::analysis
