// SPDX-License-Identifier: Apache-2.0
#include "analysis/energy_chain.h"

#include "base/errors.h"
#include "metrology/estimate.h"
#include "metrology/gross_error.h"
#include "metrology/reconciliation.h"

#include <Eigen/Dense>
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <map>
#include <optional>
#include <set>
#include <string>
#include <utility>
#include <vector>

namespace windwright::analysis {

namespace {

using metrology::Estimate;

constexpr std::size_t absent = static_cast<std::size_t>(-1);

// Places among the quantities of all windows.
struct StagePlaces {
  std::size_t lost = absent;
  std::size_t stored = absent;
};
struct WindowPlaces {
  std::vector<StagePlaces> stages;
  std::vector<std::size_t> flows;  // of the first reading
};

// Quantities and balances of all windows, as they are gathered.
struct Gathered {
  std::vector<std::string> names;
  std::vector<std::optional<Estimate>> values;
  std::vector<std::string> words;  // for a flow: where it goes
  std::vector<std::string> balance_names;
  std::vector<std::map<std::size_t, double>> balances;
  std::vector<WindowPlaces> windows;

  std::size_t add(std::string name, std::optional<Estimate> value, std::string flow = {}) {
    if (value && !(value->u() > 0.0)) {
      throw base::BadInput(name, "has no stated uncertainty",
                           "a certificate or a model with its uncertainty: balances weigh by it");
    }
    names.push_back(std::move(name));
    values.push_back(std::move(value));
    words.push_back(std::move(flow));
    return names.size() - 1;
  }
  void bind(std::string name, std::map<std::size_t, double> coefficients) {
    balance_names.push_back(std::move(name));
    balances.push_back(std::move(coefficients));
  }
};

std::size_t stage_index(const ChainWindow& window, const std::string& name) {
  const auto found = std::find_if(window.stages.begin(), window.stages.end(),
                                  [&](const auto& stage) { return stage.name == name; });
  if (found == window.stages.end()) {
    throw base::BadInput(window.label, fmt::format("a flow names the stage \"{}\"", name),
                         "a stage that is described");
  }
  return static_cast<std::size_t>(found - window.stages.begin());
}

std::size_t add_part(const ChainWindow& window, const std::string& name, const StagePart& part,
                     Gathered& all) {
  if (part.kind == StagePart::Kind::none) return absent;
  const bool estimated = part.kind == StagePart::Kind::estimated;
  return all.add(fmt::format("{}, {}", name, window.label),
                 estimated ? std::optional(part.watts) : std::nullopt);
}

void add_flows(const ChainWindow& window, WindowPlaces& places, Gathered& all) {
  for (const FlowDescription& flow : window.flows) {
    const std::string name = fmt::format("{} to {}, {}", flow.from, flow.to, window.label);
    if (flow.readings_W.empty()) {
      places.flows.push_back(all.add(name, std::nullopt, name));
      continue;
    }
    const std::size_t first = all.add(name, flow.readings_W.front(), name);
    places.flows.push_back(first);
    for (std::size_t i = 1; i < flow.readings_W.size(); ++i) {
      const std::string other = fmt::format("{}, reading {}", name, i + 1);
      all.bind(other, {{first, 1.0}, {all.add(other, flow.readings_W[i], name), -1.0}});
    }
  }
}

void bind_stages(const ChainWindow& window, const WindowPlaces& places, Gathered& all) {
  for (std::size_t s = 0; s < window.stages.size(); ++s) {
    std::map<std::size_t, double> coefficients;
    bool in = false;
    bool out = false;
    for (std::size_t f = 0; f < window.flows.size(); ++f) {
      if (stage_index(window, window.flows[f].to) == s) {
        coefficients[places.flows[f]] += 1.0;
        in = true;
      }
      if (stage_index(window, window.flows[f].from) == s) {
        coefficients[places.flows[f]] -= 1.0;
        out = true;
      }
    }
    const StagePlaces& parts = places.stages[s];
    if (parts.lost != absent) coefficients[parts.lost] = -1.0;
    if (parts.stored != absent) coefficients[parts.stored] = -1.0;
    const bool keeps = parts.lost != absent || parts.stored != absent;
    if (!in || !(out || keeps)) continue;
    all.bind(fmt::format("{}, {}", window.stages[s].name, window.label), std::move(coefficients));
  }
}

void bind_ties(const ChainWindow& window, Gathered& all) {
  std::map<std::string, std::size_t> places;
  for (const auto& [name, value] : window.quantities)
    places[name] = all.add(fmt::format("{}, {}", name, window.label), value);
  for (const Tie& tie : window.ties) {
    std::map<std::size_t, double> coefficients;
    for (const auto& [name, coefficient] : tie.coefficients) {
      const auto found = places.find(name);
      if (found == places.end()) {
        throw base::BadInput(tie.name, fmt::format("ties \"{}\"", name),
                             "a quantity of its window");
      }
      coefficients[found->second] = coefficient;
    }
    all.bind(fmt::format("{}, {}", tie.name, window.label), std::move(coefficients));
  }
}

Gathered gathered(const std::vector<ChainWindow>& windows) {
  if (windows.empty()) throw base::BadInput("energy chain", "has no window", "one or more");
  Gathered all;
  std::set<std::string> labels;
  for (const ChainWindow& window : windows) {
    if (!labels.insert(window.label).second) {
      throw base::BadInput(window.label, "is there twice", "a label of its own for every window");
    }
    std::set<std::string> names;
    WindowPlaces places;
    for (const StageDescription& stage : window.stages) {
      if (!names.insert(stage.name).second) {
        throw base::BadInput(stage.name, "is described twice", "one description a stage");
      }
      const StagePlaces parts{
          .lost = add_part(window, stage.name + " loss", stage.lost, all),
          .stored = add_part(window, stage.name + " storage", stage.stored, all)};
      places.stages.push_back(parts);
    }
    add_flows(window, places, all);
    bind_stages(window, places, all);
    bind_ties(window, all);
    all.windows.push_back(std::move(places));
  }
  return all;
}

// All inputs of all quantities: what each adds to each quantity's standard uncertainty.
struct Inputs {
  std::vector<std::string> names;
  std::vector<double> dof;
  Eigen::MatrixXd parts;  // quantities x inputs
};

Inputs inputs_of(const Gathered& all) {
  std::map<std::string, Eigen::Index> places;
  for (const auto& value : all.values) {
    if (!value) continue;
    for (const auto& [input, contribution] : value->contributions())
      places.emplace(input, 0);
  }
  Inputs inputs;
  for (auto& [input, place] : places) {
    place = static_cast<Eigen::Index>(inputs.names.size());
    inputs.names.push_back(input);
  }
  inputs.dof.assign(places.size(), std::numeric_limits<double>::infinity());
  inputs.parts = Eigen::MatrixXd::Zero(static_cast<Eigen::Index>(all.values.size()),
                                       static_cast<Eigen::Index>(places.size()));
  for (std::size_t i = 0; i < all.values.size(); ++i) {
    if (!all.values[i]) continue;
    for (const auto& [input, contribution] : all.values[i]->contributions()) {
      const Eigen::Index place = places.at(input);
      inputs.parts(static_cast<Eigen::Index>(i), place) = contribution.u;
      double& dof = inputs.dof[static_cast<std::size_t>(place)];
      dof = std::min(dof, contribution.dof);
    }
  }
  return inputs;
}

using RowMajor = Eigen::Matrix<double, Eigen::Dynamic, Eigen::Dynamic, Eigen::RowMajor>;

metrology::BalanceProblem problem_of(const Gathered& all, const Inputs& inputs) {
  const std::size_t count = all.names.size();
  metrology::BalanceProblem problem{
      .quantities = all.names,
      .measured = {},
      .covariance = std::vector<double>(count * count),
      .balances = all.balance_names,
      .coefficients = std::vector<double>(all.balances.size() * count, 0.0)};
  for (const auto& value : all.values)
    problem.measured.push_back(value ? std::optional(value->value()) : std::nullopt);
  const auto size = static_cast<Eigen::Index>(count);
  Eigen::Map<RowMajor>(problem.covariance.data(), size, size) =
      inputs.parts * inputs.parts.transpose();
  for (std::size_t b = 0; b < all.balances.size(); ++b) {
    for (const auto& [place, coefficient] : all.balances[b])
      problem.coefficients[b * count + place] = coefficient;
  }
  return problem;
}

// A sensor's inputs (its standard, its curve, its drift) shift what it enters by slightly different
// patterns. As one fault they shift each quantity by their common standard uncertainty, with the
// sign that they have beside the first quantity.
metrology::Fault fault_of(const std::string& name, const std::vector<Eigen::Index>& of_fault,
                          const Inputs& inputs) {
  const Eigen::MatrixXd parts = inputs.parts(Eigen::all, of_fault);
  metrology::Fault fault{.name = name,
                         .shift = std::vector<double>(static_cast<std::size_t>(parts.rows()))};
  Eigen::Index first = 0;
  while (first + 1 < parts.rows() && parts.row(first).isZero(0.0))
    ++first;
  for (Eigen::Index i = 0; i < parts.rows(); ++i) {
    fault.shift[static_cast<std::size_t>(i)] =
        std::copysign(parts.row(i).norm(), parts.row(i).dot(parts.row(first)));
  }
  return fault;
}

std::vector<metrology::Fault> faults_of(const Inputs& inputs,
                                        const std::set<std::string>& channels) {
  std::map<std::string, std::vector<Eigen::Index>> of_faults;
  for (std::size_t k = 0; k < inputs.names.size(); ++k) {
    const std::string& input = inputs.names[k];
    const auto place = static_cast<Eigen::Index>(k);
    if (metrology::is_random(input) || inputs.parts.col(place).isZero(0.0)) continue;
    const std::string sensor = input.substr(0, input.find(':'));
    of_faults[channels.contains(sensor) ? sensor : input].push_back(place);
  }
  std::vector<metrology::Fault> faults;
  for (const auto& [name, of_fault] : of_faults)
    faults.push_back(fault_of(name, of_fault, inputs));
  return faults;
}

// Reconciled values as estimates: sums of the measured ones, so their budgets are kept.
std::vector<std::optional<Estimate>> reconciled_values(const Inputs& inputs,
                                                       const metrology::Reconciliation& result) {
  const auto count = static_cast<Eigen::Index>(result.quantities.size());
  const Eigen::MatrixXd parts =
      Eigen::Map<const RowMajor>(result.sensitivity.data(), count, count) * inputs.parts;
  std::vector<std::optional<Estimate>> values;
  for (Eigen::Index i = 0; i < count; ++i) {
    const auto& value = result.quantities[static_cast<std::size_t>(i)].value;
    values.emplace_back(std::nullopt);
    if (!value) continue;
    std::map<std::string, metrology::Contribution> contributions;
    for (std::size_t k = 0; k < inputs.names.size(); ++k) {
      const double u = parts(i, static_cast<Eigen::Index>(k));
      if (u == 0.0) continue;
      contributions.emplace_hint(contributions.end(), inputs.names[k],
                                 metrology::Contribution{.u = u, .dof = inputs.dof[k]});
    }
    values.back() = Estimate(*value, std::move(contributions));
  }
  return values;
}

using Values = std::vector<std::optional<Estimate>>;

// Sum of the flows on one side of a stage; nothing without flows, or where one is not known.
std::optional<Estimate> side_W(const ChainWindow& window, const WindowPlaces& places,
                               const Values& values, const std::string& name,
                               std::string FlowDescription::* end) {
  std::optional<Estimate> sum;
  for (std::size_t f = 0; f < window.flows.size(); ++f) {
    if (window.flows[f].*end != name) continue;
    const auto& value = values[places.flows[f]];
    if (!value) return std::nullopt;
    sum = sum ? *sum + *value : *value;
  }
  return sum;
}

StagePowers powers_of(const ChainWindow& window, const WindowPlaces& places, const Values& values,
                      std::size_t stage) {
  const std::string& name = window.stages[stage].name;
  const StagePlaces& parts = places.stages[stage];
  StagePowers powers{.in_W = side_W(window, places, values, name, &FlowDescription::to),
                     .out_W = side_W(window, places, values, name, &FlowDescription::from),
                     .lost_W = parts.lost == absent ? Estimate(0.0) : values[parts.lost],
                     .stored_W = parts.stored == absent ? Estimate(0.0) : values[parts.stored],
                     .efficiency = std::nullopt};
  if (!powers.lost_W && powers.in_W && powers.out_W && powers.stored_W) {
    powers.lost_W = *powers.in_W - *powers.out_W - *powers.stored_W;
  }
  const bool only_passes_on = parts.lost == absent && parts.stored == absent &&
                              window.stages[stage].lost.kind == StagePart::Kind::none;
  if (powers.in_W && powers.out_W && powers.stored_W && !only_passes_on) {
    const Estimate passed_on_W = *powers.in_W - *powers.stored_W;
    if (passed_on_W.value() > 0.0) powers.efficiency = *powers.out_W / passed_on_W;
  }
  return powers;
}

EnergyChain chain_of(const ChainWindow& window, const WindowPlaces& places, const Gathered& all,
                     const Values& reconciled, const metrology::Reconciliation& result) {
  EnergyChain chain{.label = window.label, .stages = {}, .flows = {}};
  for (std::size_t s = 0; s < window.stages.size(); ++s) {
    chain.stages.push_back({.name = window.stages[s].name,
                            .measured = powers_of(window, places, all.values, s),
                            .reconciled = powers_of(window, places, reconciled, s)});
  }
  for (std::size_t f = 0; f < window.flows.size(); ++f) {
    const FlowDescription& flow = window.flows[f];
    const std::size_t place = places.flows[f];
    const std::string basis = flow.readings_W.empty() ? "balance" : "measured";
    chain.flows.push_back({.from = flow.from,
                           .to = flow.to,
                           .measured_W = all.values[place],
                           .reconciled_W = reconciled[place],
                           .standing = result.quantities[place].standing,
                           .basis = flow.basis.empty() ? basis : flow.basis});
  }
  return chain;
}

Suspect suspect_of(const metrology::Finding& finding, const std::vector<metrology::Fault>& faults,
                   const Gathered& all) {
  Suspect suspect{.names = finding.names,
                  .test = finding.test,
                  .critical_value = finding.critical_value,
                  .size = finding.size,
                  .u_size = finding.u_size,
                  .also_possible = finding.also_possible,
                  .enters = {},
                  .shift_W = 0.0};
  const auto fault = std::find_if(faults.begin(), faults.end(), [&](const auto& each) {
    return each.name == finding.names.front();
  });
  for (std::size_t i = 0; i < all.values.size(); ++i) {
    if (all.words[i].empty() || fault->shift[i] == 0.0) continue;
    suspect.enters = all.words[i];
    suspect.shift_W = finding.size * fault->shift[i];
    break;
  }
  return suspect;
}

}  // namespace

ChainStudy study_energy_chain(const std::vector<ChainWindow>& windows,
                              const ChainOptions& options) {
  const Gathered all = gathered(windows);
  const Inputs inputs = inputs_of(all);
  const metrology::BalanceProblem problem = problem_of(all, inputs);
  const std::vector<metrology::Fault> faults = faults_of(inputs, options.channels);
  const metrology::GrossErrors errors =
      metrology::find_gross_errors(problem, faults, options.levels);
  ChainStudy study;
  study.global = errors.plain.global;
  study.explained = errors.explained;
  if (options.powers) {
    const Values reconciled = reconciled_values(inputs, errors.plain);
    for (std::size_t w = 0; w < windows.size(); ++w)
      study.windows.push_back(chain_of(windows[w], all.windows[w], all, reconciled, errors.plain));
  }
  for (const metrology::Finding& finding : errors.findings)
    study.suspects.push_back(suspect_of(finding, faults, all));
  for (const metrology::FaultTest& test : errors.tests) {
    if (test.test) {
      study.detectable[test.name] = test.detectable_size;
    } else {
      study.unchecked.push_back(test.name);
    }
  }
  for (const auto& group : errors.groups) {
    if (group.size() > 1) study.inseparable.push_back(group);
  }
  return study;
}

}  // namespace windwright::analysis
