// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "metrology/estimate.h"
#include "metrology/gross_error.h"
#include "metrology/reconciliation.h"

#include <boost/json/fwd.hpp>

#include <map>
#include <optional>
#include <set>
#include <string>
#include <utility>
#include <vector>

namespace windwright::analysis {

/// What a stage loses or stores, in W: nothing, an amount that the balances must tell, or an
/// estimate (a model's, or from measured speeds or voltages at the window's ends).
struct StagePart {
  enum class Kind { none, unknown, estimated };
  Kind kind = Kind::none;
  metrology::Estimate watts;  // where estimated

  static StagePart unknown() { return {.kind = Kind::unknown, .watts = {}}; }
  static StagePart of(metrology::Estimate watts) {
    return {.kind = Kind::estimated, .watts = std::move(watts)};
  }
};

/// Where power goes in and out: in = out + lost + stored. A stage that nothing flows into is a
/// source, one that nothing leaves and that neither loses nor stores a sink: they have no balance.
struct StageDescription {
  std::string name;  // "rectifier"; unique in its window
  StagePart lost = {};
  StagePart stored = {};  // positive while it fills
};

/// Power from one stage to the next, positive that way (a battery's is negative while it feeds).
struct FlowDescription {
  std::string from;
  std::string to;
  std::vector<metrology::Estimate> readings_W = {};  // of one or more instruments; none: unmeasured
  std::string basis = {};                            // in words; empty: "measured"
};

/// Means of other quantities than power, that further balances tie: voltages of one bus, currents
/// of one branch or node, electrical frequency and rotor speed. Nothing: not measured.
struct Tie {
  std::string name;
  std::map<std::string, double> coefficients;  // by quantity; their sum of products is 0
};

/// A chain of stages over one window: every power a mean of products of samples, every Estimate
/// with its inputs by name, so that powers of one sensor know of each other.
struct ChainWindow {
  std::string label;  // "12 s to 32 s"; unique
  std::vector<StageDescription> stages;
  std::vector<FlowDescription> flows;
  std::map<std::string, std::optional<metrology::Estimate>> quantities = {};
  std::vector<Tie> ties = {};
};

/// Watts at one stage; nothing where they are not known.
struct StagePowers {
  std::optional<metrology::Estimate> in_W;
  std::optional<metrology::Estimate> out_W;
  std::optional<metrology::Estimate> lost_W;
  std::optional<metrology::Estimate> stored_W;
  std::optional<metrology::Estimate>
      efficiency;  // out over in less stored; nothing where that is not above 0, or where nothing
                   // can be lost or stored
};

struct ChainStage {
  std::string name;
  StagePowers measured;  // and modelled, as they came in
  StagePowers reconciled;
};

struct ChainFlow {
  std::string from;
  std::string to;
  std::optional<metrology::Estimate> measured_W;  // the first reading
  std::optional<metrology::Estimate> reconciled_W;
  metrology::Standing standing;
  std::string basis;  // "measured", as described, or "balance"
};

struct EnergyChain {
  std::string label;
  std::vector<ChainStage> stages;
  std::vector<ChainFlow> flows;
};

/// What stands out of the balances. Fault names are channels, or inputs of models in full
/// ("generator:rectifier-loss").
struct Suspect {
  std::vector<std::string> names;  // more than one: these balances cannot tell them apart
  double test;                     // normal test, and its critical value for all faults together
  double critical_value;
  double size;    // how far off the first named is, in its standard uncertainties, with sign:
  double u_size;  // above 0, it reads (or the model says) too much
  std::vector<std::string>
      also_possible;   // explain nearly as much; chance may have put them second
  std::string enters;  // "rectifier to DC load, 12 s to 32 s"
  double shift_W;      // what it adds there
};

struct ChainStudy {
  std::vector<EnergyChain> windows;
  std::optional<metrology::GlobalTest> global;  // nothing: no power is measured twice
  std::vector<Suspect> suspects;
  bool explained;                      // nothing is wrong, or the suspects alone are
  std::vector<std::string> unchecked;  // faults that no balance answers to
  std::vector<std::vector<std::string>>
      inseparable;                           // faults that these balances cannot tell apart
  std::map<std::string, double> detectable;  // fault: size found in 9 of 10 cases, in its standard
                                             // uncertainties
};

struct ChainOptions {
  /// Sensors: an input `dc_voltage_V:standard` of an Estimate is that channel's. Every other input
  /// that is not random (a model's, a radius) is a fault of its own.
  std::set<std::string> channels;
  /// A sound bench is suspected in 4 of 100 studies at most: Sidak's share is nearly exact here, so
  /// 0.95 would put false alarms at 5 %, not below.
  metrology::TestLevels levels = {.level = 0.95, .family_level = 0.96};
  /// The chains' powers, which take longer than the tests; without them `windows` stays empty.
  bool powers = true;
};

/// Reconciles one window, or several together: what is wrong with a sensor is wrong in all of them,
/// so windows in different states (branches switched in turn, strong and weak wind) check each
/// other where one window alone cannot. Method, layouts that name a sensor and layouts that do not:
/// docs/theory/reconciliation.md.
/// @throws BadInput  no window; two of one label; unknown or repeated stages; a tied quantity that
///                   is not there; an estimate without stated uncertainty; as metrology::reconcile
ChainStudy study_energy_chain(const std::vector<ChainWindow>& windows, const ChainOptions& options);

/// Flows and stages as lists, easy to draw: `{"windows": [{"label", "stages": [{"name", "measured",
/// "reconciled"}], "flows": [{"from", "to", "measured_W", "reconciled_W", "standing", "basis"}]}],
/// "global_test", "suspects", "explained", "unchecked", "inseparable", "detectable"}`; every power
/// a quantity as in metrology/quantity.h, null where unknown.
boost::json::value to_json(const ChainStudy& study);

/// The same as lines for a reader.
std::string study_text(const ChainStudy& study);

}  // namespace windwright::analysis
