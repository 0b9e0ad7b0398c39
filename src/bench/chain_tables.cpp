// SPDX-License-Identifier: Apache-2.0
#include "bench/chain_tables.h"

#include "base/errors.h"
#include "base/settings.h"
#include "base/text.h"
#include "bench/load_table.h"
#include "bench/placed.h"
#include "physics/battery.h"
#include "physics/chain_control.h"
#include "physics/charge_controller.h"
#include "physics/inverter.h"
#include "physics/load_set.h"
#include "physics/mains_charger.h"
#include "physics/power_tracker.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <set>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::bench {

namespace {

using base::BadInput;
using base::Bounds;
using base::Settings;

constexpr double zero_celsius_K = 273.15;
constexpr double seconds_an_hour = 3600.0;
constexpr double transfer_s = 0.1;  // of a selector by hand; common practice, no source
constexpr Bounds any_time{.at_least = 0.0, .at_most = 1e8};
constexpr Bounds some_time{.at_most = 1e6, .above = 0.0};
constexpr Bounds volts{.at_most = 1e3, .above = 0.0};
constexpr Bounds amperes{.at_most = 1e4, .above = 0.0};
constexpr Bounds share_pct{.at_least = 0.0, .at_most = 100.0};

template <typename Value>
struct Named {
  std::string_view name;
  Value value;
};

template <typename Value, std::size_t N>
Value choice(const Settings& table, std::string_view key,
             const std::array<Named<Value>, N>& choices) {
  const std::string wanted = table.text(key);
  std::vector<std::string> names;
  for (const Named<Value>& each : choices) {
    if (each.name == wanted) return each.value;
    names.emplace_back(each.name);
  }
  throw BadInput(table.place(key), fmt::format("{} '{}' is not known", key, wanted),
                 base::either_of(names));
}

using physics::BatteryKind;
using physics::DumpControl;
using physics::OutputKind;
using physics::SourceControl;
constexpr std::array<Named<BatteryKind>, 4> battery_kinds{
    {{"flooded", BatteryKind::flooded},
     {"agm", BatteryKind::agm},
     {"gel", BatteryKind::gel},
     {"lithium_iron_phosphate", BatteryKind::lithium_iron_phosphate}}};
constexpr std::array<Named<SourceControl>, 6> source_controls{
    {{"always_on", SourceControl::always_on},
     {"series_on_off", SourceControl::series_on_off},
     {"series_pwm", SourceControl::series_pwm},
     {"shunt_on_off", SourceControl::shunt_on_off},
     {"shunt_pwm", SourceControl::shunt_pwm},
     {"tracker", SourceControl::tracker}}};
constexpr std::array<Named<DumpControl>, 3> dump_controls{
    {{"none", DumpControl::none}, {"on_off", DumpControl::on_off}, {"pwm", DumpControl::pwm}}};
constexpr std::array<Named<OutputKind>, 3> output_kinds{{{"sine", OutputKind::sine},
                                                         {"quasi_square", OutputKind::quasi_square},
                                                         {"square", OutputKind::square}}};

/// A model's own complaint gets the place of its table.
template <typename Check>
void checked(const Settings& table, const Check& check) {
  try {
    check();
  } catch (const BadInput& refused) {
    throw placed(refused, table.place());
  }
}

physics::Battery read_battery(const Settings& table) {
  const BatteryKind kind = choice(table, "kind", battery_kinds);
  physics::Battery battery = physics::typical_battery(
      kind, table.integer("cells", {.at_least = 1, .at_most = 400}),
      table.number("capacity_A_h", {.at_most = 1e5, .above = 0.0}) * seconds_an_hour);
  battery.cell_resistance_ohm = table.number_or("cell_resistance_ohm", battery.cell_resistance_ohm,
                                                {.at_most = 10.0, .above = 0.0});
  battery.charge_efficiency =
      table.number_or("charge_efficiency_pct", 100.0 * battery.charge_efficiency,
                      {.at_most = 100.0, .above = 0.0}) /
      100.0;
  return battery;
}

physics::ChargeSetPoints read_set_points(const Settings& table, BatteryKind kind) {
  physics::ChargeSetPoints points = physics::common_set_points(kind);
  constexpr Bounds cell_volts{.at_most = 5.0, .above = 0.0};
  points.absorption_V = table.number_or("absorption_V", points.absorption_V, cell_volts);
  points.float_V = table.number_or("float_V", points.float_V, cell_volts);
  if (table.has("equalise_V")) points.equalise_V = table.number("equalise_V", cell_volts);
  points.temperature_compensation_V_K =
      table.number_or("temperature_compensation_V_K", points.temperature_compensation_V_K,
                      {.at_least = -0.01, .at_most = 0.0});
  points.low_voltage_disconnect_V =
      table.number_or("low_voltage_disconnect_V", points.low_voltage_disconnect_V, cell_volts);
  points.low_voltage_reconnect_V =
      table.number_or("low_voltage_reconnect_V", points.low_voltage_reconnect_V, cell_volts);
  const Bounds temperature{.at_least = -40.0, .at_most = 100.0};
  points.lowest_charging_K =
      table.number_or("lowest_charging_C", points.lowest_charging_K - zero_celsius_K, temperature) +
      zero_celsius_K;
  points.highest_charging_K =
      table.number_or("highest_charging_C", points.highest_charging_K - zero_celsius_K,
                      temperature) +
      zero_celsius_K;
  return points;
}

void read_tracker(const Settings& table, physics::ElectricalChain& chain) {
  physics::TrackingTable points;
  if (table.has("frequency_Hz")) {
    points.frequency_Hz = table.numbers("frequency_Hz", {.at_least = 0.0, .at_most = 1e5});
    points.demand_voltage_V = table.numbers("demand_voltage_V", volts);
    chain.controller.tracking = points;
  } else {
    chain.controller.tracking =
        physics::PerturbAndObserve{.step_V = table.number("step_V", volts),
                                   .lowest_V = table.number("lowest_V", volts),
                                   .highest_V = table.number("highest_V", volts),
                                   .hold_s = table.number("hold_s", some_time)};
  }
  const Bounds loss{.at_least = 0.0, .at_most = 1e3};
  chain.converter = {.no_load_W = table.number("no_load_W", loss),
                     .drop_V = table.number("drop_V", loss),
                     .series_ohm = table.number("series_ohm", loss)};
  checked(table, [&] {
    static_cast<void>(physics::tracker_step(
        chain.controller.tracking, {},
        {.input_voltage_V = 0.0, .input_current_A = 0.0, .frequency_Hz = 0.0}, 1.0));
  });
}

void read_controller(const Settings& table, physics::ElectricalChain& chain) {
  physics::ChargeController controller{
      .cells = chain.battery.cells,
      .set_points = read_set_points(table, chain.battery.kind),
      .source = choice(table, "source", source_controls),
      .dump = table.has("dump") ? choice(table, "dump", dump_controls) : DumpControl::none,
      .rated_current_A = table.number("rated_current_A", amperes),
      .dump_current_A = 0.0,
      .absorption_end_current_A =
          table.number("absorption_end_current_A", {.at_least = 0.0, .at_most = 1e4})};
  if (controller.dump != DumpControl::none)
    controller.dump_current_A = table.number("dump_current_A", amperes);
  const auto time = [&](std::string_view key, double& value_s) {
    value_s = table.number_or(key, value_s, any_time);
  };
  const auto band = [&](std::string_view key, double& value_V) {
    value_V = table.number_or(key, value_V, {.at_least = 0.0, .at_most = 5.0});
  };
  controller.sample_period_s = table.number_or("sample_period_s", controller.sample_period_s,
                                               {.at_least = 0.02, .at_most = 60.0});
  time("absorption_end_delay_s", controller.absorption_end_delay_s);
  time("absorption_time_s", controller.absorption_time_s);
  time("equalise_time_s", controller.equalise_time_s);
  time("equalise_interval_s", controller.equalise_interval_s);
  time("return_to_bulk_delay_s", controller.return_to_bulk_delay_s);
  time("load_delay_s", controller.load_delay_s);
  band("hold_band_V", controller.hold_band_V);
  band("return_to_bulk_V", controller.return_to_bulk_V);
  band("on_off_deadband_V", controller.on_off_deadband_V);
  band("dump_margin_V", controller.dump_margin_V);
  band("dump_deadband_V", controller.dump_deadband_V);
  chain.controller = std::move(controller);
  if (chain.controller.source == SourceControl::tracker)
    read_tracker(table.table("tracker"), chain);
  checked(table, [&] { physics::require_controller(chain.controller); });
}

physics::MainsCharger read_mains_charger(const Settings& table) {
  const physics::MainsCharger charger{
      .highest_current_A = table.number("highest_current_A", amperes),
      .absorption_V = table.number("absorption_V", volts),
      .float_V = table.number("float_V", volts),
      .regulation_ohm =
          table.number_or("regulation_ohm", 0.02, {.at_least = 1e-4, .at_most = 10.0}),
      .efficiency = table.number("efficiency_pct", {.at_most = 100.0, .above = 0.0}) / 100.0,
      .no_load_W = table.number_or("no_load_W", 0.0, {.at_least = 0.0, .at_most = 1e4}),
      .end_current_A = table.number("end_current_A", {.at_least = 0.0, .at_most = 1e4}),
      .end_delay_s = table.number_or("end_delay_s", 600.0, any_time)};
  checked(table, [&] { static_cast<void>(physics::mains_charger_flow(charger, {}, 0.0)); });
  return charger;
}

physics::InverterLimits read_limits(const Settings& table) {
  const double low_stop_V = table.number("low_stop_V", volts);
  const double standby_VA =
      table.number_or("standby_below_VA", 0.0, {.at_least = 0.0, .at_most = 1e5});
  return {.low_warning_V = table.number_or("low_warning_V", 1.03 * low_stop_V, volts),
          .low_stop_V = low_stop_V,
          .low_reconnect_V = table.number("low_reconnect_V", volts),
          .low_stop_delay_s = table.number_or("low_stop_delay_s", 2.0, any_time),
          .high_stop_V = table.number("high_stop_V", volts),
          .high_reconnect_V = table.number("high_reconnect_V", volts),
          .overcurrent_share =
              table.number_or("overcurrent_pct", 250.0, {.at_most = 1e4, .above = 0.0}) / 100.0,
          .overcurrent_delay_s = table.number_or("overcurrent_delay_s", 0.5, any_time),
          .continuous_share =
              table.number_or("continuous_pct", 105.0, {.at_most = 1e4, .above = 0.0}) / 100.0,
          .thermal_time_s = table.number_or("thermal_time_s", 60.0, some_time),
          .start_delay_s = table.number_or("start_delay_s", 0.5, any_time),
          .restart_delay_s = table.number_or("restart_delay_s", 5.0, any_time),
          .most_restarts = table.integer_or("most_restarts", 3, {.at_least = 0, .at_most = 1000}),
          .forgive_s = table.number_or("forgive_s", 120.0, any_time),
          .has_standby = standby_VA > 0.0,
          .standby_below_VA = standby_VA,
          .standby_delay_s = table.number_or("standby_delay_s", 10.0, any_time)};
}

physics::Inverter read_inverter(const Settings& table) {
  const OutputKind kind = choice(table, "kind", output_kinds);
  const Bounds loss_pct{.at_least = 0.0, .at_most = 50.0};
  const Bounds watts{.at_least = 0.0, .at_most = 1e4};
  const physics::Inverter inverter{
      .kind = kind,
      .rated_power_VA = table.number("rated_power_VA", {.at_most = 1e6, .above = 0.0}),
      .output_rms_V = table.number("output_rms_V", volts),
      .frequency_Hz = table.number("frequency_Hz", {.at_most = 1e3, .above = 0.0}),
      .link_ratio = table.number("link_ratio", {.at_most = 1e3, .above = 0.0}),
      .regulated = kind == OutputKind::sine ||
                   (kind == OutputKind::quasi_square && table.flag_or("regulated", true)),
      .pulse_share = kind == OutputKind::quasi_square
                         ? table.number_or("pulse_share", 0.5, {.at_most = 1.0, .above = 0.0})
                         : 1.0,
      .losses = {.no_load_share = table.number("no_load_pct", loss_pct) / 100.0,
                 .proportional_share = table.number("proportional_pct", loss_pct) / 100.0,
                 .quadratic_share = table.number("quadratic_pct", loss_pct) / 100.0},
      .standby_power_W = table.number_or("standby_power_W", 0.0, watts),
      .off_power_W = table.number_or("off_power_W", 0.0, watts),
      .dc_ripple_share = table.number_or("dc_ripple_pct", 100.0, share_pct) / 100.0,
      // Of the waveform only; common practice, no source.
      .filter = {.carrier_Hz = 20e3, .inductance_H = 2e-3, .capacitance_F = 1e-6},
      .limits = read_limits(table)};
  checked(table, [&] { physics::check(inverter); });
  return inverter;
}

/// A charger for another battery would never charge this one, or would boil it.
void require_charger_fits(const Settings& table, const physics::MainsCharger& charger,
                          const physics::Battery& battery) {
  const bool lithium = battery.kind == BatteryKind::lithium_iron_phosphate;
  // Of a cell; common practice, no source.
  const double lowest_V = battery.cells * (lithium ? 3.0 : 2.0);
  const double highest_V = battery.cells * (lithium ? 3.8 : 2.7);
  const auto require_fit = [&](std::string_view key, double value_V) {
    if (value_V >= lowest_V && value_V <= highest_V) return;
    throw BadInput(table.place(key),
                   fmt::format("{} is {:g} for a battery of {} cells", key, value_V, battery.cells),
                   fmt::format("from {:g} to {:g}", lowest_V, highest_V));
  };
  require_fit("absorption_V", charger.absorption_V);
  require_fit("float_V", charger.float_V);
}

/// An inverter for another battery would never run. Half charged counts: what is empty may stop it.
void require_inverter_fits(const Settings& table, const physics::Inverter& inverter,
                           const physics::Battery& battery) {
  const double rest_V =
      physics::open_circuit_V(battery, physics::rested_state(battery, 0.5, 298.15));
  const auto refuse = [&](std::string_view key, double value_V, const char* side) {
    throw BadInput(
        table.place(key),
        fmt::format("{} is {:g} for a battery that rests at {:.3g} V", key, value_V, rest_V),
        fmt::format("{} {:.3g}", side, rest_V));
  };
  if (!(inverter.limits.low_stop_V < rest_V))
    refuse("low_stop_V", inverter.limits.low_stop_V, "below");
  if (!(inverter.limits.high_stop_V > rest_V))
    refuse("high_stop_V", inverter.limits.high_stop_V, "above");
}

std::vector<std::string> read_loads(const Settings& root, std::string_view key,
                                    std::vector<physics::SwitchedLoad>& loads) {
  std::vector<std::string> names;
  for (const Settings& table : root.tables(key)) {
    std::string name = table.text("name");
    if (name == "none" || name.find('+') != std::string::npos || name.empty()) {
      throw BadInput(table.place("name"), fmt::format("a load cannot be called '{}'", name),
                     "a name without +, other than none");
    }
    if (std::find(names.begin(), names.end(), name) != names.end()) {
      throw BadInput(table.place("name"), fmt::format("name '{}' is there twice", name),
                     "one table for each name");
    }
    loads.push_back(read_load(table, key == "ac_load"));
    names.push_back(std::move(name));
  }
  constexpr std::size_t most_loads = 16;
  if (names.size() > most_loads) {
    throw BadInput(root.place(), fmt::format("there are {} tables [[{}]]", names.size(), key),
                   fmt::format("at most {}", most_loads));
  }
  return names;
}

physics::Selector all_connected(std::size_t loads) {
  return {.positions = {static_cast<physics::Connection>((std::uint64_t{1} << loads) - 1)},
          .contact = physics::Contact::break_before_make,
          .transfer_s = transfer_s};
}

physics::Connection connection_of(const Settings& table, const std::string& position,
                                  const std::vector<std::string>& loads) {
  if (position == "none") return 0U;
  physics::Connection connected = 0U;
  for (const std::string& part : base::split(position, '+')) {
    const auto found = std::find(loads.begin(), loads.end(), part);
    if (found == loads.end()) {
      std::vector<std::string> choices = loads;
      choices.emplace_back("none");
      throw BadInput(table.place("positions"), fmt::format("there is no load '{}'", part),
                     base::either_of(choices) + ", several joined by +");
    }
    connected |= physics::Connection{1} << static_cast<unsigned>(found - loads.begin());
  }
  return connected;
}

}  // namespace

std::optional<BenchChain> chain_from_tables(const Settings& root) {
  const auto battery = root.optional_table("battery");
  if (!battery) {
    for (const char* key : {"charge_controller", "mains_charger", "inverter"}) {
      if (const auto lonely = root.optional_table(key)) {
        throw BadInput(lonely->place(), fmt::format("[{}] is there without a battery", key),
                       "a table [battery], too");
      }
    }
    return std::nullopt;
  }
  BenchChain chain{};
  physics::ElectricalChain& parts = chain.setup.chain;
  parts.battery = read_battery(*battery);
  chain.state_of_charge = battery->number("state_of_charge_pct", share_pct) / 100.0;
  read_controller(root.table("charge_controller"), parts);
  if (const auto table = root.optional_table("mains_charger")) {
    parts.mains_charger = read_mains_charger(*table);
    require_charger_fits(*table, *parts.mains_charger, parts.battery);
  }
  if (const auto table = root.optional_table("inverter")) {
    parts.inverter = read_inverter(*table);
    require_inverter_fits(*table, *parts.inverter, parts.battery);
  }
  chain.dc_load_names = read_loads(root, "dc_load", chain.setup.dc_loads);
  chain.ac_load_names = read_loads(root, "ac_load", chain.setup.ac_loads);
  if (!chain.ac_load_names.empty() && !parts.inverter) {
    throw BadInput(root.tables("ac_load").front().place(), "an AC load has no inverter to feed it",
                   "a table [inverter], or [[dc_load]]");
  }
  chain.setup.dc_selector = all_connected(chain.dc_load_names.size());
  chain.setup.ac_selector = all_connected(chain.ac_load_names.size());
  return chain;
}

std::optional<std::string> overspeed_caution(const BenchChain& chain) {
  const physics::ChargeController& controller = chain.setup.chain.controller;
  const bool unloads = controller.source == SourceControl::series_on_off ||
                       controller.source == SourceControl::series_pwm ||
                       controller.source == SourceControl::tracker;
  if (!unloads || controller.dump != DumpControl::none) return std::nullopt;
  return "this charge controller takes the load off the rotor when the battery is full, and there "
         "is no dump load: the rotor speeds up towards its run-away speed";
}

bool is_chain_actuator(std::string_view name) {
  return name == "dc_load_selector" || name == "ac_load_selector" || name == "inverter_switch" ||
         name == "mains_charger_switch";
}

std::vector<std::string> read_chain_positions(const Settings& table, std::string_view name,
                                              std::optional<BenchChain>& chain) {
  const auto refuse = [&](std::string_view part) {
    throw BadInput(table.place("name"), fmt::format("there is no {} for '{}'", part, name),
                   "an actuator for what the bench has");
  };
  if (!chain) refuse("battery");
  if (name == "inverter_switch" || name == "mains_charger_switch") {
    if (name == "inverter_switch" && !chain->setup.chain.inverter) refuse("inverter");
    if (name == "mains_charger_switch" && !chain->setup.chain.mains_charger)
      refuse("mains charger");
    return {"off", "on"};
  }
  const bool alternating = name == "ac_load_selector";
  const std::vector<std::string>& loads = alternating ? chain->ac_load_names : chain->dc_load_names;
  if (loads.empty()) refuse("load");
  std::vector<std::string> positions = table.texts("positions");
  if (std::set<std::string>(positions.begin(), positions.end()).size() != positions.size()) {
    throw BadInput(table.place("positions"), "a position is there twice", "each position once");
  }
  physics::Selector& selector = alternating ? chain->setup.ac_selector : chain->setup.dc_selector;
  selector.positions.clear();
  for (const std::string& position : positions)
    selector.positions.push_back(connection_of(table, position, loads));
  return positions;
}

}  // namespace windwright::bench
