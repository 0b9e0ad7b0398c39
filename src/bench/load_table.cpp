// SPDX-License-Identifier: Apache-2.0
#include "bench/load_table.h"

#include "base/errors.h"
#include "base/settings.h"
#include "base/text.h"
#include "bench/placed.h"
#include "physics/lamp.h"
#include "physics/led_lamp.h"
#include "physics/load_set.h"
#include "physics/loads.h"
#include "physics/motor.h"
#include "physics/rheostat.h"

#include <fmt/format.h>

#include <string>
#include <vector>

namespace windwright::bench {

namespace {

using base::BadInput;
using base::Bounds;
using base::Settings;

constexpr double zero_celsius_K = 273.15;
constexpr Bounds volts{.at_most = 1e3, .above = 0.0};
constexpr Bounds watts{.at_most = 1e5, .above = 0.0};
constexpr Bounds ohms{.at_most = 1e6, .above = 0.0};

physics::Rheostat read_rheostat(const Settings& table) {
  return {
      .resistance_ohm = table.number("resistance_ohm", ohms),
      .coefficient_K1 = table.number_or("coefficient_K1", 0.0, {.at_least = 0.0, .at_most = 0.01}),
      .rated_power_W = table.number("rated_power_W", watts),
      .rated_rise_K = table.number_or("rated_rise_K", 280.0, {.at_most = 1e3, .above = 0.0}),
      .heat_capacity_J_K = table.number("heat_capacity_J_K", {.at_least = 0.1, .at_most = 1e6}),
      .highest_temperature_K =
          table.number_or("highest_temperature_C", 350.0, {.at_least = 0.0, .at_most = 1500.0}) +
          zero_celsius_K};
}

physics::Lamp read_lamp(const Settings& table) {
  return {
      .rated_voltage_V = table.number("rated_voltage_V", volts),
      .rated_power_W = table.number("rated_power_W", watts),
      .rated_temperature_K =
          table.number("rated_temperature_K", {.at_least = 1000.0, .at_most = 3600.0}),
      // Quicker filaments would want shorter steps than the bench takes.
      .heat_capacity_J_K = table.number("heat_capacity_J_K", {.at_least = 1e-4, .at_most = 10.0})};
}

physics::LedLamp read_led_lamp(const Settings& table) {
  return {.power_W = table.number("power_W", watts),
          .lowest_voltage_V = table.number("lowest_voltage_V", volts),
          .bridge_drop_V = table.number("bridge_drop_V", {.at_least = 0.0, .at_most = 10.0}),
          .series_ohm = table.number("series_ohm", ohms),
          .capacitance_F = table.number("capacitance_F", {.at_most = 1.0, .above = 0.0}),
          .light_share =
              table.number_or("light_pct", 35.0, {.at_least = 0.0, .at_most = 100.0}) / 100.0};
}

physics::Shaft read_shaft(const Settings& table) {
  return {
      .inertia_kg_m2 = table.number("inertia_kg_m2", {.at_most = 1e3, .above = 0.0}),
      .friction_N_m = table.number_or("friction_N_m", 0.0, {.at_least = 0.0, .at_most = 1e3}),
      .driven_N_m_s2 = table.number_or("driven_N_m_s2", 0.0, {.at_least = 0.0, .at_most = 1e3})};
}

physics::DcMotor read_motor(const Settings& table) {
  return {.constant_V_s = table.number("constant_V_s", {.at_most = 100.0, .above = 0.0}),
          .winding_ohm = table.number("winding_ohm", ohms),
          .brush_drop_V = table.number_or("brush_drop_V", 0.0, {.at_least = 0.0, .at_most = 10.0}),
          .shaft = read_shaft(table)};
}

physics::AcFan read_fan(const Settings& table) {
  const Bounds henry{.at_most = 1e3, .above = 0.0};
  return {.stator_ohm = table.number("stator_ohm", {.at_least = 0.0, .at_most = 1e6}),
          .magnetising_H = table.number("magnetising_H", henry),
          .leakage_H = table.number("leakage_H", henry),
          .rotor_ohm = table.number("rotor_ohm", ohms),
          .pole_pairs = table.integer("pole_pairs", {.at_least = 1, .at_most = 100}),
          .shaft = read_shaft(table)};
}

physics::Load load_of_kind(const Settings& table, bool alternating) {
  const std::string kind = table.text("kind");
  if (kind == "rheostat") return read_rheostat(table);
  if (kind == "lamp") return read_lamp(table);
  if (kind == "led_lamp") return read_led_lamp(table);
  if (kind == "dc_motor" && !alternating) return read_motor(table);
  if (kind == "ac_fan" && alternating) return read_fan(table);
  throw BadInput(
      table.place("kind"), fmt::format("kind '{}' is no {} load", kind, alternating ? "AC" : "DC"),
      base::either_of({"rheostat", "lamp", "led_lamp", alternating ? "ac_fan" : "dc_motor"}));
}

}  // namespace

physics::SwitchedLoad read_load(const Settings& table, bool alternating) {
  physics::SwitchedLoad result{
      .load = load_of_kind(table, alternating),
      .state = {},
      .count = static_cast<double>(table.integer_or("count", 1, {.at_least = 1, .at_most = 1000})),
      .on = false};
  try {
    physics::check(result.load);
  } catch (const BadInput& refused) {
    throw placed(refused, table.place());
  }
  return result;
}

physics::Loads read_bridge_loads(const Settings& table) {
  const Bounds resistance{.at_least = 0.01, .at_most = 1e6};
  const physics::Loads loads{
      .rheostat_lowest_ohm = table.number("rheostat_lowest_ohm", resistance),
      .rheostat_highest_ohm = table.number("rheostat_highest_ohm", resistance),
      .lamps = table.integer("lamps", {.at_least = 0, .at_most = 1000}),
      .lamp_rated_voltage_V = table.number("lamp_rated_voltage_V", {.at_most = 1e3, .above = 0.0}),
      .lamp_rated_power_W = table.number("lamp_rated_power_W", {.at_most = 1e4, .above = 0.0}),
      .lamp_rated_temperature_K =
          table.number("lamp_rated_temperature_K", {.at_least = 1000.0, .at_most = 3600.0}),
      .lamp_heat_capacity_J_K =
          table.number("lamp_heat_capacity_J_K", {.at_least = 1e-5, .at_most = 10.0})};
  if (loads.rheostat_lowest_ohm >= loads.rheostat_highest_ohm) {
    throw BadInput(table.place("rheostat_highest_ohm"),
                   "rheostat_highest_ohm is not above rheostat_lowest_ohm",
                   fmt::format("a number above {}", loads.rheostat_lowest_ohm));
  }
  return loads;
}

physics::Loads no_bridge_loads() {
  return {.rheostat_lowest_ohm = 1.0,
          .rheostat_highest_ohm = 1e6,
          .lamps = 0,
          .lamp_rated_voltage_V = 1.0,
          .lamp_rated_power_W = 1.0,
          .lamp_rated_temperature_K = 2000.0,
          .lamp_heat_capacity_J_K = 1.0};
}

}  // namespace windwright::bench
