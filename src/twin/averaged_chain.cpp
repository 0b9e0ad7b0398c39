// SPDX-License-Identifier: Apache-2.0
#include "twin/averaged_chain.h"

#include "base/errors.h"
#include "physics/battery.h"
#include "physics/bridge_table.h"
#include "physics/chain_control.h"
#include "physics/chain_loads.h"
#include "physics/electrical_chain.h"
#include "physics/generator.h"
#include "physics/generator_heat.h"
#include "twin/chain_energy.h"
#include "twin/chain_states.h"
#include "twin/runge_kutta.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <memory>
#include <optional>
#include <span>
#include <utility>
#include <vector>

namespace windwright::twin {

namespace {

// States: the rotor's, then those of chain_states.h.
enum Moves : std::size_t { kinetic, chain_states };
// Sums: these, then ChainPart.
enum Sums : std::size_t { rotor_work, bearing, iron, winding, rectifier, chain_sums };

constexpr double relative_tolerance = 1e-8;
constexpr double slowest_rad_s = 1e-3;  // a turning rotor; below it sticks

}  // namespace

struct AveragedChain::Model {
  Model(physics::ChainSetup described, DrivingRotor driving, const physics::BatteryState& battery,
        double room_K, double wanted_period_s);

  void connect();
  double speed_rad_s(double kinetic_J) const;
  physics::ChainPoint point(double kinetic_J) const;
  void spread(std::span<const double> y);
  void rates(double t, std::span<const double> y, std::span<double> dy,
             std::span<double> sum_rates);
  void sample();
  void stick_or_break_away();
  void integrate();
  void add_sums();
  void warm();

  physics::ChainSetup setup;
  DrivingRotor rotor;
  double room_temperature_K;
  physics::Generator cold;  // at the reference temperature of its heat
  std::optional<physics::GeneratorHeat> heat = {};
  double period_s = 0.0;
  std::int64_t samples_a_control = 1;
  LongRunState state;

  // Scratch of the integration.
  std::vector<physics::SwitchedLoad> dc_loads;  // with their switches and moving values
  std::vector<physics::SwitchedLoad> ac_loads;
  physics::BatteryState battery{};
  physics::ChainPositions positions{};
  physics::ChainMemory memory;
  std::vector<double> y;
  std::array<double, std::size_t{chain_sums} + chain_parts> sums{};
  std::unique_ptr<RungeKutta> method;
};

AveragedChain::Model::Model(physics::ChainSetup described, DrivingRotor driving,
                            const physics::BatteryState& at_start, double room_K,
                            double wanted_period_s)
    : setup(std::move(described)),
      rotor(std::move(driving)),
      room_temperature_K(room_K),
      cold(setup.chain.generator),
      dc_loads(setup.dc_loads),
      ac_loads(setup.ac_loads) {
  physics::require_setup(setup);
  double& controller_s = setup.chain.controller.sample_period_s;
  if (!(wanted_period_s > 0.0) || !(rotor.inertia_kg_m2 > 0.0)) {
    throw base::BadInput("averaged chain", "sample period or inertia is not above 0", "above 0");
  }
  samples_a_control = std::max<std::int64_t>(1, std::llround(controller_s / wanted_period_s));
  period_s = controller_s / static_cast<double>(samples_a_control);
  state.machine = {.winding_K = room_K, .frame_K = room_K};
  state.battery = at_start;
  state.control = physics::control_at_start(setup);
  for (const physics::SwitchedLoad& each : dc_loads)
    state.dc_moving.push_back(physics::moving_value(each));
  for (const physics::SwitchedLoad& each : ac_loads)
    state.ac_moving.push_back(physics::moving_value(each));
  std::vector<double> tolerances =
      state_tolerances(setup.chain.battery, dc_loads.size() + ac_loads.size());
  tolerances.insert(tolerances.begin(), 1e-8);
  y.resize(tolerances.size());
  // The bridge's table is made when first asked for: here, not while it runs.
  static_cast<void>(physics::bridge_means({.voltage = 0.5, .resistance = 1.0, .reactance = 0.0}));
  method = std::make_unique<RungeKutta>(
      this,
      [](void* model, double t, std::span<const double> values, std::span<double> value_rates,
         std::span<double> sum_rates) {
        static_cast<Model*>(model)->rates(t, values, value_rates, sum_rates);
      },
      tolerances, relative_tolerance, sums.size());
  connect();
}

void AveragedChain::Model::connect() {
  setup.chain.bridge_fault = state.bridge_fault;
  if (heat) setup.chain.generator = physics::generator_at(cold, *heat, state.machine);
  physics::connect_loads(setup, state.control, dc_loads, ac_loads);
  positions = physics::positions(state.control);
  for (std::size_t i = 0; i < dc_loads.size(); ++i)
    physics::set_moving_value(dc_loads[i], state.dc_moving[i]);
  for (std::size_t i = 0; i < ac_loads.size(); ++i)
    physics::set_moving_value(ac_loads[i], state.ac_moving[i]);
  battery = state.battery;
  physics::forget(memory);
}

double AveragedChain::Model::speed_rad_s(double kinetic_J) const {
  if (state.at_rest) return 0.0;
  return std::sqrt(2.0 * std::max(0.0, kinetic_J) / rotor.inertia_kg_m2);
}

physics::ChainPoint AveragedChain::Model::point(double kinetic_J) const {
  return {.rotor_speed_rad_s = speed_rad_s(kinetic_J),
          .battery = battery,
          .dc_loads = dc_loads,
          .ac_loads = ac_loads,
          .room_temperature_K = room_temperature_K};
}

void AveragedChain::Model::spread(std::span<const double> values) {
  spread_states(values.subspan(chain_states), battery, dc_loads, ac_loads);
}

void AveragedChain::Model::rates(double t, std::span<const double> values, std::span<double> dy,
                                 std::span<double> sum_rates) {
  spread(values);
  const double speed = speed_rad_s(values[kinetic]);
  const physics::ChainFlow flow =
      physics::electrical_flow(setup.chain, positions, point(values[kinetic]), memory);
  const double air_m_s = std::max(0.0, state.air_speed_m_s + state.air_rise_m_s2 * t);
  const physics::SourceFlow& from = flow.source;
  const double rotor_W = speed > 0.0 ? rotor.torque_N_m(air_m_s, speed) * speed : 0.0;
  sum_rates[rotor_work] = rotor_W;
  sum_rates[bearing] = from.bearing_loss_W;
  sum_rates[iron] = from.iron_loss_W;
  sum_rates[winding] = from.winding_loss_W;
  sum_rates[rectifier] = from.rectifier_loss_W;
  fill_powers(flow, sum_rates.subspan(chain_sums));
  dy[kinetic] = rotor_W - (from.bearing_loss_W + from.iron_loss_W + from.winding_loss_W +
                           from.rectifier_loss_W + from.dc_power_W);
  fill_state_rates(flow, memory, dc_loads, ac_loads, dy.subspan(chain_states));
}

// Electronics decide from what they find now; nothing of it was known to the stretch before.
void AveragedChain::Model::sample() {
  const physics::ChainPoint now = point(state.kinetic_J);
  const physics::ChainFlow flow = physics::electrical_flow(setup.chain, positions, now, memory);
  if (state.samples % samples_a_control == 0)
    physics::sample_controller(setup, flow, state.battery, state.control);
  physics::sample_protection(setup, flow, physics::connected_VA(setup.chain, flow, now, memory),
                             period_s, state.control);
}

void AveragedChain::Model::stick_or_break_away() {
  const double least_J = 0.5 * rotor.inertia_kg_m2 * slowest_rad_s * slowest_rad_s;
  const double breakaway_N_m = physics::breakaway_torque_N_m(setup.chain.generator);
  const double torque_N_m = rotor.torque_N_m(std::max(0.0, state.air_speed_m_s), 0.0);
  if (state.at_rest) {
    if (torque_N_m > breakaway_N_m) {
      state.at_rest = false;
      state.energies.rotor_J += least_J - state.kinetic_J;  // the first hair's breadth
      state.kinetic_J = least_J;
    }
  } else if (state.kinetic_J < least_J && torque_N_m <= breakaway_N_m) {
    state.energies.bearing_J += state.kinetic_J;
    state.kinetic_J = 0.0;
    state.at_rest = true;
  }
}

void AveragedChain::Model::integrate() {
  y[kinetic] = state.kinetic_J;
  const std::span<double> of_chain = std::span(y).subspan(chain_states);
  write_states(state.battery, state.dc_moving, state.ac_moving, of_chain);
  sums.fill(0.0);
  method->integrate(0.0, period_s, state.step_s, y, sums);
  state.kinetic_J = y[kinetic];
  spread(y);
  read_states(
      of_chain,
      {.battery = state.battery, .dc_moving = state.dc_moving, .ac_moving = state.ac_moving});
  add_sums();
  if (heat) warm();
}

void AveragedChain::Model::warm() {
  physics::GeneratorLoad losses{};
  losses.winding_loss_W = sums[winding] / period_s;
  losses.iron_loss_W = sums[iron] / period_s;
  losses.bearing_loss_W = sums[bearing] / period_s;
  const physics::HeatStep step =
      physics::heat_step(*heat, state.machine, losses, room_temperature_K, period_s);
  state.energies.generator_stored_J += step.stored_J;
  state.energies.generator_to_air_J += step.to_air_J;
  state.machine = step.end;
}

void AveragedChain::Model::add_sums() {
  LongRunEnergies& all = state.energies;
  all.rotor_J += sums[rotor_work];
  all.bearing_J += sums[bearing];
  all.iron_J += sums[iron];
  all.winding_J += sums[winding];
  all.rectifier_J += sums[rectifier];
  for (std::size_t i = 0; i < chain_parts; ++i)
    all.chain[i] += sums[chain_sums + i];
}

AveragedChain::AveragedChain(physics::ChainSetup setup, DrivingRotor rotor,
                             const physics::BatteryState& battery, double room_temperature_K,
                             double protection_period_s)
    : model_(std::make_unique<Model>(std::move(setup), std::move(rotor), battery,
                                     room_temperature_K, protection_period_s)) {}
AveragedChain::~AveragedChain() = default;
AveragedChain::AveragedChain(AveragedChain&& other) noexcept = default;

const LongRunState& AveragedChain::state() const {
  return model_->state;
}

void AveragedChain::restore(const LongRunState& state) {
  if (state.dc_moving.size() != model_->dc_loads.size() ||
      state.ac_moving.size() != model_->ac_loads.size()) {
    throw base::BadInput(
        "state of a chain",
        fmt::format("it has {} DC and {} AC loads", state.dc_moving.size(), state.ac_moving.size()),
        fmt::format("{} and {}", model_->dc_loads.size(), model_->ac_loads.size()));
  }
  if (model_->heat)
    static_cast<void>(physics::generator_at(model_->cold, *model_->heat, state.machine));
  model_->state = state;
  model_->connect();
}

void AveragedChain::describe_heat(const physics::GeneratorHeat& heat) {
  Model& m = *model_;
  const double room_K = m.room_temperature_K;
  static_cast<void>(
      physics::heat_step(heat, {.winding_K = room_K, .frame_K = room_K}, {}, room_K, m.period_s));
  m.heat = heat;
  m.connect();
}

void AveragedChain::set_wind(double air_speed_m_s, double rise_m_s2) {
  model_->state.air_speed_m_s = air_speed_m_s;
  model_->state.air_rise_m_s2 = rise_m_s2;
}

void AveragedChain::set_rotor_speed(double rotor_speed_rad_s) {
  LongRunState& state = model_->state;
  state.kinetic_J = 0.5 * model_->rotor.inertia_kg_m2 * rotor_speed_rad_s * rotor_speed_rad_s;
  state.at_rest = !(rotor_speed_rad_s > 0.0);
}

void AveragedChain::turn_dc_selector(std::size_t position) {
  physics::ChainControl& control = model_->state.control;
  control.dc_selector =
      physics::turned_to(model_->setup.dc_selector, control.dc_selector, position);
}

void AveragedChain::turn_ac_selector(std::size_t position) {
  physics::ChainControl& control = model_->state.control;
  control.ac_selector =
      physics::turned_to(model_->setup.ac_selector, control.ac_selector, position);
}

void AveragedChain::switch_inverter(bool on) {
  model_->state.control.inverter_on = on;
}

void AveragedChain::switch_mains_charger(bool on) {
  physics::switch_mains(on, model_->state.control);
}

void AveragedChain::set_bridge_fault(physics::BridgeFault fault) {
  model_->state.bridge_fault = fault;
}

void AveragedChain::advance(std::int64_t samples) {
  Model& m = *model_;
  for (std::int64_t i = 0; i < samples; ++i) {
    m.connect();
    m.sample();
    m.stick_or_break_away();
    m.connect();
    m.integrate();
    ++m.state.samples;
    m.state.time_s = static_cast<double>(m.state.samples) * m.period_s;
    m.state.air_speed_m_s =
        std::max(0.0, m.state.air_speed_m_s + m.state.air_rise_m_s2 * m.period_s);
  }
}

double AveragedChain::sample_period_s() const {
  return model_->period_s;
}

double AveragedChain::rotor_speed_rad_s() const {
  return model_->speed_rad_s(model_->state.kinetic_J);
}

physics::ChainFlow AveragedChain::flow_now() const {
  Model& m = *model_;
  m.connect();
  return physics::electrical_flow(m.setup.chain, m.positions, m.point(m.state.kinetic_J), m.memory);
}

namespace {
double stored_sum_J(std::span<const physics::SwitchedLoad> loads, double room_temperature_K) {
  double sum_J = 0.0;
  for (const physics::SwitchedLoad& each : loads)
    sum_J += each.count * physics::stored_J(each.load, each.state, room_temperature_K);
  return sum_J;
}
}  // namespace

double AveragedChain::dc_stored_J() const {
  model_->connect();
  return stored_sum_J(model_->dc_loads, model_->room_temperature_K);
}

double AveragedChain::ac_stored_J() const {
  model_->connect();
  return stored_sum_J(model_->ac_loads, model_->room_temperature_K);
}

std::int64_t AveragedChain::steps() const {
  return model_->method->steps();
}

}  // namespace windwright::twin
