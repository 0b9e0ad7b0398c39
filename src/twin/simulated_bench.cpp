// SPDX-License-Identifier: Apache-2.0
#include "twin/simulated_bench.h"

#include "base/clock.h"
#include "base/errors.h"
#include "physics/chain_control.h"
#include "physics/electrical_chain.h"
#include "physics/load_set.h"
#include "physics/loads.h"
#include "twin/bookmark.h"
#include "twin/chain_energy.h"
#include "twin/fault_effects.h"
#include "twin/hard_wired_state.h"
#include "twin/plant.h"
#include "twin/plant_chain.h"
#include "twin/sampling.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <chrono>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <map>
#include <numbers>
#include <optional>
#include <string>
#include <string_view>
#include <thread>
#include <vector>

namespace windwright::twin {

namespace {

using Clock = std::chrono::steady_clock;

constexpr double blade_change_s = 30.0;
constexpr double rad_per_deg = std::numbers::pi / 180.0;
constexpr double least_ohm = 1e-3;  // of a rheostat whose limits are dead
constexpr std::string_view fan = "fan_pct";
constexpr std::string_view load_selector = "load_selector";
constexpr std::string_view inverter_switch = "inverter_switch";
constexpr std::string_view mains_charger_switch = "mains_charger_switch";
constexpr std::array<std::string_view, 4> load_names{"none", "rheostat", "lamps",
                                                     "rheostat_and_lamps"};

// What no sensor sees of the chain; what sensors see is among the quantities.
void add_chain_truth(const Plant& plant, const physics::ChainFlow& flow,
                     std::map<std::string, double>& all) {
  ChainPowers_W powers{};
  fill_powers(flow, powers);
  for (std::size_t i = 0; i < chain_parts; ++i)
    all[fmt::format("{}_W", chain_part_names[i])] = powers[i];
  const physics::ChainControl& control = plant.state().chain.control;
  all["state_of_charge_pct"] = 100.0 * plant.state_of_charge();
  all["charge_stage"] = static_cast<double>(control.controller.stage);
  all["charge_target_V"] = control.output.target_V;
  all["source_share"] = control.output.source_share;
  all["dump_share"] = control.output.dump_share;
  all["loads_connected"] = control.output.loads_connected ? 1.0 : 0.0;
  all["inverter_mode"] = static_cast<double>(control.inverter.mode);
  all["source_switchings"] = static_cast<double>(control.controller.source_switchings);
  all["dump_switchings"] = static_cast<double>(control.controller.dump_switchings);
  all["load_switchings"] = static_cast<double>(control.controller.load_switchings);
  all["inverter_stops"] = static_cast<double>(control.inverter_stops);
}

}  // namespace

struct SimulatedBench::State {
  State(const bench::Bench& described, Pace wanted);

  void keep_pace() const;
  void restart_pace();
  std::int64_t samples_of_time() const { return plant.state().tick / plant.ticks_per_sample(); }
  physics::LoadSelection selection_at(std::string_view actuator, double value) const;
  void change_blades(std::int64_t blades, double pitch_rad);
  void pass(std::int64_t samples);
  void carry_out(std::string_view actuator, double value);
  bool is_stuck(std::string_view actuator) const;
  FaultSite fault_site() {
    return {.bench = bench, .plant = plant, .sensors = sampling.sensors(), .sample = next_sample};
  }

  bench::Bench bench;  // its own copy: plant refers to it
  Pace pace;
  Plant plant;
  Sampling sampling;
  std::int64_t next_sample = 0;
  bool gap_before = false;
  Clock::time_point pace_start;
  std::int64_t pace_sample = 0;
};

SimulatedBench::State::State(const bench::Bench& described, Pace wanted)
    : bench(described), pace(wanted), plant(bench), sampling(bench, plant) {
  restart_pace();
}

void SimulatedBench::State::restart_pace() {
  pace_start = Clock::now();
  pace_sample = next_sample;
}

void SimulatedBench::State::keep_pace() const {
  if (pace == Pace::as_fast_as_possible) return;
  const std::chrono::duration<double> due(static_cast<double>(next_sample - pace_sample) /
                                          (bench.sample_rate_hz * pace.times));
  std::this_thread::sleep_until(pace_start + std::chrono::duration_cast<Clock::duration>(due));
}

physics::LoadSelection SimulatedBench::State::selection_at(std::string_view actuator,
                                                           double value) const {
  const std::string& wanted =
      bench.actuator(actuator).positions.at(static_cast<std::size_t>(value));
  const auto found = std::find(load_names.begin(), load_names.end(), wanted);
  return static_cast<physics::LoadSelection>(found - load_names.begin());
}

void SimulatedBench::State::change_blades(std::int64_t blades, double pitch_rad) {
  constexpr double same_rad = 1e-9;  // degrees into radians and back
  if (blades == plant.state().blades && std::abs(pitch_rad - plant.state().pitch_rad) < same_rad) {
    return;
  }
  if (plant.state().fan_pct > 0.0) {
    throw base::DeviceFault(bench.name, "blades cannot be changed while the fan turns",
                            "command fan_pct to 0 first");
  }
  if (plant.state().wind_imposed && plant.state().mean_air_speed_m_s > 0.0) {
    throw base::DeviceFault(bench.name, "blades cannot be changed while the wind blows",
                            "an air speed of 0 first");
  }
  plant.mount(blades, pitch_rad, blade_change_s);
  pass(0);
}

// After plant time went by, lets go of `samples` more and takes up sampling behind the gap.
void SimulatedBench::State::pass(std::int64_t samples) {
  for (std::int64_t left = samples * plant.ticks_per_sample(); left > 0;)
    left -= plant.advance(left);
  if (samples_of_time() == next_sample) return;
  next_sample = samples_of_time();
  gap_before = true;
  for (Sensor& sensor : sampling.sensors())
    sensor.settle();
  restart_pace();
}

SimulatedBench::SimulatedBench(const bench::Bench& bench, Pace pace)
    : state_(std::make_unique<State>(bench, pace)) {}

SimulatedBench::~SimulatedBench() = default;

const std::string& SimulatedBench::name() const {
  return state_->bench.name;
}

double SimulatedBench::sample_rate_hz() const {
  return state_->bench.sample_rate_hz;
}

base::UtcTime SimulatedBench::now() const {
  const double seconds = static_cast<double>(state_->next_sample) / sample_rate_hz();
  return state_->bench.simulation->start + std::chrono::nanoseconds(std::llround(seconds * 1e9));
}

bool SimulatedBench::State::is_stuck(std::string_view name) const {
  if (plant.state().stuck_actuators == 0) return false;
  for (std::size_t i = 0; i < bench.actuators.size(); ++i) {
    if (bench.actuators[i].name == name)
      return ((plant.state().stuck_actuators >> i) & std::int64_t{1}) != 0;
  }
  return false;
}

void SimulatedBench::set(std::string_view name, double value) {
  const bench::Actuator& actuator = state_->bench.actuator(name);
  const bool in_steps = !actuator.positions.empty() || name == "blade_count";
  const bool continuous = !in_steps && std::isfinite(value);
  // Negated, so that NaN is refused too.
  if ((!(value >= actuator.lowest && value <= actuator.highest) ||
       (in_steps && value != std::floor(value))) &&
      !(state_->plant.state().limits_dead && continuous)) {
    throw base::DeviceFault(state_->bench.name, fmt::format("{} refuses {}", name, value),
                            fmt::format("its limits are {} to {}{}", actuator.lowest,
                                        actuator.highest, in_steps ? ", whole numbers" : ""));
  }
  if (!state_->is_stuck(name)) state_->carry_out(name, value);
}

void SimulatedBench::State::carry_out(std::string_view name, double value) {
  const PlantState& now = plant.state();
  const auto selection = static_cast<physics::LoadSelection>(now.load_selection);
  if (name == fan) {
    plant.command_fan(std::max(0.0, value));
  } else if (name == load_selector) {
    plant.command_load(selection_at(name, value), now.rheostat_ohm);
  } else if (name == "rheostat_ohm") {
    plant.command_load(selection, std::max(least_ohm, value));
  } else if (name == "blade_count") {
    change_blades(std::llround(value), now.pitch_rad);
  } else if (name == "pitch_deg") {
    change_blades(now.blades, value * rad_per_deg);
  } else if (name == "dc_load_selector") {
    plant.turn_dc_selector(static_cast<std::size_t>(value));
  } else if (name == "ac_load_selector") {
    plant.turn_ac_selector(static_cast<std::size_t>(value));
  } else if (name == inverter_switch) {
    plant.switch_inverter(value > 0.0);
  } else if (name == mains_charger_switch) {
    plant.switch_mains_charger(value > 0.0);
  } else {
    throw base::DeviceFault(bench.name, fmt::format("{} cannot be simulated", name),
                            "the actuators in docs/bench.md");
  }
}

std::optional<double> SimulatedBench::setting(std::string_view name) {
  const State& s = *state_;
  const PlantState& now = s.plant.state();
  const physics::ChainControl& control = now.chain.control;
  if (name == fan) return now.fan_pct;
  if (name == load_selector) {
    const auto& wanted = load_names.at(static_cast<std::size_t>(now.load_selection));
    return s.bench.actuator(name).position(wanted);  // none at the start may be no position
  }
  if (name == "rheostat_ohm") return now.rheostat_ohm;
  if (name == "blade_count") return static_cast<double>(now.blades);
  if (name == "pitch_deg") return now.pitch_rad / rad_per_deg;
  if (name == "dc_load_selector") return static_cast<double>(control.dc_selector.position);
  if (name == "ac_load_selector") return static_cast<double>(control.ac_selector.position);
  if (name == inverter_switch) return control.inverter_on ? 1.0 : 0.0;
  if (name == mains_charger_switch) return control.mains_on ? 1.0 : 0.0;
  return std::nullopt;
}

void SimulatedBench::ask_for(bench::HandAction action) {
  using enum bench::HandAction;
  if (!state_->bench.hard_wired) {
    throw base::DeviceFault(state_->bench.name, "has no hard-wired chain",
                            "a table [hard_wired] in the bench's file");
  }
  const auto set = [this](bool HardWiredState::* what, bool value) {
    state_->plant.set_hard_wired(what, value);
  };
  switch (action) {
    case press_emergency_stop:
    case release_emergency_stop:
      return set(&HardWiredState::emergency_stop_pressed, action == press_emergency_stop);
    case open_cover:
    case close_cover:
      return set(&HardWiredState::cover_open, action == open_cover);
    case open_fuse:
    case close_fuse:
      return set(&HardWiredState::fuse_blown, action == open_fuse);
  }
}

void SimulatedBench::apply_known_input(std::string_view channel, double value) {
  State& s = *state_;
  if (!std::isfinite(value)) {
    throw base::DeviceFault(s.bench.name, fmt::format("known input {} on {}", value, channel),
                            "a finite value");
  }
  s.sampling.apply_known_input(s.bench.channel_index(channel), value);
}

void SimulatedBench::remove_known_input() {
  state_->sampling.remove_known_input();
}

void SimulatedBench::read(bench::SampleBlock& block) {
  read(block, static_cast<std::size_t>(std::llround(state_->bench.block_s * sample_rate_hz())));
}

void SimulatedBench::read(bench::SampleBlock& block, std::size_t samples) {
  State& s = *state_;
  block.first_sample = s.next_sample;
  block.start = now();
  block.gap_before = s.gap_before;
  block.channels = s.sampling.sensors().size();
  block.samples = samples;
  block.counts.resize(block.channels * block.samples);
  s.gap_before = false;
  const std::int64_t per_sample = s.plant.ticks_per_sample();
  std::int64_t left = static_cast<std::int64_t>(block.samples) * per_sample;
  std::int64_t tick = 0;  // since the block's first sample
  while (left > 0) {
    const std::int64_t gone = s.plant.advance(left);
    const std::int64_t first_tick = (per_sample - tick % per_sample) % per_sample;
    const std::int64_t taken = first_tick < gone ? (gone - first_tick - 1) / per_sample + 1 : 0;
    s.sampling.take({.first_tick = first_tick,
                     .count = static_cast<std::size_t>(taken),
                     .first_sample = s.next_sample},
                    static_cast<std::size_t>((tick + first_tick) / per_sample), block);
    s.next_sample += taken;
    tick += gone;
    left -= gone;
  }
  s.keep_pace();
  block.received.reset();
  if (s.pace == Pace::real_time) block.received = base::host_now();
}

void SimulatedBench::stop() noexcept {
  State& s = *state_;
  Plant& plant = s.plant;
  if (!s.is_stuck(fan)) plant.command_fan(0.0);
  if (s.bench.hard_wired) plant.release_contactor();
  if (is_there(plant.state().chain)) {
    if (!s.is_stuck(inverter_switch)) plant.switch_inverter(false);
    if (!s.is_stuck(mains_charger_switch)) plant.switch_mains_charger(false);
    return;
  }
  const bool unloaded =
      plant.state().load_selection == static_cast<std::int64_t>(physics::LoadSelection::none);
  if (unloaded && !s.is_stuck(load_selector)) {
    plant.command_load(physics::LoadSelection::rheostat, plant.state().rheostat_ohm);
  }
}

std::string SimulatedBench::bookmark() const {
  const State& s = *state_;
  Bookmark bookmark{.seed = s.bench.simulation->seed,
                    .sample = s.next_sample,
                    .gap_before = s.gap_before,
                    .plant = s.plant.state(),
                    .sensors = {}};
  for (const Sensor& sensor : s.sampling.sensors())
    bookmark.sensors.push_back(sensor.memory());
  return bookmark_text(bookmark);
}

namespace {

void require_positions(const physics::ChainControl& wanted, const physics::ChainSetup& setup) {
  const auto require = [](const char* key, std::size_t position, const physics::Selector& of) {
    if (position < of.positions.size()) return;
    throw base::BadInput("bookmark of the simulated bench", fmt::format("{} is {}", key, position),
                         fmt::format("from 0 to {}", of.positions.size() - 1));
  };
  require("dc_position", wanted.dc_selector.position, setup.dc_selector);
  require("ac_position", wanted.ac_selector.position, setup.ac_selector);
}

}  // namespace

void SimulatedBench::return_to(std::string_view text) {
  State& s = *state_;
  const Bookmark bookmark = bookmark_from_text(text);
  if (bookmark.seed != s.bench.simulation->seed ||
      bookmark.sensors.size() != s.sampling.sensors().size()) {
    throw base::BadInput("bookmark of the simulated bench", "is of another bench or seed",
                         "the bench description that the bookmark was made with");
  }
  const ChainMotion& chain = s.plant.state().chain;
  const ChainMotion& wanted = bookmark.plant.chain;
  if (is_there(wanted) != is_there(chain) || wanted.dc_moving.size() != chain.dc_moving.size() ||
      wanted.ac_moving.size() != chain.ac_moving.size()) {
    throw base::BadInput("bookmark of the simulated bench", "is of another battery or other loads",
                         "the bench description that the bookmark was made with");
  }
  if (s.bench.chain) require_positions(wanted.control, s.bench.chain->setup);
  remove_known_input();
  s.plant.restore(bookmark.plant);
  s.next_sample = bookmark.sample;
  s.gap_before = bookmark.gap_before;
  for (std::size_t i = 0; i < bookmark.sensors.size(); ++i)
    s.sampling.sensors()[i].restore(bookmark.sensors[i]);
  s.restart_pace();
}

std::map<std::string, double> SimulatedBench::truth() const {
  const State& s = *state_;
  const Motion motion = s.plant.motion_now();
  const PowerFlow flow = s.plant.power_flow_now();
  const Truth& truth = s.plant.truth();
  const double radius_m = truth.rotor.tip_radius_m;
  const bool wind = flow.wind_power_W > 0.0;
  std::map<std::string, double> all;
  const TrueValues values = s.sampling.true_values({.motion = motion,
                                                    .dc_voltage_V = flow.generator.dc_voltage_V,
                                                    .dc_current_A = flow.generator.dc_current_A,
                                                    .machine = s.plant.state().machine,
                                                    .chain = s.plant.chain_reading(flow)});
  for (std::size_t i = 0; i < quantity_count; ++i) {
    if (s.sampling.is_known(i)) all[std::string(quantity_name(i))] = values[i];
  }
  all["disc_air_speed_m_s"] = flow.disc_air_speed_m_s;
  all["induced_air_speed_m_s"] = flow.induced_air_speed_m_s;
  all["tip_speed_ratio"] =
      wind ? motion.rotor_speed_rad_s * radius_m / flow.disc_air_speed_m_s : 0.0;
  all["air_density_kg_m3"] = s.plant.density_kg_m3();
  all["wind_power_W"] = flow.wind_power_W;
  all["rotor_torque_N_m"] = flow.rotor_torque_N_m;
  all["rotor_power_W"] = flow.rotor_power_W;
  all["stored_power_W"] = flow.stored_power_W;
  all["bearing_loss_W"] = flow.generator.bearing_loss_W;
  all["iron_loss_W"] = flow.generator.iron_loss_W;
  all["electromagnetic_power_W"] = flow.generator.electromagnetic_power_W;
  all["winding_loss_W"] = flow.generator.winding_loss_W;
  all["ac_power_W"] = flow.generator.ac_power_W;
  all["rectifier_loss_W"] = flow.generator.rectifier_loss_W;
  all["dc_power_W"] = flow.generator.dc_power_W;
  all["cp"] = wind ? flow.rotor_power_W / flow.wind_power_W : 0.0;
  all["electrical_cp"] = wind ? flow.generator.dc_power_W / flow.wind_power_W : 0.0;
  all["lamp_temperature_K"] = motion.lamp_temperature_K;
  all["pitch_deg"] = s.plant.true_pitch_rad() / rad_per_deg;
  all["blade_count"] = static_cast<double>(s.plant.state().blades);
  all["tip_radius_m"] = radius_m;
  all["position_factor"] = truth.position_factor;
  if (s.bench.hard_wired)
    all["fan_contactor"] = s.plant.state().hard_wired.has_fan_power() ? 1.0 : 0.0;
  if (flow.chain) add_chain_truth(s.plant, *flow.chain, all);
  return all;
}

void SimulatedBench::start_gust(const physics::Gust& gust) {
  state_->plant.start_gust(gust);
}

void SimulatedBench::impose_wind(double air_speed_m_s, double rise_m_s2) {
  state_->plant.impose_wind(air_speed_m_s, rise_m_s2);
}

void SimulatedBench::start_fault(const Fault& fault) {
  begin_fault(fault, state_->fault_site());
}

void SimulatedBench::end_fault(const Fault& fault) {
  twin::end_fault(fault, state_->fault_site());
}

void SimulatedBench::advance(double seconds) {
  state_->pass(std::llround(seconds * sample_rate_hz()));
}

EnergyTally SimulatedBench::energy() const {
  return state_->plant.energy();
}

std::map<std::string, double> SimulatedBench::chain_energy() const {
  std::map<std::string, double> all;
  if (!is_there(state_->plant.state().chain)) return all;
  const ChainEnergies_J& energies_J = state_->plant.state().chain.energies;
  for (std::size_t i = 0; i < chain_parts; ++i)
    all[fmt::format("{}_J", chain_part_names[i])] = energies_J[i];
  all["battery_store_J"] = state_->plant.battery_store_J();
  return all;
}

void SimulatedBench::reset_energy() {
  state_->plant.reset_energy();
}

}  // namespace windwright::twin
