// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "physics/inverter.h"
#include "physics/load_set.h"

#include <string>
#include <utility>
#include <vector>

namespace windwright::physics {

// Loads and supplies of a bench of our own invention. Inverters are no more exact than this in
// frequency, so that samples fall everywhere about their edges; 10 s hold whole periods of each.
inline LedLamp led_bulb() {
  return {.power_W = 9.0,
          .lowest_voltage_V = 80.0,
          .bridge_drop_V = 1.6,
          .series_ohm = 22.0,
          .capacitance_F = 6.8e-6,
          .light_share = 0.35};
}
inline Lamp mains_lamp() {
  return {.rated_voltage_V = 230.0,
          .rated_power_W = 40.0,
          .rated_temperature_K = 2650.0,
          .heat_capacity_J_K = 3.5e-3};
}
inline Rheostat mains_rheostat() {
  return {.resistance_ohm = 400.0,
          .coefficient_K1 = 2e-4,
          .rated_power_W = 300.0,
          .rated_rise_K = 280.0,
          .heat_capacity_J_K = 400.0,
          .highest_temperature_K = 623.15};
}
inline AcFan desk_fan() {
  return {.stator_ohm = 120.0,
          .magnetising_H = 2.6,
          .leakage_H = 0.5,
          .rotor_ohm = 150.0,
          .pole_pairs = 2,
          .shaft = {.inertia_kg_m2 = 8e-4, .friction_N_m = 4e-3, .driven_N_m_s2 = 6e-6}};
}
inline DcMotor dc_fan() {
  return {.constant_V_s = 0.08,
          .winding_ohm = 1.5,
          .brush_drop_V = 1.0,
          .shaft = {.inertia_kg_m2 = 5e-4, .friction_N_m = 5e-3, .driven_N_m_s2 = 1.2e-6}};
}

inline std::vector<std::pair<std::string, AcSupply>> supplies() {
  return {
      {"sine",
       {.kind = OutputKind::sine, .peak_V = 325.27, .pulse_share = 1.0, .frequency_Hz = 50.0}},
      {"quasi_square",
       {.kind = OutputKind::quasi_square,
        .peak_V = 325.27,
        .pulse_share = 0.5,
        .frequency_Hz = 50.3}},
      {"wide quasi_square",
       {.kind = OutputKind::quasi_square,
        .peak_V = 250.0,
        .pulse_share = 0.8464,
        .frequency_Hz = 60.7}},
      {"square",
       {.kind = OutputKind::square, .peak_V = 230.0, .pulse_share = 1.0, .frequency_Hz = 50.3}}};
}

// Every load that AC terminals carry, in a state of work on that supply.
inline std::vector<std::pair<std::string, SwitchedLoad>> ac_loads(const AcSupply& supply) {
  return {{"rheostat", {.load = mains_rheostat(), .state = {.temperature_K = 400.0}}},
          {"glowing lamp", {.load = mains_lamp(), .state = {.temperature_K = 2600.0}}},
          {"LED lamp",
           {.load = led_bulb(), .state = {.capacitor_J = settled_capacitor_J(led_bulb(), supply)}}},
          {"running fan", {.load = desk_fan(), .state = {.speed_rad_s = 140.0}}},
          {"starting fan", {.load = desk_fan(), .state = {.speed_rad_s = 0.0}}}};
}

}  // namespace windwright::physics
