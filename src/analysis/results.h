// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "analysis/points.h"
#include "bench/bench.h"
#include "campaign/campaign.h"
#include "metrology/estimate.h"
#include "physics/rotor.h"

#include <boost/json/fwd.hpp>

#include <map>
#include <optional>
#include <string>
#include <vector>

namespace windwright::analysis {

// An Estimate without contributions stands for a value whose uncertainty nobody stated: it is
// shown as "not stated" (null in JSON), never as zero.

/// What one stage of the energy chain passes on.
struct Stage {
  std::string name;  // wind, rotor (shaft power), generator (AC terminals), DC bus
  metrology::Estimate power_W;
  metrology::Estimate
      efficiency;     // this power over the stage before (over the wind for the rotor: Cp)
  std::string basis;  // "measured", or "measured plus modelled losses"
};

struct TheoryPoint {
  double tip_speed_ratio;
  double cp_shaft;
  double cp_electrical;  // NaN without a generator, or where it cannot hold this point
};

/// A point of a closed section, as the same rotor would show it in open air at the same rotor
/// speed: docs/theory/tunnel.md.
struct CorrectedPoint {
  metrology::Estimate speed_ratio;  // open-air over tunnel speed
  metrology::Estimate free_air_speed_m_s;
  metrology::Estimate tip_speed_ratio;
  std::optional<metrology::Estimate> cp_electrical;
  std::optional<metrology::Estimate> cp_shaft;
  std::optional<metrology::Estimate> ct;  // where thrust was measured
  metrology::Estimate ct_of_correction;   // on the tunnel's speed: what the correction starts from
  std::string thrust_basis;               // of that: "measured", or "theory"
  bool held;  // beyond the theory: corrected by the most that it supports
};

/// The closed section that the points were measured in.
struct Section {
  double section_area_m2;
  double blockage;    // swept area over it
  double largest_cp;  // on the tunnel's speed, that a rotor can show there
};

struct PointResult {
  int number;
  int blade_count;
  double pitch_deg;
  std::map<std::string, double> block_settings;  // other hard-to-change actuators
  std::map<std::string, double> settings;        // other actuators
  bool settled;
  metrology::Estimate air_density_kg_m3;
  metrology::Estimate air_speed_m_s;
  metrology::Estimate rotor_speed_rad_s;
  metrology::Estimate wind_power_W;
  metrology::Estimate tip_speed_ratio;
  std::optional<metrology::Estimate> dc_power_W;
  std::optional<metrology::Estimate> cp_electrical;  // DC power over wind power
  std::optional<metrology::Estimate>
      shaft_power_W;  // from torque, or DC power plus modelled losses
  std::optional<metrology::Estimate> shaft_torque_N_m;
  std::optional<metrology::Estimate> cp_shaft;
  std::optional<metrology::Estimate> ct;
  std::vector<Stage> stages;  // wind first
  double dynamic_viscosity_Pa_s;
  TheoryPoint theory;  // at this point's own tip-speed ratio, in its curve's mean air
  std::optional<CorrectedPoint> corrected = std::nullopt;  // closed sections
};

/// All points of one blade count, pitch and other hard-to-change settings, by tip-speed ratio.
struct Curve {
  std::string label;  // "3 blades, 5 deg"; other settings only where curves differ in them
  int blade_count;
  double pitch_deg;
  std::map<std::string, double> block_settings;
  std::vector<PointResult> points;
  std::string stage;  // which cp is fitted: "electrical", or "shaft"
  std::optional<metrology::Estimate> optimum_tip_speed_ratio;  // none: the maximum is not inside
  metrology::Estimate maximum_cp;
  std::string maximum_basis;  // in words: from the fit, or the largest measured point and why
  std::vector<double> fit;    // cp polynomial in tip-speed ratio, rising powers; empty: no fit
  double fit_range[2] = {0.0, 0.0};  // of the points fitted
  double fit_u_scatter = 0.0;        // standard deviation of the points about the fit
  std::vector<TheoryPoint> theory;   // for this very bench, at the curve's mean air state and speed
};

struct BudgetLine {
  std::string input;
  std::string meaning;  // in words
  double u;             // contribution to the result's standard uncertainty
  double share_pct;     // of the variance
};

/// One pair of levels.
struct Difference {
  std::string a;  // "3 blades, 5 deg"
  std::string b;
  metrology::Estimate difference;  // a - b
  double expanded;  // at the question's level, adjusted for the number of pairs (Bonferroni)
  bool significant;
};

/// One combination of levels that was compared.
struct Compared {
  std::map<std::string, double> levels;                        // by factor
  metrology::Estimate maximum_cp;                              // mean of its curves' maxima
  std::optional<metrology::Estimate> optimum_tip_speed_ratio;  // of the only curve that it has
  bool may_be_best;  // the best, or not shown to be worse than it
};

/// One level of a factor gives more than the others, whatever the other factors are.
struct Winner {
  std::string factor;
  double level;
  std::vector<double> others;
};

struct Verdict {
  std::string question;
  /// Which answer it is, for readers of another language: decided, not_decided, no_uncertainty,
  /// one_setting.
  std::string code;
  std::string answer;              // in words, with numbers
  metrology::Estimate difference;  // best minus second best
  double expanded;
  bool significant;
  std::vector<Difference> differences;
  std::string response = {};            // electrical, shaft: which power coefficient
  double level = 0.0;                   // of all pairs together, that `expanded` is for
  std::vector<Compared> compared = {};  // the best first
  std::vector<Winner> winners = {};
};

struct Results {
  std::vector<Curve> curves;
  std::vector<Curve> open_air_curves;  // the same of the corrected points; closed sections only
  std::optional<Section> section;      // none: open jet or open air, nothing is corrected
  std::optional<Verdict> verdict;      // runs with a question
  std::optional<Verdict> corrected_verdict;  // the same question to the open-air curves
  std::vector<BudgetLine> budget;            // of the best curve's maximum cp
  std::string budget_of;                     // which
  std::vector<BudgetLine> corrected_budget;  // of the best open-air curve's maximum
  std::string corrected_budget_of;
  std::vector<std::string> remarks;  // what a reader must know: what was not stated, left out, ...
};

/// Points measured elsewhere (no generator model, no question), or a run's. `bench` may be null:
/// then geometry comes from the rotor and there are no modelled losses.
struct ReductionInput {
  std::vector<Point> points;
  physics::Rotor rotor;
  double u_tip_radius_m = 0.0;
  const bench::Bench* bench = nullptr;
  const campaign::Question* question = nullptr;
  /// Closed section where the points were measured. Left out: the bench's, else none.
  std::optional<double> section_area_m2 = std::nullopt;
  /// Predictions beside points and curves: most of the work. Left out they are NaN and empty.
  bool with_theory = true;
};
/// @throws BadInput  no points; an unknown response in the question; a section that the rotor does
///                   not fit into
Results reduce(const ReductionInput& input);

/// INTERFACES of `reduce --json` and results.json: the same results, the same bytes; nothing in it
/// depends on when or where it was made.
boost::json::value to_json(const Results& results);
/// One row a point: tip-speed ratio, cp by stage, with uncertainties, and the theory beside it.
std::string curves_csv(const Results& results);

}  // namespace windwright::analysis
