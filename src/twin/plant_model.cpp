// SPDX-License-Identifier: Apache-2.0
#include "twin/plant_model.h"

#include "base/errors.h"
#include "base/random.h"
#include "physics/chain_control.h"
#include "physics/dynamic_inflow.h"
#include "physics/electrical_chain.h"
#include "physics/generator_heat.h"
#include "physics/gust.h"
#include "physics/tunnel.h"
#include "twin/chain_energy.h"
#include "twin/disc.h"
#include "twin/integrator.h"
#include "twin/piece.h"
#include "twin/torque_table.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <memory>
#include <numbers>
#include <span>
#include <string>
#include <vector>

namespace windwright::twin {

namespace {

constexpr double grid_s = 0.02;    // of the turbulence, about
constexpr double piece_s = 0.005;  // under half the shortest lag of a small rotor's wake
constexpr std::array<double, Plant::Model::equations> tolerances{
    1e-7, 1e-8, 1e-8, 1e-5, 1e-6, 1e-6, 1e-9, 1e-8, 1e-8, 1e-8, 1e-8, 1e-8, 1e-8, 1e-8};
constexpr double relative_tolerance = 1e-9;

}  // namespace

Plant::Model::Model(const bench::Bench& described)
    : bench(described),
      truth(truth_of(described)),
      turbulence(bench.simulation->seed, "turbulence") {
  const double rate_hz = bench.sample_rate_hz;
  if (rate_hz * grid_s >= 1.0) {
    ticks_per_grid = std::llround(rate_hz * grid_s);
  } else {
    ticks_per_sample = std::llround(std::ceil(1.0 / (rate_hz * grid_s)));
  }
  tick_s = 1.0 / (rate_hz * static_cast<double>(ticks_per_sample));
  state.lamp_temperature_K = bench.simulation->air.temperature_K;
  if (bench.generator_heat) {  // it has stood for long
    state.machine.winding_K = bench.simulation->air.temperature_K;
    state.machine.frame_K = bench.simulation->air.temperature_K;
  }
  state.turbulence = turbulence.normal(0);
  state.next_turbulence = turbulence.normal(1);
  state.rheostat_ohm = bench.loads.rheostat_highest_ohm;
  state.blades = bench.rotor.blades;
  state.pitch_rad = bench.rotor.pitch_rad;
  refresh_air();
  refresh_rotor();
  std::vector<double> absolute(tolerances.begin(), tolerances.end());
  if (bench.chain) {
    chain.emplace(*bench.chain, tick_s * static_cast<double>(ticks_per_grid));
    state.chain = chain->at_start(bench.chain->state_of_charge, air.temperature_K);
    const std::vector<double> of_chain = chain->tolerances();
    absolute.insert(absolute.end(), of_chain.begin(), of_chain.end());
    absolute.resize(absolute.size() + chain_parts, 1e-7);
  }
  values = absolute.size();
  refresh_generator();
  integrator = std::make_unique<Integrator>(
      this,
      [](const void* model, double t, const double* y, double* dy) {
        static_cast<const Model*>(model)->rates(t, y, dy);
      },
      [](const void* model, double t, const double* y) {
        return static_cast<const Model*>(model)->event(t, y);
      },
      absolute, relative_tolerance);
}

void Plant::Model::refresh_air() {
  const double hours = static_cast<double>(state.tick) * tick_s / 3600.0;
  air = bench.simulation->air;
  air.temperature_K += bench.simulation->air_temperature_drift_K_h * hours;
  density_kg_m3 = physics::density_kg_m3(air);
  viscosity_Pa_s = physics::dynamic_viscosity_Pa_s(air);
}

void Plant::Model::refresh_rotor() {
  const auto blades = static_cast<int>(state.blades);
  const double pitch_rad = pitch_as_set_rad(bench, state.pitch_rad, state.mounting);
  // The table of the same rotor stays: it takes longer to work out than seconds of bench time.
  if (disc && mounted.blades == blades && mounted.pitch_rad == pitch_rad) return disc->forget();
  mounted = truth.rotor;
  mounted.blades = blades;
  mounted.pitch_rad = pitch_rad;
  // In the air of the start, whenever this happens: the table must not depend on when it was made.
  const physics::Air& start = bench.simulation->air;
  disc.emplace(TorqueTable(mounted, physics::density_kg_m3(start),
                           physics::dynamic_viscosity_Pa_s(start), bench.tunnel.rated_air_speed_m_s,
                           bench.tunnel.section_area_m2));
}

void Plant::Model::refresh_generator() {
  generator = truth.generator;
  generator.bearing_torque_N_m *= state.bearing_factor;
  generator.bearing_viscous_N_m_s *= state.bearing_factor;
  // The brake sits on the generator's shaft and frame: its friction is a bearing's.
  if (bench.hard_wired && state.hard_wired.brakes())
    generator.bearing_torque_N_m += bench.hard_wired->brake_torque_N_m;
  if (bench.generator_heat) {
    generator = physics::generator_at(
        generator, *bench.generator_heat,
        {.winding_K = state.machine.winding_K, .frame_K = state.machine.frame_K});
  }
  connect_chain();
}

void Plant::Model::connect_chain() const {
  if (chain) chain->connect(state.chain, generator, state.hard_wired.fuse_blown);
}

// Over a grid step its temperatures move by millikelvins, so losses and warmth may take turns; the
// heat that is booked is what was lost, to rounding.
void Plant::Model::warm_generator() {
  MachineHeat& machine = state.machine;
  const double step_s = tick_s * static_cast<double>(ticks_per_grid);
  physics::GeneratorLoad losses{};
  losses.winding_loss_W = machine.winding_due_J / step_s;
  losses.iron_loss_W = machine.frame_due_J / step_s;
  const physics::HeatStep step = physics::heat_step(
      *bench.generator_heat, {.winding_K = machine.winding_K, .frame_K = machine.frame_K}, losses,
      air.temperature_K, step_s);
  state.tally.generator_stored_J += step.stored_J;
  state.tally.generator_to_air_J += step.to_air_J;
  machine = {.winding_K = step.end.winding_K, .frame_K = step.end.frame_K};
  refresh_generator();
}

double Plant::Model::inertia_kg_m2() const {
  return bench.hub_inertia_kg_m2 + static_cast<double>(state.blades) * bench.blade_inertia_kg_m2;
}

double Plant::Model::kinetic_J() const {
  return 0.5 * inertia_kg_m2() * state.rotor_speed_rad_s * state.rotor_speed_rad_s;
}

double Plant::Model::air_speed_m_s(double mean_m_s, double t) const {
  const double fluctuation = from_turbulence + turbulence_slope_s * t;
  return std::max(0.0, mean_m_s * (1.0 + bench.tunnel.turbulence_intensity * fluctuation) +
                           physics::gust_m_s(gust, from_gust_s + t));
}

// The dump resistor stands before the fuse, the loads behind it.
double Plant::Model::load_ohm(double lamp_K) const {
  const bool dumps = state.hard_wired.brakes() && bench.hard_wired->dump_resistor_ohm;
  double conductance_S = dumps ? 1.0 / *bench.hard_wired->dump_resistor_ohm : 0.0;
  if (!state.hard_wired.fuse_blown) {
    const auto selection = static_cast<physics::LoadSelection>(state.load_selection);
    conductance_S +=
        1.0 / physics::load_resistance_ohm(bench.loads, selection, state.rheostat_ohm, lamp_K);
  }
  return conductance_S > 0.0 ? 1.0 / conductance_S : std::numeric_limits<double>::infinity();
}

double Plant::Model::fan_pct() const {
  return state.hard_wired.has_fan_power() ? state.fan_pct : 0.0;
}

// Inverter and mains charger hang behind the same contactor, and do not come on by themselves.
void Plant::Model::settle_hard_wired() {
  if (!bench.hard_wired) return;
  state.hard_wired.settle(state.fan_pct > 0.0);
  if (chain && !state.hard_wired.has_fan_power()) {
    state.chain.control.inverter_on = false;
    physics::switch_mains(false, state.chain.control);
  }
  refresh_generator();
}

physics::GeneratorLoad Plant::Model::generator_load(double speed_rad_s, double lamp_K) const {
  return physics::generator_load(generator, speed_rad_s, load_ohm(lamp_K));
}

DiscLoad Plant::Model::disc_load(double air_m_s, double speed_rad_s, double induced_m_s) const {
  return disc->load({.air_speed_m_s = truth.position_factor * air_m_s,
                     .rotor_speed_rad_s = speed_rad_s,
                     .density_kg_m3 = density_kg_m3,
                     .dynamic_viscosity_Pa_s = viscosity_Pa_s},
                    induced_m_s);
}

void Plant::Model::rates(double t, const double* y, double* dy) const {
  std::fill(dy, dy + values, 0.0);
  const double air_m_s = air_speed_m_s(y[mean_air_speed], t);
  const double disc_m_s = truth.position_factor * air_m_s;
  const double radius_m = truth.rotor.tip_radius_m;
  dy[mean_air_speed] = state.wind_imposed
                           ? state.wind_rise_m_s2
                           : physics::air_acceleration_m_s2(
                                 bench.tunnel, state.fan_share * fan_pct(), y[mean_air_speed]);
  dy[air_path] = air_m_s;
  dy[wind] =
      0.5 * density_kg_m3 * std::numbers::pi * radius_m * radius_m * disc_m_s * disc_m_s * disc_m_s;
  // Friction has no direction at standstill; a rotor not at rest turns forward.
  constexpr double slowest_rad_s = 1e-6;
  const double speed_rad_s = state.at_rest ? 0.0 : std::max(y[rotor_speed], slowest_rad_s);
  const DiscLoad now = disc_load(air_m_s, speed_rad_s, y[induced_air_speed]);
  const physics::InducedFlowRates inflow = physics::inflow_rates(
      {.lagging_m_s = y[lagging_inflow], .induced_m_s = y[induced_air_speed]}, now.quasi_steady_m_s,
      physics::inflow_lags(disc_m_s, y[induced_air_speed], radius_m));
  dy[lagging_inflow] = inflow.lagging_m_s2;
  dy[induced_air_speed] = inflow.induced_m_s2;
  if (chain) {
    chain_rates(now.torque_N_m, speed_rad_s, y, dy);
  } else {
    load_rates(now.torque_N_m, speed_rad_s, y, dy);
  }
}

void Plant::Model::load_rates(double torque_N_m, double speed_rad_s, const double* y,
                              double* dy) const {
  double lamp_W = 0.0;
  if (!state.at_rest) {
    const double resistance_ohm = load_ohm(y[lamp_temperature]);
    const physics::GeneratorLoad g =
        physics::generator_load(generator, speed_rad_s, resistance_ohm);
    dy[rotor_speed] = (torque_N_m - g.shaft_torque_N_m) / inertia_kg_m2();
    dy[rotor_angle] = y[rotor_speed];
    dy[rotor] = torque_N_m * speed_rad_s;
    dy[bearing] = g.bearing_loss_W;
    dy[iron] = g.iron_loss_W;
    dy[winding] = g.winding_loss_W;
    dy[rectifier] = g.rectifier_loss_W;
    dy[load] = g.dc_power_W;
    const auto selection = static_cast<physics::LoadSelection>(state.load_selection);
    if (!state.hard_wired.fuse_blown && (selection == physics::LoadSelection::lamps ||
                                         selection == physics::LoadSelection::rheostat_and_lamps)) {
      lamp_W = g.dc_voltage_V * g.dc_voltage_V /
               physics::lamp_resistance_ohm(bench.loads, y[lamp_temperature]);
    }
  }
  if (bench.loads.lamps > 0) {
    dy[lamp_temperature] =
        physics::lamp_heating_K_s(bench.loads, y[lamp_temperature], lamp_W, air.temperature_K);
  }
}

physics::ChainFlow Plant::Model::chain_flow(double speed_rad_s, const double* y) const {
  return chain->flow(speed_rad_s, std::span(y + equations, chain->states()), air.temperature_K);
}

void Plant::Model::chain_rates(double torque_N_m, double speed_rad_s, const double* y,
                               double* dy) const {
  const physics::ChainFlow flow = chain_flow(speed_rad_s, y);
  const physics::SourceFlow& from = flow.source;
  if (!state.at_rest) {
    dy[rotor_speed] = (torque_N_m - from.shaft_torque_N_m) / inertia_kg_m2();
    dy[rotor_angle] = y[rotor_speed];
    dy[rotor] = torque_N_m * speed_rad_s;
    dy[bearing] = from.bearing_loss_W;
    dy[iron] = from.iron_loss_W;
    dy[winding] = from.winding_loss_W;
    dy[rectifier] = from.rectifier_loss_W;
    dy[load] = from.dc_power_W;
  }
  chain->fill_rates(flow, std::span(dy + equations, chain->states()));
  fill_powers(flow, std::span(dy + equations + chain->states(), chain_parts));
}

// Electronics decide at the grid points of the turbulence.
void Plant::Model::sample_chain() {
  connect_chain();  // with what was commanded since the last stretch
  const std::int64_t sample = state.tick / ticks_per_grid;
  chain->sample(state.at_rest ? 0.0 : state.rotor_speed_rad_s, air.temperature_K,
                sample % chain->samples_a_control() == 0,
                tick_s * static_cast<double>(ticks_per_grid), state.chain);
}

void Plant::Model::note_chain(std::size_t piece, bool end, const Values& y, const Values& dy) {
  const std::size_t states = chain->states();
  auto& at = chain_ends.at(piece).at[end ? 1 : 0];
  std::copy_n(y.begin() + equations, states, at.begin());
  std::copy_n(dy.begin() + equations, states, at.begin() + PlantChain::most_states);
  chain_ends.at(piece).known = false;
}

// @param part  of the piece: 0 its start, 1 its middle, 2 its end
physics::ChainFlow Plant::Model::chain_flow_in(std::size_t piece, std::size_t part) {
  const ChainEnds& ends = chain_ends.at(piece);
  const Piece& stretch = pieces.at(piece);
  const double length_s = stretch.end_s - stretch.start_s;
  Values y{};
  for (std::size_t i = 0; i < chain->states(); ++i) {
    const double first = ends.at[0][i];
    const double last = ends.at[1][i];
    const double slopes =
        ends.at[0][PlantChain::most_states + i] - ends.at[1][PlantChain::most_states + i];
    y[equations + i] = part == 0   ? first
                       : part == 2 ? last
                                   : 0.5 * (first + last) + 0.125 * length_s * slopes;
  }
  const double speed_rad_s =
      stretch.at_rest
          ? 0.0
          : motion_in(stretch, stretch.start_s + 0.5 * static_cast<double>(part) * length_s)
                .rotor_speed_rad_s;
  return chain_flow(speed_rad_s, y.data());
}

// What is read at the start, the middle and the end of a piece.
const std::array<ChainReading, 3>& Plant::Model::chain_readings(std::size_t piece) {
  ChainEnds& ends = chain_ends.at(piece);
  if (ends.known) return ends.reading;
  for (std::size_t part = 0; part < 3; ++part)
    ends.reading.at(part) = chain->reading(chain_flow_in(piece, part));
  ends.known = true;
  return ends.reading;
}

double Plant::Model::event(double t, const double* y) const {
  if (!state.at_rest) return y[rotor_speed];
  if (!may_break_away) return -1.0;
  return disc_load(air_speed_m_s(y[mean_air_speed], t), 0.0, y[induced_air_speed]).torque_N_m -
         physics::breakaway_torque_N_m(generator);
}

double Plant::Model::turbulence_at(std::int64_t grid_point) const {
  const double normal = turbulence.normal(static_cast<std::uint64_t>(grid_point));
  const double deviation_m_s = bench.tunnel.turbulence_intensity * state.mean_air_speed_m_s;
  if (std::abs(deviation_m_s) < 1e-9) return normal;
  return physics::next_fluctuation_m_s(bench.tunnel, state.mean_air_speed_m_s,
                                       deviation_m_s * state.turbulence,
                                       tick_s * static_cast<double>(ticks_per_grid), normal) /
         deviation_m_s;
}

void Plant::Model::add(const Values& y, double angle_before) {
  EnergyTally& tally = state.tally;
  tally.wind_J += y[wind];
  tally.rotor_J += y[rotor];
  tally.bearing_J += y[bearing];
  tally.iron_J += y[iron];
  tally.winding_J += y[winding];
  tally.rectifier_J += y[rectifier];
  tally.load_J += y[load];
  tally.revolutions += (y[rotor_angle] - angle_before) / (2.0 * std::numbers::pi);
  tally.air_path_m += y[air_path];
  tally.disc_air_path_m += truth.position_factor * y[air_path];
  if (bench.generator_heat) {
    state.machine.winding_due_J += y[winding];
    state.machine.frame_due_J += y[bearing] + y[iron];
  }
  if (!chain) return;
  for (std::size_t i = 0; i < chain_parts; ++i)
    state.chain.energies[i] += y[equations + chain->states() + i];
}

// Integrates one stretch from the state, from event to event, and notes it in short pieces. A rotor
// that comes to rest stays there until the end of the stretch, so there are at most two events.
void Plant::Model::integrate(double length_s) {
  may_break_away = !held;
  disc->forget();
  piece_count = 0;
  Values y{};
  double t = 0.0;
  y[rotor_speed] = state.rotor_speed_rad_s;
  y[rotor_angle] = state.rotor_angle_rad;
  y[mean_air_speed] = state.mean_air_speed_m_s;
  y[lamp_temperature] = state.lamp_temperature_K;
  y[lagging_inflow] = state.lagging_inflow_m_s;
  y[induced_air_speed] = state.induced_air_speed_m_s;
  const std::size_t sums = chain ? equations + chain->states() : equations;
  if (chain) {
    connect_chain();
    chain->write_states(state.chain, std::span(y).subspan(equations, chain->states()));
  }
  if (state.at_rest && may_break_away && event(0.0, y.data()) > 0.0) state.at_rest = false;
  const double cuts =
      std::clamp(std::ceil(length_s / piece_s - 1e-9), 1.0, static_cast<double>(most_cuts));
  double cut = 1.0;
  while (t < length_s) {
    const double angle_before = y[rotor_angle];
    std::fill(y.begin() + moving, y.begin() + equations, 0.0);
    std::fill(y.begin() + sums, y.end(), 0.0);
    integrator->begin(t, length_s,
                      state.at_rest ? Integrator::Crossing::rising : Integrator::Crossing::falling,
                      std::span(y).first(values));
    bool goes_on = false;
    for (bool event = false; !event && t < length_s;) {
      const double until = cut < cuts ? length_s * (cut / cuts) : length_s;
      const Integrator::Ending ending = note_piece(t, until, goes_on, y);
      goes_on = true;
      event = ending.event;
      t = ending.t;
      if (!event || t >= until) cut += 1.0;
    }
    add(y, angle_before);
  }
  state.rotor_speed_rad_s = y[rotor_speed];
  state.rotor_angle_rad = std::fmod(y[rotor_angle], 2.0 * std::numbers::pi);
  state.mean_air_speed_m_s = y[mean_air_speed];
  state.lamp_temperature_K = y[lamp_temperature];
  state.lagging_inflow_m_s = y[lagging_inflow];
  state.induced_air_speed_m_s = y[induced_air_speed];
  if (chain) chain->read_states(std::span(y).subspan(equations, chain->states()), state.chain);
}

void Plant::Model::refuse_to_go_on(double t) const {
  const double since_start_s = static_cast<double>(state.tick) * tick_s + t;
  std::string where = fmt::format("{:.4g} rad/s", state.rotor_speed_rad_s);
  if (chain) {
    where += fmt::format(", state of charge {:.2f} %, inverter {}",
                         100.0 * chain->state_of_charge(state.chain),
                         state.chain.control.inverter_on ? "on" : "off");
  }
  throw base::DeviceFault(
      bench.name,
      fmt::format("the simulation finds no way on after {:.6f} s ({})", since_start_s, where),
      "the figures of the parts that are switched on then; switch less on, or start with a fuller "
      "battery");
}

// @param goes_on  from the piece before, without an event in between
Integrator::Ending Plant::Model::note_piece(double from, double until, bool goes_on, Values& y) {
  direct_current.at(piece_count).known = false;
  Piece& piece = pieces.at(piece_count++);
  Values dy{};
  piece.start_s = from;
  piece.at_rest = state.at_rest;
  std::copy_n(y.begin(), moving, piece.first.begin());
  if (goes_on) {
    piece.first_rates = pieces.at(piece_count - 2).last_rates;
  } else {
    rates(from, y.data(), dy.data());
    std::copy_n(dy.begin(), moving, piece.first_rates.begin());
    if (chain) note_chain(piece_count - 1, false, y, dy);
  }
  if (chain && goes_on) chain_ends.at(piece_count - 1).at[0] = chain_ends.at(piece_count - 2).at[1];
  const Integrator::Ending ending = integrator->reach(until, std::span(y).first(values));
  if (ending.stuck) refuse_to_go_on(ending.t);
  rates(ending.t, y.data(), dy.data());
  if (chain) note_chain(piece_count - 1, true, y, dy);
  if (ending.event) {
    may_break_away = state.at_rest;
    state.at_rest = !state.at_rest;
    y[rotor_speed] = 0.0;
  }
  piece.end_s = ending.t;
  std::copy_n(y.begin(), moving, piece.last.begin());
  std::copy_n(dy.begin(), moving, piece.last_rates.begin());
  return ending;
}

std::size_t Plant::Model::piece_at(double offset_s) const {
  std::size_t i = 0;
  while (i + 1 < piece_count && offset_s > pieces[i].end_s)
    ++i;
  return i;
}

Motion Plant::Model::motion_in(const Piece& piece, double offset_s) const {
  return {.rotor_speed_rad_s = std::max(0.0, value_in(piece, rotor_speed, offset_s)),
          .rotor_angle_rad = value_in(piece, rotor_angle, offset_s),
          .air_speed_m_s = air_speed_m_s(value_in(piece, mean_air_speed, offset_s), offset_s),
          .lamp_temperature_K = value_in(piece, lamp_temperature, offset_s)};
}

void Plant::Model::refresh_gust() {
  gust = {.shape = static_cast<physics::GustShape>(state.gust_shape),
          .duration_s = state.gust_duration_s,
          .amplitude_m_s = state.gust_amplitude_m_s};
}

std::int64_t Plant::Model::advance(std::int64_t ticks) {
  const std::int64_t past_grid = state.tick % ticks_per_grid;
  const std::int64_t count = std::min(ticks, ticks_per_grid - past_grid);
  const auto part = static_cast<double>(past_grid) / static_cast<double>(ticks_per_grid);
  const double rise = state.next_turbulence - state.turbulence;
  from_turbulence = state.turbulence + part * rise;
  turbulence_slope_s = rise / (tick_s * static_cast<double>(ticks_per_grid));
  from_gust_s = static_cast<double>(state.tick - state.gust_tick) * tick_s;
  const double length_s = static_cast<double>(count) * tick_s;
  if (chain && past_grid == 0) sample_chain();
  integrate(length_s);
  state.tick += count;
  state.tally.seconds += length_s;
  if (state.tick % ticks_per_grid == 0) {
    state.turbulence = state.next_turbulence;
    state.next_turbulence = turbulence_at(state.tick / ticks_per_grid + 1);
    if (bench.generator_heat) warm_generator();
  }
  refresh_air();
  return count;
}

}  // namespace windwright::twin
