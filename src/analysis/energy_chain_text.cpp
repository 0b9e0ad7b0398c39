// SPDX-License-Identifier: Apache-2.0
#include "analysis/energy_chain.h"
#include "metrology/estimate.h"
#include "metrology/quantity.h"

#include <boost/json.hpp>
#include <fmt/format.h>
#include <fmt/ranges.h>

#include <cmath>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::analysis {

namespace {

namespace json = boost::json;
using metrology::Estimate;

std::string_view standing_word(metrology::Standing standing) {
  switch (standing) {
    case metrology::Standing::redundant:
      return "redundant";
    case metrology::Standing::not_redundant:
      return "not redundant";
    case metrology::Standing::observable:
      return "observable";
    case metrology::Standing::unobservable:
      return "unobservable";
  }
  return {};
}

json::value watts(const std::optional<Estimate>& power_W) {
  if (!power_W) return nullptr;
  return metrology::quantity(*power_W, "W");
}

json::object powers_json(const StagePowers& powers) {
  return {
      {"in_W", watts(powers.in_W)},
      {"out_W", watts(powers.out_W)},
      {"lost_W", watts(powers.lost_W)},
      {"stored_W", watts(powers.stored_W)},
      {"efficiency", powers.efficiency ? metrology::quantity(*powers.efficiency, "1") : nullptr}};
}

json::array names_json(const std::vector<std::string>& names) {
  json::array array;
  for (const std::string& name : names)
    array.emplace_back(name);
  return array;
}

json::object chain_json(const EnergyChain& chain) {
  json::array stages;
  for (const ChainStage& stage : chain.stages) {
    stages.push_back(json::object{{"name", stage.name},
                                  {"measured", powers_json(stage.measured)},
                                  {"reconciled", powers_json(stage.reconciled)}});
  }
  json::array flows;
  for (const ChainFlow& flow : chain.flows) {
    flows.push_back(json::object{{"from", flow.from},
                                 {"to", flow.to},
                                 {"measured_W", watts(flow.measured_W)},
                                 {"reconciled_W", watts(flow.reconciled_W)},
                                 {"standing", standing_word(flow.standing)},
                                 {"basis", flow.basis}});
  }
  return {{"label", chain.label}, {"stages", std::move(stages)}, {"flows", std::move(flows)}};
}

json::object suspect_json(const Suspect& suspect) {
  return {{"names", names_json(suspect.names)},
          {"test", suspect.test},
          {"critical_value", suspect.critical_value},
          {"size", suspect.size},
          {"u_size", suspect.u_size},
          {"also_possible", names_json(suspect.also_possible)},
          {"enters", suspect.enters},
          {"shift_W", suspect.shift_W}};
}

std::string cell(const std::optional<Estimate>& power_W) {
  if (!power_W || (power_W->value() == 0.0 && power_W->u() == 0.0)) return "-";
  return fmt::format("{:.4g} ± {:.2g}", power_W->value(), power_W->expanded());
}

void append_chain(const EnergyChain& chain, std::string& text) {
  text += fmt::format("\n{}, W: value ± expanded uncertainty (95 %)\n", chain.label);
  text += fmt::format("{:>26} {:>20} {:>20}  {}\n", "flow", "measured", "reconciled", "standing");
  for (const ChainFlow& flow : chain.flows) {
    text +=
        fmt::format("{:>26} {:>20} {:>20}  {}\n", flow.from + " to " + flow.to,
                    cell(flow.measured_W), cell(flow.reconciled_W), standing_word(flow.standing));
  }
  text += fmt::format("{:>26} {:>20} {:>20}  {}\n", "stage", "lost", "lost, reconciled",
                      "stored; efficiency, reconciled");
  for (const ChainStage& stage : chain.stages) {
    if (!stage.reconciled.in_W) continue;
    text += fmt::format("{:>26} {:>20} {:>20}  {}; {}\n", stage.name, cell(stage.measured.lost_W),
                        cell(stage.reconciled.lost_W), cell(stage.reconciled.stored_W),
                        cell(stage.reconciled.efficiency));
  }
}

void append_suspect(const Suspect& suspect, std::string& text) {
  text += fmt::format(
      "suspicious: {} ({:.1f} against {:.1f}), off by {:.1f} ± {:.1f} of its "
      "standard uncertainty",
      fmt::join(suspect.names, " or "), suspect.test, suspect.critical_value, suspect.size,
      suspect.u_size);
  if (!suspect.enters.empty()) {
    text += fmt::format(", {:+.3g} W in {}", suspect.shift_W, suspect.enters);
  }
  text += '\n';
  if (!suspect.also_possible.empty()) {
    text += fmt::format("  nearly as likely: {}\n", fmt::join(suspect.also_possible, ", "));
  }
}

}  // namespace

json::value to_json(const ChainStudy& study) {
  json::array windows;
  for (const EnergyChain& chain : study.windows)
    windows.push_back(chain_json(chain));
  json::value global = nullptr;
  if (study.global) {
    global = json::object{{"statistic", study.global->statistic},
                          {"dof", study.global->dof},
                          {"critical_value", study.global->critical_value},
                          {"passed", study.global->passed}};
  }
  json::array suspects;
  for (const Suspect& suspect : study.suspects)
    suspects.push_back(suspect_json(suspect));
  json::array inseparable;
  for (const auto& group : study.inseparable)
    inseparable.push_back(names_json(group));
  json::object detectable;
  for (const auto& [name, size] : study.detectable)
    detectable[name] = size;
  return json::object{{"windows", std::move(windows)},
                      {"global_test", std::move(global)},
                      {"suspects", std::move(suspects)},
                      {"explained", study.explained},
                      {"unchecked", names_json(study.unchecked)},
                      {"inseparable", std::move(inseparable)},
                      {"detectable", std::move(detectable)}};
}

std::string study_text(const ChainStudy& study) {
  std::string text;
  for (const EnergyChain& chain : study.windows)
    append_chain(chain, text);
  text += '\n';
  if (study.global) {
    text += fmt::format("global test: {:.2f} against {:.2f} ({} degrees of freedom): {}\n",
                        study.global->statistic, study.global->critical_value, study.global->dof,
                        study.global->passed ? "the balances close within their uncertainty"
                                             : "the balances do not close");
  } else {
    text += "no power is measured twice: nothing here can check a sensor\n";
  }
  for (const Suspect& suspect : study.suspects)
    append_suspect(suspect, text);
  if (!study.explained) {
    text += "what stands out does not explain it: more than one thing is wrong, or a balance\n";
  }
  for (const auto& group : study.inseparable)
    text += fmt::format("cannot be told apart here: {}\n", fmt::join(group, ", "));
  if (!study.unchecked.empty()) {
    text += fmt::format("checked by nothing here: {}\n", fmt::join(study.unchecked, ", "));
  }
  return text;
}

}  // namespace windwright::analysis
