// SPDX-License-Identifier: Apache-2.0
#include "twin/plant.h"

#include "physics/chain_control.h"
#include "physics/electrical_chain.h"
#include "physics/generator.h"
#include "physics/gust.h"
#include "physics/load_set.h"
#include "physics/unbalance.h"
#include "twin/piece.h"
#include "twin/plant_chain.h"
#include "twin/plant_model.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <memory>
#include <numbers>
#include <span>

namespace windwright::twin {

namespace {

physics::GeneratorLoad generator_of(const physics::SourceFlow& source) {
  physics::GeneratorLoad load{};
  load.dc_voltage_V = source.dc_voltage_V;
  load.dc_current_A = source.dc_current_A;
  load.dc_power_W = source.dc_power_W;
  load.rectifier_loss_W = source.rectifier_loss_W;
  load.ac_power_W = source.dc_power_W + source.rectifier_loss_W;
  load.winding_loss_W = source.winding_loss_W;
  load.electromagnetic_power_W = load.ac_power_W + source.winding_loss_W;
  load.iron_loss_W = source.iron_loss_W;
  load.bearing_loss_W = source.bearing_loss_W;
  load.shaft_torque_N_m = source.shaft_torque_N_m;
  load.line_current_rms_A = source.line_current_rms_A;
  load.phase_emf_peak_V = source.phase_emf_peak_V;
  return load;
}

// Parabolas through what is read at the start, the middle and the end of a piece.
ChainReading between(const std::array<ChainReading, 3>& at, double part) {
  const auto of = [&](double ChainReading::* what) {
    return parabola({at[0].*what, at[1].*what, at[2].*what}, part);
  };
  return {.source_voltage_V = of(&ChainReading::source_voltage_V),
          .source_current_A = of(&ChainReading::source_current_A),
          .battery_voltage_V = of(&ChainReading::battery_voltage_V),
          .battery_current_A = of(&ChainReading::battery_current_A),
          .battery_temperature_K = of(&ChainReading::battery_temperature_K),
          .charge_current_A = of(&ChainReading::charge_current_A),
          .dump_current_A = of(&ChainReading::dump_current_A),
          .inverter_input_A = of(&ChainReading::inverter_input_A),
          .inverter_output_rms_V = of(&ChainReading::inverter_output_rms_V),
          .inverter_output_rms_A = of(&ChainReading::inverter_output_rms_A),
          .inverter_output_W = of(&ChainReading::inverter_output_W)};
}

}  // namespace

Plant::Plant(const bench::Bench& bench) : model_(std::make_unique<Model>(bench)) {}
Plant::~Plant() = default;

double Plant::tick_s() const {
  return model_->tick_s;
}
std::int64_t Plant::ticks_per_sample() const {
  return model_->ticks_per_sample;
}
const PlantState& Plant::state() const {
  return model_->state;
}
const Truth& Plant::truth() const {
  return model_->truth;
}
physics::Air Plant::air() const {
  return model_->air;
}
double Plant::density_kg_m3() const {
  return model_->density_kg_m3;
}
const physics::Generator& Plant::generator() const {
  return model_->generator;
}
double Plant::true_pitch_rad() const {
  return model_->mounted.pitch_rad;
}

void Plant::restore(const PlantState& state) {
  model_->state = state;
  model_->refresh_air();
  model_->refresh_rotor();
  model_->refresh_generator();
  model_->refresh_gust();
}

void Plant::impose_wind(double air_speed_m_s, double rise_m_s2) {
  PlantState& state = model_->state;
  state.wind_imposed = true;
  state.mean_air_speed_m_s = air_speed_m_s;
  state.wind_rise_m_s2 = rise_m_s2;
}

void Plant::block_fan(double share_lost) {
  model_->state.fan_share = 1.0 - share_lost;
}

void Plant::wear_bearing(double factor) {
  model_->state.bearing_factor = factor;
  model_->refresh_generator();
}

void Plant::loosen_blade(double at_tip_kg) {
  model_->state.loose_at_tip_kg = at_tip_kg;
}

void Plant::stick_actuator(std::size_t actuator, bool stuck) {
  const std::int64_t bit = std::int64_t{1} << actuator;
  std::int64_t& all = model_->state.stuck_actuators;
  all = stuck ? all | bit : all & ~bit;
}

void Plant::set_limits_dead(bool dead) {
  model_->state.limits_dead = dead;
}

void Plant::release_contactor() {
  model_->state.hard_wired.release();
  model_->settle_hard_wired();
}

void Plant::hold_contactor() {
  model_->state.hard_wired.hold(model_->state.fan_pct > 0.0);
  model_->settle_hard_wired();
}

void Plant::set_hard_wired(bool HardWiredState::* what, bool value) {
  model_->state.hard_wired.*what = value;
  model_->settle_hard_wired();
}

double Plant::vibration_m_s2(double rotor_speed_rad_s) const {
  const Model& m = *model_;
  if (!m.bench.tower) return 0.0;
  return physics::unbalance_acceleration_m_s2(
      m.bench.tower->mode, m.bench.tower->unbalance_at_tip_kg + m.state.loose_at_tip_kg,
      m.truth.rotor.tip_radius_m, rotor_speed_rad_s);
}

void Plant::turn_dc_selector(std::size_t position) {
  physics::SelectorState& selector = model_->state.chain.control.dc_selector;
  selector = physics::turned_to(model_->chain->setup().dc_selector, selector, position);
}

void Plant::turn_ac_selector(std::size_t position) {
  physics::SelectorState& selector = model_->state.chain.control.ac_selector;
  selector = physics::turned_to(model_->chain->setup().ac_selector, selector, position);
}

void Plant::switch_inverter(bool on) {
  if (on) hold_contactor();
  model_->state.chain.control.inverter_on = on && model_->state.hard_wired.has_fan_power();
}

void Plant::switch_mains_charger(bool on) {
  if (on) hold_contactor();
  physics::switch_mains(on && model_->state.hard_wired.has_fan_power(),
                        model_->state.chain.control);
}

void Plant::set_bridge_fault(physics::BridgeFault fault) {
  model_->state.chain.bridge_fault = fault;
}

void Plant::set_battery_fault(const physics::BatteryFault& fault) {
  model_->chain->change_battery_fault(fault, model_->state.chain);
}

double Plant::state_of_charge() const {
  return model_->chain ? model_->chain->state_of_charge(model_->state.chain) : 0.0;
}

double Plant::battery_store_J() const {
  return model_->chain ? model_->chain->battery_store_J(model_->state.chain) : 0.0;
}

ChainReading Plant::chain_reading(const PowerFlow& flow) const {
  return flow.chain ? model_->chain->reading(*flow.chain) : ChainReading{};
}

void Plant::start_gust(const physics::Gust& gust) {
  PlantState& state = model_->state;
  state.gust_tick = state.tick;
  state.gust_shape = static_cast<std::int64_t>(gust.shape);
  state.gust_duration_s = gust.duration_s;
  state.gust_amplitude_m_s = gust.amplitude_m_s;
  model_->refresh_gust();
}

void Plant::command_fan(double fan_pct) {
  if (fan_pct > 0.0) hold_contactor();
  model_->state.fan_pct = fan_pct;
  model_->settle_hard_wired();
}

void Plant::command_load(physics::LoadSelection selection, double rheostat_ohm) {
  model_->state.load_selection = static_cast<std::int64_t>(selection);
  model_->state.rheostat_ohm = rheostat_ohm;
}

void Plant::mount(std::int64_t blades, double pitch_rad, double duration_s) {
  PlantState& state = model_->state;
  state.tally.brake_J += model_->kinetic_J();
  state.rotor_speed_rad_s = 0.0;
  state.at_rest = true;
  model_->held = true;
  for (std::int64_t left = std::llround(duration_s / model_->tick_s); left > 0;)
    left -= model_->advance(left);
  model_->held = false;
  state.blades = blades;
  state.pitch_rad = pitch_rad;
  ++state.mounting;
  model_->refresh_rotor();
}

std::int64_t Plant::advance(std::int64_t ticks) {
  return model_->advance(ticks);
}

AcMoment Plant::ac_moment_after(double offset_s) {
  return model_->chain->ac_moment(model_->chain_flow_in(model_->piece_at(offset_s), 1));
}

PlantSample Plant::sample_after(double offset_s) {
  Model& m = *model_;
  const std::size_t i = m.piece_at(offset_s);
  const Piece& piece = m.pieces[i];
  PlantSample sample{.motion = m.motion_in(piece, offset_s), .machine = m.state.machine};
  const double length_s = piece.end_s - piece.start_s;
  if (m.chain) {
    const double part = length_s > 0.0 ? (offset_s - piece.start_s) / length_s : 0.0;
    sample.chain = between(m.chain_readings(i), part);
    sample.dc_voltage_V = sample.chain.source_voltage_V;
    sample.dc_current_A = sample.chain.source_current_A;
    return sample;
  }
  if (piece.at_rest) return sample;
  DirectCurrent& direct = m.direct_current[i];
  if (!direct.known) {
    for (std::size_t k = 0; k < 3; ++k) {
      const Motion at = m.motion_in(piece, piece.start_s + 0.5 * static_cast<double>(k) * length_s);
      const physics::GeneratorLoad load =
          m.generator_load(at.rotor_speed_rad_s, at.lamp_temperature_K);
      direct.voltage_V[k] = load.dc_voltage_V;
      direct.current_A[k] = load.dc_current_A;
    }
    direct.known = true;
  }
  const double s = length_s > 0.0 ? (offset_s - piece.start_s) / length_s : 0.0;
  sample.dc_voltage_V = std::max(0.0, parabola(direct.voltage_V, s));
  sample.dc_current_A = std::max(0.0, parabola(direct.current_A, s));
  return sample;
}

Motion Plant::motion_now() const {
  const PlantState& s = model_->state;
  const auto part = static_cast<double>(s.tick % model_->ticks_per_grid) /
                    static_cast<double>(model_->ticks_per_grid);
  const double fluctuation = s.turbulence + part * (s.next_turbulence - s.turbulence);
  const double intensity = model_->bench.tunnel.turbulence_intensity;
  const double gust_m_s =
      physics::gust_m_s(model_->gust, static_cast<double>(s.tick - s.gust_tick) * model_->tick_s);
  return {.rotor_speed_rad_s = s.rotor_speed_rad_s,
          .rotor_angle_rad = s.rotor_angle_rad,
          .air_speed_m_s =
              std::max(0.0, s.mean_air_speed_m_s * (1.0 + intensity * fluctuation) + gust_m_s),
          .lamp_temperature_K = s.lamp_temperature_K};
}

PowerFlow Plant::power_flow_now() const {
  const Model& m = *model_;
  const Motion motion = motion_now();
  PowerFlow flow{};
  const double radius_m = m.truth.rotor.tip_radius_m;
  flow.disc_air_speed_m_s = m.truth.position_factor * motion.air_speed_m_s;
  flow.wind_power_W = 0.5 * m.density_kg_m3 * std::numbers::pi * radius_m * radius_m *
                      std::pow(flow.disc_air_speed_m_s, 3);
  flow.induced_air_speed_m_s = m.state.induced_air_speed_m_s;
  m.disc->forget();
  flow.rotor_torque_N_m =
      m.disc_load(motion.air_speed_m_s, motion.rotor_speed_rad_s, flow.induced_air_speed_m_s)
          .torque_N_m;
  flow.rotor_power_W = flow.rotor_torque_N_m * motion.rotor_speed_rad_s;
  flow.load_resistance_ohm = m.load_ohm(motion.lamp_temperature_K);
  if (m.chain) {
    Model::Values y{};
    m.connect_chain();
    m.chain->write_states(m.state.chain, std::span(y).subspan(Model::equations, m.chain->states()));
    flow.chain = m.chain_flow(m.state.at_rest ? 0.0 : motion.rotor_speed_rad_s, y.data());
    flow.generator = generator_of(flow.chain->source);
    if (motion.rotor_speed_rad_s > 0.0) {
      flow.stored_power_W =
          (flow.rotor_torque_N_m - flow.generator.shaft_torque_N_m) * motion.rotor_speed_rad_s;
    }
    return flow;
  }
  if (motion.rotor_speed_rad_s > 0.0) {
    flow.generator = m.generator_load(motion.rotor_speed_rad_s, motion.lamp_temperature_K);
    flow.stored_power_W =
        (flow.rotor_torque_N_m - flow.generator.shaft_torque_N_m) * motion.rotor_speed_rad_s;
  }
  return flow;
}

EnergyTally Plant::energy() const {
  EnergyTally tally = model_->state.tally;
  tally.kinetic_J += model_->kinetic_J();
  if (model_->bench.generator_heat)
    tally.generator_stored_J +=
        model_->state.machine.winding_due_J + model_->state.machine.frame_due_J;
  return tally;
}

std::int64_t Plant::rate_calls() const {
  return model_->integrator->calls();
}

void Plant::reset_energy() {
  // The stored tally holds what the rotor had at the reset, negative; energy() adds what it has.
  model_->state.tally = {};
  model_->state.chain.energies = {};
  model_->state.tally.kinetic_J = -model_->kinetic_J();
  // What is due from before counts as stored before.
  if (model_->bench.generator_heat)
    model_->state.tally.generator_stored_J =
        -model_->state.machine.winding_due_J - model_->state.machine.frame_due_J;
}

}  // namespace windwright::twin
