// SPDX-License-Identifier: Apache-2.0
#include "physics/chain_control.h"

#include "base/errors.h"
#include "physics/charge_controller.h"
#include "physics/electrical_chain.h"
#include "physics/inverter_protection.h"
#include "physics/load_set.h"
#include "physics/mains_charger.h"

#include <cstddef>
#include <span>
#include <variant>
#include <vector>

namespace windwright::physics {
namespace {

void need(bool right, const char* where, const char* wrong, const char* what) {
  if (!right) throw base::BadInput(where, wrong, what);
}

void require_selector(const Selector& selector, std::size_t loads, const char* where) {
  constexpr std::size_t most_loads = 32;
  need(loads <= most_loads, where, "more than 32 loads", "at most 32");
  need(!selector.positions.empty(), where, "a selector without position", "at least one");
  need(selector.transfer_s >= 0.0, where, "its transfer time is below 0", "0 s or more");
  for (const Connection position : selector.positions) {
    need(loads == most_loads || position >> loads == 0U, where,
         "a position connects a load that is not there", "loads of the list");
  }
}

}  // namespace

void require_setup(const ChainSetup& setup) {
  require_chain(setup.chain);
  require_selector(setup.dc_selector, setup.dc_loads.size(), "DC loads");
  require_selector(setup.ac_selector, setup.ac_loads.size(), "AC loads");
  for (const SwitchedLoad& each : setup.dc_loads) {
    check(each.load);
    need(!std::holds_alternative<AcFan>(each.load), "DC loads", "an AC fan among them",
         "AC fans behind the inverter");
  }
  for (const SwitchedLoad& each : setup.ac_loads) {
    check(each.load);
    need(!std::holds_alternative<DcMotor>(each.load), "AC loads", "a DC motor among them",
         "DC motors on the DC bus");
  }
}

ChainControl control_at_start(const ChainSetup& setup) {
  ChainControl control{};
  control.output = controller_at_start(setup.chain.controller);
  return control;
}

ChainPositions positions(const ChainControl& control) {
  return {.controller = control.output,
          .mains_on = control.mains_on,
          .mains = control.mains,
          .inverter = control.inverter.mode};
}

void connect_loads(const ChainSetup& setup, const ChainControl& control,
                   std::span<SwitchedLoad> dc_loads, std::span<SwitchedLoad> ac_loads) {
  const Connection fed =
      control.output.loads_connected ? connection(setup.dc_selector, control.dc_selector) : 0U;
  connect(fed, dc_loads);
  connect(connection(setup.ac_selector, control.ac_selector), ac_loads);
}

void sample_controller(const ChainSetup& setup, const ChainFlow& flow, const BatteryState& battery,
                       ChainControl& control) {
  const ElectricalChain& chain = setup.chain;
  const ControllerStep step =
      controller_step(chain.controller, control.controller, measured(flow, battery));
  control.controller = step.state;
  control.output = step.output;
  if (chain.mains_charger && control.mains_on) {
    control.mains = mains_charger_step(*chain.mains_charger, control.mains, flow.mains.current_A,
                                       chain.controller.sample_period_s);
  }
}

void sample_protection(const ChainSetup& setup, const ChainFlow& flow, double apparent_VA,
                       double step_s, ChainControl& control) {
  control.dc_selector = later(control.dc_selector, step_s);
  control.ac_selector = later(control.ac_selector, step_s);
  if (!setup.chain.inverter) return;
  const Inverter& inverter = *setup.chain.inverter;
  const InverterMode before = control.inverter.mode;
  control.inverter = later(inverter.limits, inverter.rated_power_VA, control.inverter,
                           {.dc_voltage_V = flow.bus_voltage_V,
                            .connected_VA = apparent_VA,
                            .switched_on = control.inverter_on},
                           step_s);
  const InverterMode now = control.inverter.mode;
  const bool stopped = now == InverterMode::stopped || now == InverterMode::locked;
  if (stopped && now != before) ++control.inverter_stops;
}

void switch_mains(bool on, ChainControl& control) {
  if (on && !control.mains_on) control.mains = {};
  control.mains_on = on;
}

}  // namespace windwright::physics
