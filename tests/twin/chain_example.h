// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "physics/battery.h"
#include "physics/chain_control.h"
#include "physics/charge_controller.h"
#include "physics/generator_heat.h"
#include "physics/inverter.h"
#include "physics/load_set.h"
#include "twin/averaged_chain.h"

#include <numbers>
#include <utility>

namespace windwright::twin {

constexpr double example_room_K = 293.15;

/// An off-grid shed of our own invention: 1.8 m rotor, 24 V, 60 A h, 300 VA.
inline physics::Generator shed_generator() {
  return {.pole_pairs = 6,
          .flux_linkage_V_s = 0.05,
          .winding_resistance_ohm = 0.25,
          .winding_inductance_H = 0.8e-3,
          .diode_drop_V = 0.75,
          .diode_resistance_ohm = 0.01,
          .bearing_torque_N_m = 0.03,
          .bearing_viscous_N_m_s = 2e-4,
          .iron_hysteresis_J = 1.5e-3,
          .iron_eddy_J_s = 8e-6,
          .cogging_torque_N_m = 0.05};
}

/// Copper and ferrite in aluminium.
constexpr physics::GeneratorHeat shed_heat{.reference_K = 293.15,
                                           .zero_resistance_C = 235.0,
                                           .magnet_flux_K1 = -0.002,
                                           .winding_heat_J_K = 300.0,
                                           .frame_heat_J_K = 1800.0,
                                           .winding_to_frame_W_K = 3.0,
                                           .frame_to_air_W_K = 2.0};

inline physics::ChargeController shed_controller(physics::SourceControl source,
                                                 physics::DumpControl dump) {
  return {.cells = 12,
          .set_points = physics::common_set_points(physics::BatteryKind::flooded),
          .source = source,
          .dump = dump,
          .rated_current_A = 20.0,
          .dump_current_A = 20.0,
          .absorption_end_current_A = 0.6,
          .tracking = physics::PerturbAndObserve{
              .step_V = 0.5, .lowest_V = 10.0, .highest_V = 60.0, .hold_s = 4.0}};
}

inline physics::Inverter shed_inverter() {
  return {.kind = physics::OutputKind::sine,
          .rated_power_VA = 300.0,
          .output_rms_V = 230.0,
          .frequency_Hz = 50.0,
          .link_ratio = 16.0,
          .regulated = true,
          .pulse_share = 0.5,
          .losses = {.no_load_share = 0.02, .proportional_share = 0.03, .quadratic_share = 0.05},
          .standby_power_W = 0.6,
          .off_power_W = 0.05,
          .dc_ripple_share = 0.8,
          .filter = {.carrier_Hz = 20e3, .inductance_H = 2e-3, .capacitance_F = 1e-6},
          .limits = {.low_warning_V = 22.4,
                     .low_stop_V = 21.6,
                     .low_reconnect_V = 25.4,
                     .low_stop_delay_s = 2.0,
                     .high_stop_V = 32.0,
                     .high_reconnect_V = 30.0,
                     .overcurrent_share = 2.5,
                     .overcurrent_delay_s = 0.5,
                     .continuous_share = 1.05,
                     .thermal_time_s = 60.0,
                     .start_delay_s = 0.5,
                     .restart_delay_s = 5.0,
                     .most_restarts = 3,
                     .forgive_s = 120.0,
                     .has_standby = true,
                     .standby_below_VA = 3.0,
                     .standby_delay_s = 10.0}};
}

inline physics::ChainSetup shed(physics::SourceControl source, physics::DumpControl dump) {
  const physics::LoadState cold{.temperature_K = example_room_K};
  const physics::Lamp small_lamp{.rated_voltage_V = 24.0,
                                 .rated_power_W = 20.0,
                                 .rated_temperature_K = 2700.0,
                                 .heat_capacity_J_K = 0.01};
  const physics::DcMotor pump{
      .constant_V_s = 0.08,
      .winding_ohm = 1.5,
      .brush_drop_V = 1.0,
      .shaft = {.inertia_kg_m2 = 5e-4, .friction_N_m = 5e-3, .driven_N_m_s2 = 1.2e-6}};
  const physics::LedLamp lantern{.power_W = 5.0,
                                 .lowest_voltage_V = 15.0,
                                 .bridge_drop_V = 1.4,
                                 .series_ohm = 1.0,
                                 .capacitance_F = 1e-3,
                                 .light_share = 0.35};
  const physics::Lamp mains_lamp{.rated_voltage_V = 230.0,
                                 .rated_power_W = 40.0,
                                 .rated_temperature_K = 2650.0,
                                 .heat_capacity_J_K = 3.5e-3};
  const physics::Rheostat heater{.resistance_ohm = 400.0,
                                 .coefficient_K1 = 2e-4,
                                 .rated_power_W = 300.0,
                                 .rated_rise_K = 280.0,
                                 .heat_capacity_J_K = 400.0,
                                 .highest_temperature_K = 623.15};
  const physics::LedLamp bulb{.power_W = 9.0,
                              .lowest_voltage_V = 80.0,
                              .bridge_drop_V = 1.6,
                              .series_ohm = 22.0,
                              .capacitance_F = 6.8e-6,
                              .light_share = 0.35};
  const physics::AcFan fan{
      .stator_ohm = 120.0,
      .magnetising_H = 2.6,
      .leakage_H = 0.5,
      .rotor_ohm = 150.0,
      .pole_pairs = 2,
      .shaft = {.inertia_kg_m2 = 8e-4, .friction_N_m = 4e-3, .driven_N_m_s2 = 6e-6}};
  return {.chain = {.generator = shed_generator(),
                    .controller = shed_controller(source, dump),
                    .converter = {.no_load_W = 1.0, .drop_V = 0.4, .series_ohm = 0.02},
                    .battery =
                        physics::typical_battery(physics::BatteryKind::flooded, 12, 60.0 * 3600.0),
                    .mains_charger = physics::MainsCharger{.highest_current_A = 8.0,
                                                           .absorption_V = 28.8,
                                                           .float_V = 27.0,
                                                           .regulation_ohm = 0.02,
                                                           .efficiency = 0.88,
                                                           .no_load_W = 3.0,
                                                           .end_current_A = 0.6},
                    .inverter = shed_inverter()},
          .dc_loads = {{.load = small_lamp, .state = cold, .count = 2.0},
                       {.load = pump, .state = cold},
                       {.load = lantern, .state = cold}},
          .ac_loads = {{.load = mains_lamp, .state = cold},
                       {.load = heater, .state = cold},
                       {.load = bulb, .state = cold, .count = 2.0},
                       {.load = fan, .state = cold}},
          .dc_selector = {.positions = {0U, 1U, 2U, 7U},
                          .contact = physics::Contact::break_before_make,
                          .transfer_s = 0.2},
          .ac_selector = {.positions = {0U, 1U, 2U, 4U, 8U, 15U},
                          .contact = physics::Contact::make_before_break,
                          .transfer_s = 0.2}};
}

/// cq(x) = (0.015 + 0.0208 x)(1 - x / 11) over the tip-speed ratio x: invented.
inline DrivingRotor shed_rotor() {
  constexpr double radius_m = 0.9;
  constexpr double density_kg_m3 = 1.2;
  return {.inertia_kg_m2 = 0.08, .torque_N_m = [](double air_m_s, double speed_rad_s) {
            const double tip_m_s = radius_m * speed_rad_s;
            return 0.5 * density_kg_m3 * std::numbers::pi * radius_m * radius_m * radius_m *
                   (0.015 * air_m_s + 0.0208 * tip_m_s) * (air_m_s - tip_m_s / 11.0);
          }};
}

inline AveragedChain shed_chain(physics::SourceControl source, physics::DumpControl dump,
                                double state_of_charge, double period_s = 0.1) {
  physics::ChainSetup setup = shed(source, dump);
  const physics::BatteryState battery =
      physics::rested_state(setup.chain.battery, state_of_charge, example_room_K);
  return {std::move(setup), shed_rotor(), battery, example_room_K, period_s};
}

}  // namespace windwright::twin
