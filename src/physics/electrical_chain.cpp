// SPDX-License-Identifier: Apache-2.0
#include "physics/electrical_chain.h"

#include "base/errors.h"
#include "physics/ac_supply.h"
#include "physics/battery.h"
#include "physics/chain_loads.h"
#include "physics/charge_controller.h"
#include "physics/generator.h"
#include "physics/inverter.h"
#include "physics/load_set.h"
#include "physics/mains_charger.h"
#include "physics/power_tracker.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>
#include <optional>

namespace windwright::physics {
namespace {

constexpr double highest_cell_V = 10.0;

/// The generator behind its bridge at one speed.
struct Machine {
  const Generator& generator;
  BridgeFault fault;
  double rotor_speed_rad_s;
  double open_V;  // above it no current leaves the bridge
  /// Worked out once a moment: they do not depend on the bus voltage.
  std::optional<VoltageLoad> idle = {};
  std::optional<VoltageLoad> shorted = {};
  std::optional<VoltageLoad> tracked = {};  // at the voltage that a tracker holds

  VoltageLoad at(double dc_voltage_V) const {
    return generator_on_voltage(generator, rotor_speed_rad_s, dc_voltage_V, fault);
  }
};

Machine machine_at(const ElectricalChain& chain, double rotor_speed_rad_s) {
  const Generator& generator = chain.generator;
  const double line_V = std::numbers::sqrt3 * generator.flux_linkage_V_s * generator.pole_pairs *
                        std::abs(rotor_speed_rad_s);
  return {.generator = generator,
          .fault = chain.bridge_fault,
          .rotor_speed_rad_s = rotor_speed_rad_s,
          .open_V = std::max(0.0, line_V - 2.0 * generator.diode_drop_V)};
}

/// From here on surely no current leaves the bridge.
double surely_open_V(const Machine& machine) {
  return machine.fault == BridgeFault::none ? machine.open_V : 2.0 * machine.open_V + 1.0;
}

/// The bridge with nothing connected. Under a fault currents may circulate in it even so.
const VoltageLoad& unloaded(Machine& machine) {
  if (!machine.idle) {
    machine.idle = machine.at(surely_open_V(machine));
    machine.idle->load.dc_voltage_V = machine.open_V;
  }
  return *machine.idle;
}

const VoltageLoad& short_circuited(Machine& machine) {
  if (!machine.shorted) machine.shorted = machine.at(0.0);
  return *machine.shorted;
}

/// A share of the time in one state of the switch.
void add(SourceFlow& sum, const VoltageLoad& part, double share) {
  const GeneratorLoad& load = part.load;
  sum.dc_voltage_V += share * load.dc_voltage_V;
  sum.dc_current_A += share * load.dc_current_A;
  sum.shaft_torque_N_m += share * load.shaft_torque_N_m;
  sum.bearing_loss_W += share * load.bearing_loss_W;
  sum.iron_loss_W += share * load.iron_loss_W;
  sum.winding_loss_W += share * load.winding_loss_W;
  sum.rectifier_loss_W += share * load.rectifier_loss_W;
  sum.dc_power_W += share * load.dc_power_W;
  sum.line_current_rms_A += share * load.line_current_rms_A * load.line_current_rms_A;
  sum.phase_emf_peak_V = load.phase_emf_peak_V;
}

/// Of what a short circuit would drive: below it a current is what a search left over.
constexpr double negligible_share = 1e-9;

bool carries(const Machine& machine, const GeneratorLoad& load) {
  return load.dc_current_A >
         negligible_share * load.phase_emf_peak_V /
             (machine.generator.winding_resistance_ohm + machine.generator.diode_resistance_ohm);
}

/// The input voltage between two at which a figure (value, slope) that is above 0 at the lower and
/// below 0 at the higher falls through 0. It may rise first: there, no tangent leads on.
template <typename Figure>
double falling_root_V(const Figure& figure, double low_V, double high_V) {
  double voltage_V = low_V;
  for (int step = 0; step < 120; ++step) {
    const auto [value, slope] = figure(voltage_V);
    (value > 0.0 ? low_V : high_V) = voltage_V;
    if (value == 0.0 || high_V - low_V <= 1e-14 * high_V) return voltage_V;
    const double tangent_V = voltage_V - value / slope;
    const bool falls = step < 60 && slope < 0.0 && tangent_V >= low_V && tangent_V <= high_V;
    const double next_V = falls ? tangent_V : 0.5 * (low_V + high_V);
    if (falls && std::abs(next_V - voltage_V) <= 1e-13 * high_V) return next_V;
    voltage_V = next_V;
  }
  return voltage_V;
}

struct Figure {
  double value;
  double slope;
};

/// The converter holds its input where it is asked to, but never below its output.
struct TrackedInput {
  VoltageLoad source;
  bool follows_bus;  // at its lowest
};

TrackedInput tracked_input(Machine& machine, const TrackerDemand& demand, double lowest_V) {
  const auto held_at = [&](double voltage_V) -> const VoltageLoad& {
    if (!machine.tracked || machine.tracked->load.dc_voltage_V != voltage_V)
      machine.tracked = machine.at(voltage_V);
    return *machine.tracked;
  };
  if (demand.input_voltage_V && *demand.input_voltage_V > lowest_V)
    return {.source = held_at(*demand.input_voltage_V), .follows_bus = false};
  const VoltageLoad lowest = machine.at(lowest_V);
  if (demand.input_current_A) {
    const double wanted_A = std::max(0.0, *demand.input_current_A);
    if (lowest.load.dc_current_A > wanted_A) {
      const auto excess = [&](double voltage_V) {
        const VoltageLoad at = machine.at(voltage_V);
        return Figure{.value = at.load.dc_current_A - wanted_A, .slope = at.dc_current_slope_S};
      };
      // The same wherever the bus is below it, so it is sought only once.
      if (machine.tracked && machine.tracked->load.dc_voltage_V > lowest_V)
        return {.source = *machine.tracked, .follows_bus = false};
      return {.source = held_at(falling_root_V(excess, lowest_V, surely_open_V(machine))),
              .follows_bus = false};
    }
  }
  return {.source = lowest, .follows_bus = true};
}

/// Where the converter eases off towards the open circuit until it passes no more than the limit.
VoltageLoad eased_off(const Machine& machine, const Converter& converter, double bus_V,
                      double limit_A, double from_V) {
  const double limit_W =
      converter.no_load_W + limit_A * (bus_V + converter.drop_V + converter.series_ohm * limit_A);
  const auto excess = [&](double voltage_V) {
    const VoltageLoad at = machine.at(voltage_V);
    return Figure{.value = at.load.dc_power_W - limit_W,
                  .slope = at.load.dc_current_A + voltage_V * at.dc_current_slope_S};
  };
  const VoltageLoad eased = machine.at(falling_root_V(excess, from_V, surely_open_V(machine)));
  // Else energy would come from nothing and the rotor would run away unloaded.
  if (!(std::abs(eased.load.dc_power_W - limit_W) <= 1e-6 * limit_W)) {
    throw base::DeviceFault(
        "charge controller",
        fmt::format("at {:.4g} rad/s its tracker finds no input of {:.6g} W, but one of {:.6g} W",
                    machine.rotor_speed_rad_s, limit_W, eased.load.dc_power_W),
        "the generator's figures and the tracker's current limit");
  }
  return eased;
}

/// @param search  the bus voltage is still being sought: the charge current and its slope suffice
SourceFlow tracker_flow(Machine& machine, const ElectricalChain& chain,
                        const ControllerOutput& output, double bus_V, bool search) {
  const Converter& converter = chain.converter;
  const double limit_A = output.output_current_limit_A;
  const double facing_V = bus_V + converter.drop_V;
  SourceFlow flow{};
  TrackedInput input{};
  if (machine.open_V > facing_V && limit_A > 0.0)
    input = tracked_input(machine, output.demand, facing_V);
  const GeneratorLoad& load = input.source.load;
  if (!carries(machine, load)) {
    add(flow, unloaded(machine), 1.0);
    flow.controller_loss_W = flow.dc_power_W;
    return flow;
  }
  const ConverterFlow passed = converter_flow(converter, load.dc_power_W, bus_V);
  if (passed.output_current_A > limit_A) {
    flow.charge_current_A = limit_A;
    if (!search) input.source = eased_off(machine, converter, bus_V, limit_A, load.dc_voltage_V);
  } else {
    flow.charge_current_A = passed.output_current_A;
    flow.charge_slope_A_V = passed.slope_A_V;
    if (input.follows_bus) {
      flow.charge_slope_A_V +=
          (load.dc_current_A + load.dc_voltage_V * input.source.dc_current_slope_S) /
          (facing_V + 2.0 * converter.series_ohm * passed.output_current_A);
    }
  }
  add(flow, input.source, 1.0);
  flow.charge_power_W = bus_V * flow.charge_current_A;
  flow.controller_loss_W = converter_flow(converter, std::max(0.0, flow.dc_power_W), bus_V).loss_W;
  return flow;
}

SourceFlow switched_flow(Machine& machine, const ControllerOutput& output, double bus_V) {
  SourceFlow flow{};
  const double feeding = output.source_share;
  const double shorted = output.short_circuited_share;
  const double idle = 1.0 - feeding - shorted;
  if (feeding > 0.0) {
    VoltageLoad on = machine.at(bus_V);
    flow.charge_current_A = feeding * on.load.dc_current_A;
    flow.charge_power_W = feeding * on.load.dc_power_W;
    flow.charge_slope_A_V = feeding * on.dc_current_slope_S;
    // Without current the terminals show what the machine makes.
    if (!carries(machine, on.load)) on.load.dc_voltage_V = std::min(bus_V, machine.open_V);
    add(flow, on, feeding);
  }
  if (shorted > 0.0) add(flow, short_circuited(machine), shorted);
  if (idle > 1e-15) add(flow, unloaded(machine), idle);
  return flow;
}

SourceFlow source_flow(Machine& machine, const ElectricalChain& chain,
                       const ControllerOutput& output, double bus_V, bool search) {
  SourceFlow flow = chain.controller.source == SourceControl::tracker
                        ? tracker_flow(machine, chain, output, bus_V, search)
                        : switched_flow(machine, output, bus_V);
  flow.line_current_rms_A = std::sqrt(flow.line_current_rms_A);
  flow.frequency_Hz =
      machine.generator.pole_pairs * std::abs(machine.rotor_speed_rad_s) / (2.0 * std::numbers::pi);
  return flow;
}

/// What the inverter and its loads do at a bus voltage, the loads as while there is output.
void fill_ac(const ElectricalChain& chain, const ChainPositions& positions, const ChainPoint& point,
             ChainMemory& memory, ChainFlow& flow) {
  AcSupply supply{
      .kind = OutputKind::sine, .peak_V = 0.0, .pulse_share = 1.0, .frequency_Hz = 50.0};
  if (chain.inverter) {
    supply =
        output(*chain.inverter, std::max(flow.bus_voltage_V, lowest_steady_V(*chain.inverter)));
    if (positions.inverter != InverterMode::running) supply.peak_V = 0.0;
  }
  // While a regulated supply stays the same, so does what its loads take.
  const AcSupply& known = flow.ac_supply;
  if (known.frequency_Hz != supply.frequency_Hz || known.peak_V != supply.peak_V ||
      known.pulse_share != supply.pulse_share || known.kind != supply.kind) {
    flow.ac = averaged_ac(point.ac_loads, supply, point.room_temperature_K, memory);
    flow.ac_supply = supply;
  }
  if (!chain.inverter) return;
  flow.inverter = inverter_flow(*chain.inverter, positions.inverter, flow.bus_voltage_V,
                                {.active_power_W = flow.ac.active_power_W,
                                 .apparent_power_VA = flow.ac.apparent_power_VA,
                                 .active_slope_A = flow.ac.active_slope_A});
}

/// Averages supply and loads over the inverter's bursts.
void average_bursts(const Inverter& inverter, const ChainPoint& point, ChainMemory& memory,
                    ChainFlow& flow) {
  const double share = burst_share(inverter, flow.bus_voltage_V);
  if (!(share < 1.0)) return;
  flow.ac = averaged_bursts(flow.ac, share, point.ac_loads, point.room_temperature_K, memory);
  flow.ac_supply.peak_V *= std::sqrt(share);
}

/// What is left over at the bus.
struct Excess {
  double current_A;
  double slope_S;
};

/// All parts at one moment, for one bus voltage after another.
struct Search {
  const ElectricalChain& chain;
  const ChainPositions& positions;
  const ChainPoint& point;
  Machine machine;
  BatteryPoint battery;
  ChainMemory& memory;

  Excess fill(double bus_V, bool search, ChainFlow& flow) {
    const double dump_S = positions.controller.dump_share / dump_resistance_ohm(chain.controller);
    flow.bus_voltage_V = bus_V;
    flow.source = source_flow(machine, chain, positions.controller, bus_V, search);
    flow.battery = battery_flow(chain.battery, battery, bus_V);
    if (chain.mains_charger && positions.mains_on)
      flow.mains = mains_charger_flow(*chain.mains_charger, positions.mains, bus_V);
    flow.dump_current_A = dump_S * bus_V;
    flow.dc = averaged_dc(point.dc_loads, bus_V, point.room_temperature_K, memory);
    memory.idle_stand = true;
    fill_ac(chain, positions, point, memory, flow);
    return {.current_A = flow.source.charge_current_A + flow.battery.current_A +
                         flow.mains.current_A - flow.dump_current_A - flow.dc.current_A -
                         flow.inverter.dc_current_A,
            .slope_S = flow.source.charge_slope_A_V + flow.battery.slope_A_V +
                       flow.mains.slope_A_V - dump_S - flow.dc.slope_S - flow.inverter.slope_S};
  }
};

/// Where a search ended.
struct Balance {
  double voltage_V;
  Excess excess;
  bool found;
};

/// Newton's steps from a voltage on, kept inside the bracket from 0 to the highest.
Balance balance_from(double start_V, double highest_V, Search& search, ChainFlow& flow) {
  double low_V = 0.0;
  double high_V = highest_V;
  Balance at{.voltage_V = start_V, .excess = {}, .found = false};
  for (int step = 0; step < 200 && !at.found; ++step) {
    at.excess = search.fill(at.voltage_V, true, flow);
    (at.excess.current_A > 0.0 ? low_V : high_V) = at.voltage_V;
    const double newton_V =
        at.excess.slope_S < 0.0 ? -at.excess.current_A / at.excess.slope_S : high_V;
    double next_V = at.voltage_V + newton_V;
    // Tangents that run in circles end in halving.
    if (step >= 100 || !(next_V >= low_V && next_V <= high_V)) next_V = 0.5 * (low_V + high_V);
    at.found = std::abs(next_V - at.voltage_V) <= 1e-11 * at.voltage_V + 1e-13 * highest_V;
    at.voltage_V = next_V;
  }
  return at;
}

/// The voltage must follow from the state alone, not from where the search began: trial steps of an
/// integrator would come back to another one. Below what the battery itself would show, and there
/// only, a constant power may balance twice; the upper one counts, which Newton's steps from the
/// battery's voltage meet first.
Balance balance_of(const ElectricalChain& chain, const BatteryState& battery, Search& search,
                   ChainFlow& flow) {
  const double highest_V = highest_cell_V * chain.battery.cells;
  double own_V = open_circuit_V(chain.battery, search.battery) - battery.diffusion_V;
  if (!(own_V > 0.0 && own_V < highest_V)) own_V = 0.2 * highest_V;
  const double near_V = search.memory.near_V;
  if (!(near_V > 0.0 && near_V < highest_V)) return balance_from(own_V, highest_V, search, flow);
  const Balance at = balance_from(near_V, highest_V, search, flow);
  double sure_V = 0.9 * own_V;
  if (chain.inverter) sure_V = std::max(sure_V, std::min(own_V, lowest_steady_V(*chain.inverter)));
  return at.voltage_V < sure_V ? balance_from(own_V, highest_V, search, flow) : at;
}

}  // namespace

void require_chain(const ElectricalChain& chain) {
  require_generator(chain.generator);
  require_battery(chain.battery);
  require_controller(chain.controller);
  if (chain.controller.cells != chain.battery.cells) {
    throw base::BadInput("charge controller",
                         fmt::format("it is set for {} cells", chain.controller.cells),
                         fmt::format("{}, as many as the battery has", chain.battery.cells));
  }
  static_cast<void>(converter_flow(chain.converter, 0.0, 1.0));
  if (chain.inverter) check(*chain.inverter);
  if (chain.mains_charger) {
    static_cast<void>(mains_charger_flow(*chain.mains_charger, {}, 0.0));
  }
}

double dump_resistance_ohm(const ChargeController& controller) {
  if (controller.dump == DumpControl::none) return std::numeric_limits<double>::infinity();
  return controller.cells * controller.set_points.absorption_V / controller.dump_current_A;
}

ControllerOutput controller_at_start(const ChargeController& controller) {
  return {.stage = ChargeStage::bulk,
          .target_V = controller.cells * controller.set_points.absorption_V,
          .charging_allowed = true,
          .source_share = 1.0,
          .short_circuited_share = 0.0,
          .dump_share = 0.0,
          .loads_connected = true,
          .demand = {},
          .output_current_limit_A = controller.source == SourceControl::tracker
                                        ? controller.rated_current_A
                                        : std::numeric_limits<double>::infinity()};
}

ChainFlow electrical_flow(const ElectricalChain& chain, const ChainPositions& positions,
                          const ChainPoint& point, ChainMemory& memory) {
  Search search{.chain = chain,
                .positions = positions,
                .point = point,
                .machine = machine_at(chain, point.rotor_speed_rad_s),
                .battery = battery_point(chain.battery, point.battery),
                .memory = memory};
  ChainFlow flow{};
  memory.idle_stand = false;
  const Balance at = balance_of(chain, point.battery, search, flow);
  memory.idle_stand = false;
  const Excess& excess = at.excess;
  flow.converged = at.found && at.voltage_V <= (1.0 - 1e-9) * highest_cell_V * chain.battery.cells;
  if (chain.controller.source == SourceControl::tracker) {
    flow.source =
        source_flow(search.machine, chain, positions.controller, flow.bus_voltage_V, false);
  }
  memory.near_V = flow.bus_voltage_V;
  // Exactly closed: the battery carries the rest through its resistance.
  flow.battery.current_A -= excess.current_A;
  flow.battery.ohmic_loss_W += flow.bus_voltage_V * excess.current_A;
  flow.battery.terminal_power_W = flow.bus_voltage_V * flow.battery.current_A;
  flow.dump_power_W = flow.bus_voltage_V * flow.dump_current_A;
  flow.battery_rates =
      battery_rates(chain.battery, search.battery, flow.battery, point.room_temperature_K);
  if (chain.inverter && positions.inverter == InverterMode::running)
    average_bursts(*chain.inverter, point, memory, flow);
  return flow;
}

ControllerInput measured(const ChainFlow& flow, const BatteryState& battery) {
  if (!flow.converged) {
    throw base::DeviceFault("DC bus",
                            fmt::format("the currents balance at no voltage: the search ended at "
                                        "{:.4g} V with {:.4g} A at the battery",
                                        flow.bus_voltage_V, flow.battery.current_A),
                            "the figures of source, battery and loads");
  }
  return {.battery_voltage_V = flow.bus_voltage_V,
          .battery_temperature_K = battery.temperature_K,
          .charging_current_A = -flow.battery.current_A,
          .source = {.input_voltage_V = flow.source.dc_voltage_V,
                     .input_current_A = flow.source.dc_current_A,
                     .frequency_Hz = flow.source.frequency_Hz}};
}

double connected_VA(const ElectricalChain& chain, const ChainFlow& flow, const ChainPoint& point,
                    ChainMemory& memory) {
  if (!chain.inverter) return 0.0;
  if (flow.ac_supply.peak_V > 0.0) return flow.ac.apparent_power_VA;
  return averaged_ac(point.ac_loads, output(*chain.inverter, flow.bus_voltage_V),
                     point.room_temperature_K, memory)
      .apparent_power_VA;
}

}  // namespace windwright::physics
