// SPDX-License-Identifier: Apache-2.0
#include "analysis/columns.h"

#include <algorithm>
#include <array>
#include <span>
#include <string_view>

namespace windwright::analysis {

namespace {

// Ranges are wide: they catch a wrong unit, not an odd bench.
constexpr double any = 1e12;
constexpr std::array<Column, 41> columns{{
    {"air_speed_m_s", "mean air speed at the rotor disc", 1e-3, 150.0},
    {"air_speed_cubed_m3_s3", "mean of the cube of that air speed", 1e-9, 3.4e6},
    {"turbulence_intensity_pct", "standard deviation of that air speed over its mean", 0.0, 60.0},
    {"rotor_speed_rad_s", "mean rotor speed", -1e-1, 1e4},
    {"air_temperature_C", "mean air temperature", -60.0, 80.0},
    {"air_pressure_hPa", "mean static pressure of the air", 300.0, 1200.0},
    {"air_humidity_pct", "mean relative humidity", 0.0, 105.0},
    {"air_density_kg_m3", "air density, where it was not measured as the three above", 0.05, 20.0},
    {"torque_N_m", "mean shaft torque", -any, any},
    {"shaft_power_W", "mean shaft power, mean of torque times speed", -any, any},
    {"thrust_N", "mean thrust on the rotor", -any, any},
    {"dc_voltage_V", "mean voltage at the DC terminals", -any, any},
    {"dc_current_A", "mean current out of the DC terminals", -any, any},
    {"dc_power_W", "mean of the product of the two", -any, any},
    {"winding_temperature_C", "mean temperature of the generator's winding", -60.0, 300.0},
    {"frame_temperature_C", "mean temperature of the generator's frame and magnets", -60.0, 300.0},
    {"ac_voltage_V", "root mean square of the phase voltage (terminal to star point)", 0.0, any},
    {"ac_current_A", "root mean square of the line current", 0.0, any},
    {"ac_voltage_b_V", "the same of phase b", 0.0, any},
    {"ac_current_b_A", "the same of phase b", 0.0, any},
    {"ac_voltage_c_V", "the same of phase c", 0.0, any},
    {"ac_current_c_A", "the same of phase c", 0.0, any},
    {"ac_line_voltage_ab_V", "root mean square of the voltage from phase a to b", 0.0, any},
    {"ac_line_voltage_bc_V", "the same from b to c", 0.0, any},
    {"ac_line_voltage_ca_V", "the same from c to a", 0.0, any},
    {"ac_power_W",
     "power of all three phases: mean products of each, or three times that of one if only one is "
     "measured",
     -any, any},
    {"battery_voltage_V", "mean voltage of the DC bus, at the battery's terminals", -any, any},
    {"battery_current_A", "mean current out of the battery, negative while it is charged", -any,
     any},
    {"battery_power_W", "mean of the product of the two", -any, any},
    {"battery_temperature_C", "mean temperature of the battery", -60.0, 120.0},
    {"charge_current_A", "mean current from the charge controller into the DC bus", -any, any},
    {"charge_power_W", "mean product of that current and the bus voltage", -any, any},
    {"dump_current_A", "mean current into the dump load", -any, any},
    {"dump_power_W", "mean product of that current and the bus voltage", -any, any},
    {"inverter_input_A", "mean current into the inverter", -any, any},
    {"inverter_input_W", "mean product of that current and the bus voltage", -any, any},
    {"inverter_output_rms_V", "mean root-mean-square voltage at the inverter's output", 0.0, any},
    {"inverter_output_rms_A", "mean root-mean-square current at the inverter's output", 0.0, any},
    {"inverter_output_V", "root mean square of the inverter's output voltage", 0.0, any},
    {"inverter_output_A", "root mean square of the inverter's output current", 0.0, any},
    {"inverter_output_W", "mean active power at the inverter's output", -any, any},
}};

}  // namespace

std::span<const Column> known_columns() {
  return columns;
}

const Column* known_column(std::string_view name) {
  const auto known = known_columns();
  const auto found = std::find_if(known.begin(), known.end(),
                                  [&](const Column& column) { return column.name == name; });
  return found == known.end() ? nullptr : &*found;
}

}  // namespace windwright::analysis
