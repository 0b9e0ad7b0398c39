// SPDX-License-Identifier: Apache-2.0
#include "twin/sampling.h"

#include "base/errors.h"
#include "physics/air.h"
#include "physics/charge_controller.h"
#include "physics/generator.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <numbers>
#include <optional>
#include <span>
#include <string_view>
#include <vector>

namespace windwright::twin {

namespace {

constexpr double zero_celsius_K = 273.15;
constexpr double third_rad = 2.0 * std::numbers::pi / 3.0;
constexpr double longest_stretch_s = 0.03;  // of the plant, 20 ms about
constexpr double infinity = std::numeric_limits<double>::infinity();

enum Quantity : std::size_t {
  air_temperature,
  air_pressure,
  air_humidity,
  air_speed,
  rotor_speed_of_sensor,
  dc_voltage,
  dc_current,
  winding_temperature,  // where the generator's heat is described
  frame_temperature,
  vibration,            // where the bench's tower is described
  emergency_stop_loop,  // where its hard-wired chain is, in the chain's order
  cover_loop,
  fuse_loop,
  sample_counter,  // of the converter itself: no sensor, no plant
  ac_voltage,      // phase a
  ac_current,
  ac_voltage_b,
  ac_current_b,
  ac_voltage_c,
  ac_current_c,
  ac_line_voltage_ab,
  ac_line_voltage_bc,
  ac_line_voltage_ca,
  battery_voltage,  // from here on of a bench with a battery
  battery_current,
  battery_temperature,
  charge_current,
  dump_current,
  inverter_input,
  inverter_output_rms_voltage,
  inverter_output_rms_current,
  inverter_output_power,
  inverter_output_voltage,  // waveforms
  inverter_output_current
};
constexpr std::size_t always_known = ac_voltage_b;

constexpr std::array<std::string_view, quantity_count> names{
    "air_temperature_C",     "air_pressure_hPa",      "air_humidity_pct",
    "air_speed_m_s",         "rotor_speed_rad_s",     "dc_voltage_V",
    "dc_current_A",          "winding_temperature_C", "frame_temperature_C",
    "vibration_m_s2",        "emergency_stop_loop_V", "cover_loop_V",
    "fuse_loop_V",           "sample_counter",        "ac_voltage_V",
    "ac_current_A",          "ac_voltage_b_V",        "ac_current_b_A",
    "ac_voltage_c_V",        "ac_current_c_A",        "ac_line_voltage_ab_V",
    "ac_line_voltage_bc_V",  "ac_line_voltage_ca_V",  "battery_voltage_V",
    "battery_current_A",     "battery_temperature_C", "charge_current_A",
    "dump_current_A",        "inverter_input_A",      "inverter_output_rms_V",
    "inverter_output_rms_A", "inverter_output_W",     "inverter_output_V",
    "inverter_output_A"};

bool is_loop(std::size_t quantity) {
  return quantity >= emergency_stop_loop && quantity <= fuse_loop;
}

double chain_value(const ChainReading& reading, std::size_t quantity) {
  switch (quantity) {
    case battery_voltage:
      return reading.battery_voltage_V;
    case battery_current:
      return reading.battery_current_A;
    case battery_temperature:
      return reading.battery_temperature_K - zero_celsius_K;
    case charge_current:
      return reading.charge_current_A;
    case dump_current:
      return reading.dump_current_A;
    case inverter_input:
      return reading.inverter_input_A;
    case inverter_output_rms_voltage:
      return reading.inverter_output_rms_V;
    case inverter_output_rms_current:
      return reading.inverter_output_rms_A;
    case inverter_output_power:
      return reading.inverter_output_W;
    default:
      return 0.0;  // waveforms have no value of their own here
  }
}

std::optional<physics::BridgeTap> tap_of(std::size_t quantity, double bandwidth_Hz) {
  using physics::BridgeQuantity;
  const auto tap = [&](BridgeQuantity what, std::size_t phase) {
    return physics::BridgeTap{.quantity = what, .phase = phase, .bandwidth_Hz = bandwidth_Hz};
  };
  switch (quantity) {
    case dc_voltage:
    case dc_current:
      return tap(BridgeQuantity::dc_ripple, 0);
    case ac_voltage:
      return tap(BridgeQuantity::phase_voltage, 0);
    case ac_voltage_b:
      return tap(BridgeQuantity::phase_voltage, 1);
    case ac_voltage_c:
      return tap(BridgeQuantity::phase_voltage, 2);
    case ac_current:
      return tap(BridgeQuantity::line_current, 0);
    case ac_current_b:
      return tap(BridgeQuantity::line_current, 1);
    case ac_current_c:
      return tap(BridgeQuantity::line_current, 2);
    case ac_line_voltage_ab:
      return tap(BridgeQuantity::line_voltage, 0);
    case ac_line_voltage_bc:
      return tap(BridgeQuantity::line_voltage, 1);
    case ac_line_voltage_ca:
      return tap(BridgeQuantity::line_voltage, 2);
    default:
      return std::nullopt;
  }
}

/// The quantity of each channel. @throws BadInput  one that cannot be simulated
std::vector<std::size_t> quantities_of(const bench::Bench& bench) {
  std::vector<std::size_t> quantities;
  for (const bench::Channel& channel : bench.channels) {
    const auto found = std::find(names.begin(), names.end(), channel.name);
    if (found == names.end()) {
      throw base::BadInput(bench.file.string(),
                           fmt::format("channel '{}' cannot be simulated", channel.name),
                           fmt::format("one of {}", fmt::join(names, ", ")));
    }
    const bool of_heat =
        channel.name == names[winding_temperature] || channel.name == names[frame_temperature];
    if (of_heat && !bench.generator_heat) {
      throw base::BadInput(
          bench.file.string(),
          fmt::format("channel '{}' cannot be simulated without the generator's heat",
                      channel.name),
          "a table [generator.heat]");
    }
    if (channel.name == names[vibration] && !bench.tower) {
      throw base::BadInput(
          bench.file.string(),
          fmt::format("channel '{}' cannot be simulated without what shakes", channel.name),
          "a table [tower]");
    }
    if (bench.chain && channel.name.starts_with("ac_") &&
        physics::is_pulsed(bench.chain->setup.chain.controller.source)) {
      throw base::BadInput(
          bench.file.string(),
          fmt::format("channel '{}' cannot be simulated behind the pulses of its charge controller",
                      channel.name),
          "a source that is not pulsed, or dc_voltage_V and dc_current_A behind the bridge");
    }
    quantities.push_back(static_cast<std::size_t>(found - names.begin()));
  }
  return quantities;
}

/// Without a choke of known size the direct current is smooth, and its sensors are slow ones.
bool is_waveform(const bench::Bench& bench, std::size_t quantity) {
  if (quantity >= inverter_output_voltage) return true;
  if (bench.chain) return quantity >= ac_voltage && quantity < battery_voltage;
  if (quantity == dc_voltage || quantity == dc_current) {
    return std::isfinite(bench.smoothing_inductance_H);
  }
  return tap_of(quantity, infinity).has_value();
}

std::vector<physics::BridgeTap> bridge_taps_of(const bench::Bench& bench) {
  std::vector<physics::BridgeTap> taps;
  if (bench.chain) return taps;
  const std::vector<std::size_t> quantities = quantities_of(bench);
  for (std::size_t i = 0; i < quantities.size(); ++i) {
    if (!is_waveform(bench, quantities[i]) || !bench.channels[i].simulated) continue;
    taps.push_back(*tap_of(quantities[i], bench.channels[i].simulated->bandwidth_Hz));
  }
  return taps;
}

std::vector<ChainTap> chain_taps_of(const bench::Bench& bench) {
  std::vector<ChainTap> taps;
  if (!bench.chain) return taps;
  const std::vector<std::size_t> quantities = quantities_of(bench);
  for (std::size_t i = 0; i < quantities.size(); ++i) {
    const std::size_t quantity = quantities[i];
    if (!is_waveform(bench, quantity) || !bench.channels[i].simulated) continue;
    const double bandwidth_Hz = bench.channels[i].simulated->bandwidth_Hz;
    using Place = ChainTap::Place;
    if (const auto tap = tap_of(quantity, bandwidth_Hz)) {
      taps.push_back({.place = Place::bridge, .bridge = *tap});
    } else {
      taps.push_back({.place = quantity == inverter_output_voltage ? Place::inverter_voltage
                                                                   : Place::inverter_current,
                      .bridge = {.quantity = physics::BridgeQuantity::dc_ripple,
                                 .bandwidth_Hz = bandwidth_Hz}});
    }
  }
  return taps;
}

double ratio_or_none(double numerator, double denominator) {
  return denominator > 0.0 ? numerator / denominator : 0.0;
}

}  // namespace

std::string_view quantity_name(std::size_t quantity) {
  return names.at(quantity);
}

Sampling::Sampling(const bench::Bench& bench, Plant& plant)
    : bench_(bench),
      plant_(plant),
      quantity_(quantities_of(bench)),
      signals_(bridge_taps_of(bench)),
      chain_waves_(chain_taps_of(bench)),
      middle_{} {
  std::size_t taps = 0;
  for (std::size_t i = 0; i < bench.channels.size(); ++i) {
    sensors_.emplace_back(bench.channels[i], bench.simulation->seed, bench.sample_rate_hz);
    tap_.emplace_back(is_waveform(bench, quantity_[i]) ? std::optional(taps++) : std::nullopt);
  }
  waves_.resize(taps);
  waves_now_.resize(taps);
  make_room(static_cast<std::size_t>(std::ceil(longest_stretch_s * bench.sample_rate_hz)));
}

void Sampling::make_room(std::size_t samples) {
  if (samples <= motion_.size()) return;
  motion_.resize(samples);
  angle_rad_.resize(samples);
  inputs_.resize(samples);
  for (std::vector<double>& wave : waves_)
    wave.resize(samples);
  for (Sensor& sensor : sensors_)
    sensor.make_room(samples);
  signals_.make_room(samples);
}

bool Sampling::is_known(std::size_t quantity) const {
  if (quantity == winding_temperature || quantity == frame_temperature)
    return bench_.generator_heat.has_value();
  if (quantity == vibration) return bench_.tower.has_value();
  if (is_loop(quantity)) return bench_.hard_wired.has_value();
  if (quantity == sample_counter || quantity >= inverter_output_voltage) return false;
  if (bench_.chain) return quantity < ac_voltage || quantity >= battery_voltage;
  return quantity < always_known ||
         std::find(quantity_.begin(), quantity_.end(), quantity) != quantity_.end();
}

double Sampling::loop_V(std::size_t quantity) const {
  if (!bench_.hard_wired) return 0.0;
  const bool closed = plant_.state().hard_wired.closed().at(quantity - emergency_stop_loop);
  return closed ? bench_.hard_wired->supply_V : 0.0;
}

TrueValues Sampling::true_values(const PlantSample& now) const {
  const physics::Air air = plant_.air();
  const Motion& motion = now.motion;
  TrueValues values{};
  values[air_temperature] = air.temperature_K - zero_celsius_K;
  values[air_pressure] = air.pressure_Pa / 100.0;
  values[air_humidity] = air.relative_humidity * 100.0;
  values[air_speed] = motion.air_speed_m_s;
  values[rotor_speed_of_sensor] = motion.rotor_speed_rad_s;
  values[dc_voltage] = now.dc_voltage_V;
  values[dc_current] = now.dc_current_A;
  values[winding_temperature] = now.machine.winding_K - zero_celsius_K;
  values[frame_temperature] = now.machine.frame_K - zero_celsius_K;
  values[vibration] = plant_.vibration_m_s2(motion.rotor_speed_rad_s);
  for (std::size_t i = emergency_stop_loop; i <= fuse_loop; ++i)
    values[i] = loop_V(i);
  if (bench_.chain) {
    for (std::size_t i = battery_voltage; i < inverter_output_voltage; ++i)
      values[i] = chain_value(now.chain, i);
    return values;
  }
  if (!(motion.rotor_speed_rad_s > 0.0)) return values;
  const physics::Generator& generator = plant_.generator();
  physics::GeneratorLoad load{};  // the current alone shapes the phases
  load.dc_voltage_V = now.dc_voltage_V;
  load.dc_current_A = now.dc_current_A;
  std::array<physics::PhaseSample, 3> phases{};
  for (std::size_t k = 0; k < 3; ++k) {
    phases[k] = physics::phase_sample(
        generator, load, motion.rotor_speed_rad_s,
        generator.pole_pairs * motion.rotor_angle_rad - third_rad * static_cast<double>(k));
    values[ac_voltage + 2 * k] = phases[k].voltage_V;
    values[ac_current + 2 * k] = phases[k].current_A;
  }
  for (std::size_t k = 0; k < 3; ++k)
    values[ac_line_voltage_ab + k] = phases[k].voltage_V - phases[(k + 1) % 3].voltage_V;
  return values;
}

void Sampling::apply_known_input(std::size_t channel, double value) {
  remove_known_input();
  const Sensor::Input kind = sensors_[channel].kind_of_known_input(value);
  known_input_ = {
      .channel = channel, .kind = kind, .true_input = sensors_[channel].true_input(kind, value)};
  sensors_[channel].settle();
}

void Sampling::remove_known_input() {
  if (known_input_) sensors_[known_input_->channel].settle();
  known_input_.reset();
}

void Sampling::gather(const Stretch& stretch) {
  make_room(stretch.count);
  const double tick_s = plant_.tick_s();
  const std::int64_t per_sample = plant_.ticks_per_sample();
  for (std::size_t i = 0; i < stretch.count; ++i) {
    const std::int64_t tick = stretch.first_tick + static_cast<std::int64_t>(i) * per_sample;
    motion_[i] = plant_.sample_after(static_cast<double>(tick) * tick_s);
  }
}

void Sampling::shape_waveforms(const Stretch& stretch) {
  if (waves_.empty()) return;
  const physics::Generator& generator = plant_.generator();
  middle_ = motion_[stretch.count / 2];
  for (std::size_t t = 0; t < waves_.size(); ++t)
    waves_now_[t] = std::span(waves_[t]).first(stretch.count);
  for (std::size_t i = 0; i < stretch.count; ++i)
    angle_rad_[i] = generator.pole_pairs * motion_[i].motion.rotor_angle_rad;
  if (bench_.chain) return shape_chain_waves(stretch);
  if (!(middle_.motion.rotor_speed_rad_s > 0.0)) {
    // Comes to rest or breaks away within the stretch, at next to no speed.
    for (const std::span<double> wave : waves_now_)
      std::fill(wave.begin(), wave.end(), 0.0);
    return;
  }
  const double load_ohm = ratio_or_none(middle_.dc_voltage_V, middle_.dc_current_A);
  signals_.renew(
      generator,
      {.rotor_speed_rad_s = middle_.motion.rotor_speed_rad_s,
       .dc_current_A = middle_.dc_current_A,
       .smoothing_s = load_ohm > 0.0 ? bench_.smoothing_inductance_H / load_ohm : infinity});
  signals_.fill(std::span(angle_rad_).first(stretch.count), waves_now_);
}

void Sampling::shape_chain_waves(const Stretch& stretch) {
  if (chain_waves_.has_bridge()) {
    chain_waves_.renew_bridge({.generator = plant_.generator(),
                               .rotor_speed_rad_s = middle_.motion.rotor_speed_rad_s,
                               .dc_voltage_V = middle_.dc_voltage_V,
                               .dc_current_A = middle_.dc_current_A,
                               .fault = plant_.state().chain.bridge_fault});
  }
  if (chain_waves_.has_inverter()) {
    const std::int64_t middle_tick =
        stretch.first_tick +
        static_cast<std::int64_t>(stretch.count / 2) * plant_.ticks_per_sample();
    chain_waves_.renew_inverter(
        plant_.ac_moment_after(static_cast<double>(middle_tick) * plant_.tick_s()));
  }
  chain_waves_.fill({.first = stretch.first_sample,
                     .interval_s = 1.0 / bench_.sample_rate_hz,
                     .angle_rad = std::span(angle_rad_).first(stretch.count)},
                    waves_now_);
}

// What acts on a sensor in use, before its drift.
void Sampling::fill_inputs(std::size_t channel, std::span<double> inputs) const {
  const std::size_t quantity = quantity_[channel];
  const std::size_t count = inputs.size();
  const auto each = [&](auto&& value) {
    for (std::size_t i = 0; i < count; ++i)
      inputs[i] = value(motion_[i]);
  };
  const auto scaled = [&](auto&& scale) {
    const std::vector<double>& wave = waves_[*tap_[channel]];
    for (std::size_t i = 0; i < count; ++i)
      inputs[i] = wave[i] * scale(motion_[i]);
  };
  if (bench_.chain && tap_[channel]) {
    std::copy_n(waves_[*tap_[channel]].begin(), count, inputs.begin());
    return;
  }
  if (quantity >= battery_voltage)
    return each([&](const PlantSample& now) { return chain_value(now.chain, quantity); });
  const physics::Air air = plant_.air();
  switch (quantity) {
    case air_temperature:
      return each([&](const PlantSample&) { return air.temperature_K - zero_celsius_K; });
    case air_pressure:
      return each([&](const PlantSample&) { return air.pressure_Pa / 100.0; });
    case air_humidity:
      return each([&](const PlantSample&) { return air.relative_humidity * 100.0; });
    case air_speed:
      return each([](const PlantSample& now) { return now.motion.air_speed_m_s; });
    case winding_temperature:
      return each([](const PlantSample& now) { return now.machine.winding_K - zero_celsius_K; });
    case frame_temperature:
      return each([](const PlantSample& now) { return now.machine.frame_K - zero_celsius_K; });
    case vibration:
      return each([this](const PlantSample& now) {
        return plant_.vibration_m_s2(now.motion.rotor_speed_rad_s);
      });
    case emergency_stop_loop:
    case cover_loop:
    case fuse_loop:
      return each([loop = loop_V(quantity)](const PlantSample&) { return loop; });
    case rotor_speed_of_sensor:
      return each([](const PlantSample& now) { return now.motion.rotor_speed_rad_s; });
    case dc_voltage:
      if (!tap_[channel]) return each([](const PlantSample& now) { return now.dc_voltage_V; });
      return scaled([](const PlantSample& now) { return now.dc_voltage_V; });
    case dc_current:
      if (!tap_[channel]) return each([](const PlantSample& now) { return now.dc_current_A; });
      return scaled([](const PlantSample& now) { return now.dc_current_A; });
    case ac_current:
    case ac_current_b:
    case ac_current_c: {
      const double unit = ratio_or_none(1.0, middle_.dc_current_A);
      return scaled([&](const PlantSample& now) { return unit * now.dc_current_A; });
    }
    default: {
      const double unit = ratio_or_none(1.0, middle_.motion.rotor_speed_rad_s);
      return scaled([&](const PlantSample& now) { return unit * now.motion.rotor_speed_rad_s; });
    }
  }
}

// Takes up where the converter's bits end: 0 again after 2^bits - 1.
void Sampling::fill_counter(std::size_t channel, std::int64_t first,
                            std::span<std::int32_t> shown) const {
  const std::int64_t mask = (std::int64_t{1} << bench_.channels[channel].converter.bits) - 1;
  for (std::size_t i = 0; i < shown.size(); ++i)
    shown[i] = static_cast<std::int32_t>((first + static_cast<std::int64_t>(i)) & mask);
}

void Sampling::take(const Stretch& stretch, std::size_t index, bench::SampleBlock& block) {
  if (stretch.count == 0) return;
  gather(stretch);
  shape_waveforms(stretch);
  const std::span<double> inputs = std::span(inputs_).first(stretch.count);
  for (std::size_t channel = 0; channel < sensors_.size(); ++channel) {
    Sensor& sensor = sensors_[channel];
    const std::span<std::int32_t> shown =
        std::span(block.counts).subspan(channel * block.samples + index, stretch.count);
    if (quantity_[channel] == sample_counter) {
      fill_counter(channel, stretch.first_sample, shown);
      continue;
    }
    const bool known = known_input_ && known_input_->channel == channel;
    const Sensor::Input kind = known ? known_input_->kind : Sensor::Input::process;
    if (known) {
      std::fill(inputs.begin(), inputs.end(), known_input_->true_input);
    } else {
      fill_inputs(channel, inputs);
      for (double& input : inputs)
        input = sensor.true_input(kind, input);
    }
    sensor.counts({.kind = kind,
                   .lagged = !known && tap_[channel].has_value(),
                   .first = stretch.first_sample,
                   .true_input = inputs},
                  shown);
  }
}

}  // namespace windwright::twin
