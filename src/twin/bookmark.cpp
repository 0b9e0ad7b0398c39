// SPDX-License-Identifier: Apache-2.0
#include "twin/bookmark.h"

#include "base/errors.h"
#include "base/json.h"
#include "base/text.h"
#include "twin/chain_energy.h"
#include "twin/plant_chain.h"

#include <boost/json.hpp>
#include <fmt/format.h>

#include <charconv>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <optional>
#include <string>
#include <string_view>
#include <type_traits>

namespace windwright::twin {

namespace {

namespace json = boost::json;

constexpr std::string_view where = "bookmark of the simulated bench";

// One list of members for writing and reading, so that none is forgotten on one side.
template <typename State, typename Visit>
void visit_plant(State& s, Visit&& visit) {
  visit("tick", s.tick);
  visit("rotor_speed_rad_s", s.rotor_speed_rad_s);
  visit("rotor_angle_rad", s.rotor_angle_rad);
  visit("mean_air_speed_m_s", s.mean_air_speed_m_s);
  visit("turbulence", s.turbulence);
  visit("next_turbulence", s.next_turbulence);
  visit("lamp_temperature_K", s.lamp_temperature_K);
  visit("lagging_inflow_m_s", s.lagging_inflow_m_s);
  visit("induced_air_speed_m_s", s.induced_air_speed_m_s);
  visit("at_rest", s.at_rest);
  visit("mounting", s.mounting);
  visit("fan_pct", s.fan_pct);
  visit("load_selection", s.load_selection);
  visit("rheostat_ohm", s.rheostat_ohm);
  visit("blades", s.blades);
  visit("pitch_rad", s.pitch_rad);
  visit("gust_tick", s.gust_tick);
  visit("gust_shape", s.gust_shape);
  visit("gust_duration_s", s.gust_duration_s);
  visit("gust_amplitude_m_s", s.gust_amplitude_m_s);
  visit("wind_imposed", s.wind_imposed);
  visit("wind_rise_m_s2", s.wind_rise_m_s2);
  visit("fan_share", s.fan_share);
  visit("bearing_factor", s.bearing_factor);
  visit("loose_at_tip_kg", s.loose_at_tip_kg);
  visit("emergency_stop_pressed", s.hard_wired.emergency_stop_pressed);
  visit("cover_open", s.hard_wired.cover_open);
  visit("fuse_blown", s.hard_wired.fuse_blown);
  visit("wire_broken", s.hard_wired.wire_broken);
  visit("bridged", s.hard_wired.bridged);
  visit("welded", s.hard_wired.welded);
  visit("released", s.hard_wired.released);
  visit("pulled_in", s.hard_wired.pulled_in);
  visit("stuck_actuators", s.stuck_actuators);
  visit("limits_dead", s.limits_dead);
  visit("winding_K", s.machine.winding_K);
  visit("frame_K", s.machine.frame_K);
  visit("winding_due_J", s.machine.winding_due_J);
  visit("frame_due_J", s.machine.frame_due_J);
  visit("seconds", s.tally.seconds);
  visit("wind_J", s.tally.wind_J);
  visit("rotor_J", s.tally.rotor_J);
  visit("bearing_J", s.tally.bearing_J);
  visit("iron_J", s.tally.iron_J);
  visit("winding_J", s.tally.winding_J);
  visit("rectifier_J", s.tally.rectifier_J);
  visit("load_J", s.tally.load_J);
  visit("brake_J", s.tally.brake_J);
  visit("kinetic_J", s.tally.kinetic_J);
  visit("revolutions", s.tally.revolutions);
  visit("air_path_m", s.tally.air_path_m);
  visit("disc_air_path_m", s.tally.disc_air_path_m);
  visit("generator_stored_J", s.tally.generator_stored_J);
  visit("generator_to_air_J", s.tally.generator_to_air_J);
}

// What no member of the file can hold as it is goes through a copy, which is put back when reading.
// @param last  the largest value of the enumeration, whose values count up from 0
template <typename Enum, typename Visit>
void visit_choice(std::string_view key, Enum& choice, std::remove_const_t<Enum> last,
                  Visit&& visit) {
  auto number = static_cast<std::int64_t>(choice);
  visit(key, number);
  if constexpr (!std::is_const_v<Enum>) {
    const auto highest = static_cast<std::int64_t>(last);
    if (number < 0 || number > highest) {
      throw base::BadInput(where, fmt::format("{} is {}", key, number),
                           fmt::format("from 0 to {}", highest));
    }
    choice = static_cast<Enum>(number);
  }
}

// A number that may be missing, or infinite, which text cannot be.
template <typename Optional, typename Visit>
void visit_optional(const std::string& key, Optional& value, Visit&& visit) {
  bool there = value.has_value();
  double number = value.value_or(0.0);
  visit(key + "_there", there);
  visit(key, number);
  if constexpr (!std::is_const_v<Optional>) value = there ? Optional(number) : std::nullopt;
}

template <typename Values, typename Visit>
void visit_list(const std::string& key, Values& values, Visit&& visit) {
  std::size_t count = values.size();
  visit(key, count);
  if constexpr (!std::is_const_v<Values>) {
    if (count > PlantChain::most_states)
      throw base::BadInput(where, fmt::format("{} are {}", key, count), "fewer");
    values.resize(count);
  }
  for (std::size_t i = 0; i < count; ++i)
    visit(fmt::format("{}_{}", key, i), values[i]);
}

template <typename State, typename Visit>
void visit_controller(State& s, Visit&& visit) {
  visit_choice("stage", s.stage, physics::ChargeStage::float_charge, visit);
  visit("held_s", s.held_s);
  visit("tail_s", s.tail_s);
  visit("below_return_s", s.below_return_s);
  visit("since_equalise_s", s.since_equalise_s);
  visit("current_share", s.current_share);
  visit("dump_share", s.dump_share);
  visit("source_on", s.source_on);
  visit("loads_connected", s.loads_connected);
  visit("load_wait_s", s.load_wait_s);
  visit("tracker_demand_V", s.tracker.demand_V);
  visit("tracker_power_W", s.tracker.power_W);
  visit("tracker_direction", s.tracker.direction);
  visit("tracker_held_s", s.tracker.held_s);
  visit("tracker_started", s.tracker.started);
  visit_optional("voltage_V", s.voltage_V, visit);
  visit("source_switchings", s.source_switchings);
  visit("dump_switchings", s.dump_switchings);
  visit("load_switchings", s.load_switchings);
}

template <typename Output, typename Visit>
void visit_output(Output& o, Visit&& visit) {
  visit_choice("output_stage", o.stage, physics::ChargeStage::float_charge, visit);
  visit("output_target_V", o.target_V);
  visit("output_charging_allowed", o.charging_allowed);
  visit("output_source_share", o.source_share);
  visit("output_short_circuited_share", o.short_circuited_share);
  visit("output_dump_share", o.dump_share);
  visit("output_loads_connected", o.loads_connected);
  visit_optional("output_demand_V", o.demand.input_voltage_V, visit);
  visit_optional("output_demand_A", o.demand.input_current_A, visit);
  const bool limited = std::isfinite(o.output_current_limit_A);
  std::optional<double> limit_A = limited ? std::optional(o.output_current_limit_A) : std::nullopt;
  visit_optional("output_limit_A", limit_A, visit);
  if constexpr (!std::is_const_v<Output>)
    o.output_current_limit_A = limit_A.value_or(std::numeric_limits<double>::infinity());
}

template <typename Control, typename Visit>
void visit_switches(Control& c, Visit&& visit) {
  visit("mains_on", c.mains_on);
  visit("mains_floating", c.mains.floating);
  visit("mains_below_end_s", c.mains.below_end_s);
  visit("inverter_on", c.inverter_on);
  visit_choice("inverter_mode", c.inverter.mode, physics::InverterMode::locked, visit);
  visit_choice("inverter_cause", c.inverter.cause, physics::StopCause::overcurrent, visit);
  visit("inverter_warning", c.inverter.low_voltage_warning);
  visit("inverter_restarts", c.inverter.restarts);
  visit("inverter_heating", c.inverter.heating);
  visit("inverter_in_mode_s", c.inverter.in_mode_s);
  visit("inverter_low_s", c.inverter.low_s);
  visit("inverter_overcurrent_s", c.inverter.overcurrent_s);
  visit("inverter_light_s", c.inverter.light_s);
  visit("inverter_within_limits_s", c.inverter.within_limits_s);
  visit("inverter_stops", c.inverter_stops);
  visit("dc_leaving", c.dc_selector.leaving);
  visit("dc_position", c.dc_selector.position);
  visit("dc_left_s", c.dc_selector.left_s);
  visit("ac_leaving", c.ac_selector.leaving);
  visit("ac_position", c.ac_selector.position);
  visit("ac_left_s", c.ac_selector.left_s);
}

template <typename Chain, typename Visit>
void visit_chain(Chain& c, Visit&& visit) {
  visit("available_A_s", c.battery.available_A_s);
  visit("bound_A_s", c.battery.bound_A_s);
  visit("diffusion_V", c.battery.diffusion_V);
  visit("battery_temperature_K", c.battery.temperature_K);
  visit_list("dc_moving", c.dc_moving, visit);
  visit_list("ac_moving", c.ac_moving, visit);
  visit_controller(c.control.controller, visit);
  visit_output(c.control.output, visit);
  visit_switches(c.control, visit);
  visit_choice("bridge_fault", c.bridge_fault, physics::BridgeFault::shorted_diode, visit);
  visit("sulphated_cells", c.battery_fault.sulphated_cells);
  visit("resistance_factor", c.battery_fault.resistance_factor);
  visit("lost_capacity", c.battery_fault.lost_capacity);
  visit("shorted_cells", c.battery_fault.shorted_cells);
  for (std::size_t i = 0; i < chain_parts; ++i)
    visit(fmt::format("{}_J", chain_part_names[i]), c.energies[i]);
}

template <typename Memory, typename Visit>
void visit_sensor(Memory& m, Visit&& visit) {
  visit("settled", m.settled);
  visit("input_V", m.input_V);
  visit("output_V", m.output_V);
  visit("counts", m.counts);
  visit("fault", m.fault);
  visit("fault_sample", m.fault_sample);
  visit("fault_amount", m.fault_amount);
  visit("fault_over_s", m.fault_over_s);
}

template <typename Mark, typename Visit>
void visit_rest(Mark& b, Visit&& visit) {
  visit("seed", b.seed);
  visit("sample", b.sample);
  visit("gap_before", b.gap_before);
}

auto writer(json::object& object) {
  return [&object](std::string_view key, const auto& value) {
    using Value = std::remove_cvref_t<decltype(value)>;
    if constexpr (std::is_same_v<Value, double>) {
      object[key] = base::number_text(value);
    } else if constexpr (std::is_same_v<Value, bool>) {
      object[key] = value;
    } else {
      object[key] = fmt::format("{}", value);
    }
  };
}

template <typename Value>
void read_value(std::string_view key, const std::string& text, Value& value) {
  if constexpr (std::is_same_v<Value, double>) {
    const auto number = base::number_from_text(text);
    if (!number) throw base::BadInput(where, fmt::format("{} is '{}'", key, text), "a number");
    value = *number;
  } else {
    const auto read = std::from_chars(text.data(), text.data() + text.size(), value);
    if (read.ec != std::errc{} || read.ptr != text.data() + text.size()) {
      throw base::BadInput(where, fmt::format("{} is '{}'", key, text), "a whole number");
    }
  }
}

auto reader(const json::value& object) {
  return [&object](std::string_view key, auto& value) {
    using Value = std::remove_reference_t<decltype(value)>;
    if constexpr (std::is_same_v<Value, bool>) {
      const json::value& member = base::json_member(object, key, where);
      if (!member.is_bool()) {
        throw base::BadInput(where, fmt::format("{} is no truth value", key), "true or false");
      }
      value = member.get_bool();
    } else {
      read_value(key, base::json_string(object, key, where), value);
    }
  };
}

}  // namespace

std::string bookmark_text(const Bookmark& bookmark) {
  json::object root;
  visit_rest(bookmark, writer(root));
  json::object plant;
  visit_plant(bookmark.plant, writer(plant));
  root["plant"] = std::move(plant);
  if (is_there(bookmark.plant.chain)) {
    json::object chain;
    visit_chain(bookmark.plant.chain, writer(chain));
    root["chain"] = std::move(chain);
  }
  json::array sensors;
  for (const Sensor::Memory& memory : bookmark.sensors) {
    json::object sensor;
    visit_sensor(memory, writer(sensor));
    sensors.emplace_back(std::move(sensor));
  }
  root["sensors"] = std::move(sensors);
  return base::json_line(root);
}

Bookmark bookmark_from_text(std::string_view text) {
  const json::value root = base::json_from_text(text, std::string(where));
  Bookmark bookmark{};
  visit_rest(bookmark, reader(root));
  visit_plant(bookmark.plant, reader(base::json_member(root, "plant", where)));
  if (root.is_object() && root.get_object().contains("chain"))
    visit_chain(bookmark.plant.chain, reader(base::json_member(root, "chain", where)));
  const json::value& sensors = base::json_member(root, "sensors", where);
  if (!sensors.is_array()) throw base::BadInput(where, "sensors is no list", "a list of sensors");
  for (const json::value& sensor : sensors.get_array()) {
    visit_sensor(bookmark.sensors.emplace_back(), reader(sensor));
  }
  return bookmark;
}

}  // namespace windwright::twin
