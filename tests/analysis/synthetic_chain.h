// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "analysis/energy_chain.h"
#include "base/random.h"
#include "metrology/estimate.h"

#include <fmt/format.h>

#include <cmath>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <map>
#include <optional>
#include <set>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::analysis {

/// A sensor of an invented bench: relative and fixed part of its standard uncertainty.
struct InventedSensor {
  double u_gain;
  double u_offset;
};

/// One pair of voltmeter and ammeter at every DC place (at both ends of the cable from rectifier to
/// bus), a wattmeter at the generator and one behind the inverter, torque, two pick-ups of the
/// rotor speed; the generator's electrical frequency by the recorder's time base is the third.
inline const std::map<std::string, InventedSensor>& invented_sensors() {
  static const std::map<std::string, InventedSensor> sensors{
      {"torque_N_m", {0.005, 0.001}},          {"rotor_speed_rad_s", {0.001, 0.002}},
      {"encoder_speed_rad_s", {0.001, 0.002}}, {"ac_power_W", {0.005, 0.01}},
      {"inverter_power_W", {0.005, 0.01}},     {"rectifier_voltage_V", {0.002, 0.001}},
      {"rectifier_current_A", {0.003, 0.001}}, {"bus_voltage_V", {0.002, 0.001}},
      {"bus_current_A", {0.003, 0.001}},       {"battery_voltage_V", {0.002, 0.001}},
      {"battery_current_A", {0.003, 0.001}},   {"dump_voltage_V", {0.002, 0.001}},
      {"dump_current_A", {0.003, 0.001}},      {"inverter_voltage_V", {0.002, 0.001}},
      {"inverter_current_A", {0.003, 0.001}},  {"dc_load_voltage_V", {0.002, 0.001}},
      {"dc_load_current_A", {0.003, 0.001}}};
  return sensors;
}

/// What the bench does in one window; a branch at 0 W is switched off and not in the chain. The
/// battery takes or gives the rest.
struct InventedState {
  double rotor_speed_rad_s;
  double rectifier_W;
  double inverter_output_W;
  double dc_load_W;
  double dump_W;
  double bus_V;
};

/// Everything on, then the branches in turn, strong wind, weak wind, and fast with little load.
inline std::vector<InventedState> switched_in_turn() {
  return {{.rotor_speed_rad_s = 90,
           .rectifier_W = 340,
           .inverter_output_W = 120,
           .dc_load_W = 60,
           .dump_W = 60,
           .bus_V = 52.8},
          {.rotor_speed_rad_s = 95,
           .rectifier_W = 360,
           .inverter_output_W = 0,
           .dc_load_W = 0,
           .dump_W = 0,
           .bus_V = 55.2},
          {.rotor_speed_rad_s = 92,
           .rectifier_W = 340,
           .inverter_output_W = 0,
           .dc_load_W = 270,
           .dump_W = 0,
           .bus_V = 52.4},
          {.rotor_speed_rad_s = 94,
           .rectifier_W = 350,
           .inverter_output_W = 0,
           .dc_load_W = 0,
           .dump_W = 290,
           .bus_V = 54.0},
          {.rotor_speed_rad_s = 60,
           .rectifier_W = 110,
           .inverter_output_W = 260,
           .dc_load_W = 0,
           .dump_W = 0,
           .bus_V = 49.6},
          {.rotor_speed_rad_s = 110,
           .rectifier_W = 60,
           .inverter_output_W = 0,
           .dc_load_W = 150,
           .dump_W = 0,
           .bus_V = 50.8},
          {.rotor_speed_rad_s = 70,
           .rectifier_W = 150,
           .inverter_output_W = 30,
           .dc_load_W = 0,
           .dump_W = 90,
           .bus_V = 51.6}};
}

/// The errors of one seeded bench, in standard uncertainties of the input.
class InventedErrors {
 public:
  InventedErrors(std::uint64_t seed, std::string biased, double bias)
      : stream_(seed, "chain"), biased_(std::move(biased)), bias_(bias) {}
  double next() { return stream_.normal(draw_++); }
  double of(const std::string& input) {
    const auto [found, is_new] = drawn_.try_emplace(input, 0.0);
    if (is_new) found->second = next();
    return found->second;
  }
  double bias_of(std::string_view sensor) const { return sensor == biased_ ? bias_ : 0.0; }

 private:
  base::RandomStream stream_;
  std::string biased_;
  double bias_;
  std::uint64_t draw_ = 0;
  std::map<std::string, double> drawn_;
};

/// No error at all where `errors` is null.
class InventedBench {
 public:
  explicit InventedBench(InventedErrors* errors) : errors_(errors) {}

  ChainWindow window(const InventedState& state, int number) {
    number_ = number;
    const double speed_rad_s = state.rotor_speed_rad_s;
    const double rectifier_V = state.bus_V + cable_ohm * state.rectifier_W / state.bus_V;
    const double cable_A = state.rectifier_W / rectifier_V;
    const double drop_V = cable_ohm * cable_A;
    const double bus_V = rectifier_V - drop_V;
    const double bridge_W = 1.6 * cable_A + 0.05 * cable_A * cable_A;
    const double ac_W = state.rectifier_W + bridge_W;
    const double winding_W = 0.4 * cable_A * cable_A;
    const double iron_W = 0.06 * speed_rad_s;
    const double bearing_W = 0.04 * speed_rad_s;
    const double shaft_W = ac_W + winding_W + iron_W + bearing_W;

    ChainWindow window{.label = fmt::format("state {}", number), .stages = {}, .flows = {}};
    window.stages = {{.name = "rotor"},
                     {.name = "shaft", .lost = loss("generator:bearing-loss", bearing_W)},
                     {.name = "generator",
                      .lost = StagePart::of(modelled("generator:winding-loss", winding_W, 0.05) +
                                            modelled("generator:iron-loss", iron_W, 0.05))},
                     {.name = "rectifier", .lost = loss("generator:rectifier-loss", bridge_W)},
                     {.name = "cable", .lost = loss("cable:resistance", cable_A * drop_V)},
                     {.name = "DC bus"}};
    const auto speed = reading("rotor_speed_rad_s", speed_rad_s);
    const auto rectifier = reading("rectifier_voltage_V", rectifier_V);
    const auto bus = reading("bus_voltage_V", bus_V);
    window.flows = {
        {.from = "rotor",
         .to = "shaft",
         .readings_W = {reading("torque_N_m", shaft_W / speed_rad_s) * speed}},
        {.from = "shaft", .to = "generator"},
        {.from = "generator", .to = "rectifier", .readings_W = {reading("ac_power_W", ac_W)}},
        {.from = "rectifier",
         .to = "cable",
         .readings_W = {rectifier * reading("rectifier_current_A", cable_A)}},
        {.from = "cable", .to = "DC bus", .readings_W = {bus * reading("bus_current_A", cable_A)}}};
    window.quantities = {{"rotor speed", speed},
                         {"encoder speed", reading("encoder_speed_rad_s", speed_rad_s)},
                         {"electrical frequency", modelled("time-base:rate", speed_rad_s, 2e-5)},
                         {"rectifier", rectifier},
                         {"drop", modelled("cable:resistance", drop_V, 0.05)},
                         {"bus", bus}};
    tie(window, "rotor speed", "electrical frequency");
    tie(window, "encoder speed", "electrical frequency");
    window.ties.push_back(
        {.name = "cable", .coefficients = {{"rectifier", 1.0}, {"drop", -1.0}, {"bus", -1.0}}});
    add_branches(state, bus_V, bus_V * cable_A, window);
    return window;
  }

 private:
  static constexpr double infinity = std::numeric_limits<double>::infinity();
  static constexpr double u_random = 2e-4;  // relative, of a mean over the window
  static constexpr double cable_ohm = 0.02;

  void tie(ChainWindow& window, const std::string& one, const std::string& other) {
    window.ties.push_back(
        {.name = one + " and " + other, .coefficients = {{one, 1.0}, {other, -1.0}}});
  }

  void add_branch(const std::string& name, double power_W, double bus_V, ChainWindow& window) {
    const std::string sensor = name == "DC load" ? "dc_load" : name;
    const auto voltage = reading(sensor + "_voltage_V", bus_V);
    const auto current = reading(sensor + "_current_A", power_W / bus_V);
    window.stages.push_back({.name = name});
    window.flows.push_back({.from = "DC bus", .to = name, .readings_W = {voltage * current}});
    window.quantities.emplace(name, voltage);
    tie(window, "bus", name);
  }

  void add_branches(const InventedState& state, double bus_V, double arriving_W,
                    ChainWindow& window) {
    double rest_W = arriving_W - state.dc_load_W - state.dump_W;
    if (state.dc_load_W > 0.0) add_branch("DC load", state.dc_load_W, bus_V, window);
    if (state.dump_W > 0.0) add_branch("dump", state.dump_W, bus_V, window);
    if (state.inverter_output_W > 0.0) {
      const double lost_W = 5.0 + 0.05 * state.inverter_output_W;
      rest_W -= state.inverter_output_W + lost_W;
      add_branch("inverter", state.inverter_output_W + lost_W, bus_V, window);
      window.stages.back().lost = loss("inverter:loss", lost_W);
      window.stages.push_back({.name = "AC load"});
      window.flows.push_back(
          {.from = "inverter",
           .to = "AC load",
           .readings_W = {reading("inverter_power_W", state.inverter_output_W)}});
    }
    add_branch("battery", rest_W, bus_V, window);
  }

  double error(const std::string& input) { return errors_ == nullptr ? 0.0 : errors_->of(input); }

  void add_random(const std::string& name, double u, double& value, metrology::Estimate& estimate) {
    if (errors_ != nullptr) value += u * errors_->next();
    estimate = metrology::Estimate(value, estimate.contributions());
    estimate.add(fmt::format("random-{}#{}", name, number_), {u, infinity});
  }

  // A bias is so many of the standard uncertainties that the sensor has at this reading.
  metrology::Estimate reading(const std::string& sensor, double truth) {
    const InventedSensor& of = invented_sensors().at(sensor);
    double value = truth * (1.0 + of.u_gain * error(sensor + ":gain")) +
                   of.u_offset * error(sensor + ":offset");
    if (errors_ != nullptr) {
      const double u = std::hypot(of.u_gain * truth, of.u_offset);
      value += std::copysign(u, truth) * errors_->bias_of(sensor);
    }
    const double u = u_random * std::abs(truth) + 0.1 * of.u_offset;
    if (errors_ != nullptr) value += u * errors_->next();
    return metrology::Estimate(value,
                               {{sensor + ":gain", {of.u_gain * value, infinity}},
                                {sensor + ":offset", {of.u_offset, infinity}},
                                {fmt::format("random-{}#{}", sensor, number_), {u, infinity}}});
  }

  metrology::Estimate modelled(const std::string& input, double truth, double u_relative) {
    const double value = truth * (1.0 + u_relative * error(input));
    return metrology::Estimate(value, {{input, {u_relative * value, infinity}}});
  }
  StagePart loss(const std::string& input, double truth) {
    return StagePart::of(modelled(input, truth, 0.05));
  }

  InventedErrors* errors_;
  int number_ = 0;
};

inline std::vector<ChainWindow> invented_windows(const std::vector<InventedState>& states,
                                                 InventedErrors* errors) {
  InventedBench bench(errors);
  std::vector<ChainWindow> windows;
  for (const InventedState& state : states)
    windows.push_back(bench.window(state, static_cast<int>(windows.size()) + 1));
  return windows;
}

inline ChainOptions invented_options() {
  ChainOptions options;
  for (const auto& [name, sensor] : invented_sensors())
    options.channels.insert(name);
  return options;
}

}  // namespace windwright::analysis
