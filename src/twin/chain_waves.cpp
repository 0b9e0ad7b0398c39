// SPDX-License-Identifier: Apache-2.0
#include "twin/chain_waves.h"

#include "physics/bridge_waveform.h"
#include "physics/wave_lag.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <memory>
#include <numbers>
#include <span>
#include <utility>
#include <vector>

namespace windwright::twin {

namespace {

constexpr double turn_rad = 2.0 * std::numbers::pi;
constexpr std::size_t cells = physics::wave_cells;
constexpr double rounding_turns = 1e-7;
constexpr double least_A = 1e-6;        // a current on the DC side
constexpr double slowest_rad_s = 1e-3;  // below it the generator shows nothing

bool of_bridge(const ChainTap& tap) {
  return tap.place == ChainTap::Place::bridge;
}

double bandwidth_of(const std::vector<ChainTap>& taps, ChainTap::Place place) {
  for (const ChainTap& tap : taps) {
    if (tap.place == place) return tap.bridge.bandwidth_Hz;
  }
  return std::numeric_limits<double>::infinity();
}

std::uint64_t phase_of(double turns) {
  return static_cast<std::uint64_t>((turns - std::floor(turns)) * 0x1p63) << 1U;
}

double value_at(const physics::WaveTable& table, double angle_rad) {
  const double turns = angle_rad / turn_rad;
  const double place = (turns - std::floor(turns)) * static_cast<double>(cells);
  const std::size_t cell = std::min(static_cast<std::size_t>(place), cells - 1);
  return table[cell].start + (place - static_cast<double>(cell)) * table[cell].slope;
}

}  // namespace

ChainWaves::ChainWaves(std::vector<ChainTap> taps)
    : taps_(std::move(taps)),
      tables_(taps_.size()),
      voltage_bandwidth_Hz_(bandwidth_of(taps_, ChainTap::Place::inverter_voltage)),
      current_bandwidth_Hz_(bandwidth_of(taps_, ChainTap::Place::inverter_current)) {
  if (has_bridge()) phases_.resize(6 * cells);
  if (has_inverter()) period_ = std::make_unique<physics::AcPeriod>();
}

bool ChainWaves::has_bridge() const {
  return std::any_of(taps_.begin(), taps_.end(), of_bridge);
}

bool ChainWaves::has_inverter() const {
  return !std::all_of(taps_.begin(), taps_.end(), of_bridge);
}

void ChainWaves::renew_bridge(const BridgeMoment& moment) {
  for (physics::WaveTable& table : tables_)
    table.fill({});
  if (!(moment.rotor_speed_rad_s > slowest_rad_s)) return;
  const std::span<double> all(phases_);
  const auto voltage_V = [&](std::size_t phase) { return all.subspan(phase * cells, cells); };
  const auto current_A = [&](std::size_t phase) { return all.subspan((3 + phase) * cells, cells); };
  // Currents that circulate in a bridge at fault must not find a way to the DC side.
  const double open_V = 1.0 + 4.0 * moment.generator.flux_linkage_V_s *
                                  moment.generator.pole_pairs * moment.rotor_speed_rad_s;
  const double dc_V = moment.dc_current_A > least_A ? moment.dc_voltage_V : open_V;
  physics::BridgeWaveform::on_voltage(moment.generator, moment.rotor_speed_rad_s,
                                      std::max(0.0, dc_V), moment.fault)
      .fill(0.0, turn_rad / static_cast<double>(cells),
            {{{voltage_V(0), current_A(0)},
              {voltage_V(1), current_A(1)},
              {voltage_V(2), current_A(2)}}});
  const double frequency_Hz = moment.generator.pole_pairs * moment.rotor_speed_rad_s / turn_rad;
  for (std::size_t t = 0; t < taps_.size(); ++t) {
    if (!of_bridge(taps_[t])) continue;
    const physics::BridgeTap& tap = taps_[t].bridge;
    const bool current = tap.quantity == physics::BridgeQuantity::line_current;
    const std::span<double> of = current ? current_A(tap.phase) : voltage_V(tap.phase);
    const std::span<double> less = voltage_V((tap.phase + 1) % 3);
    const bool line = tap.quantity == physics::BridgeQuantity::line_voltage;
    const auto at = [&](std::size_t k) { return of[k] - (line ? less[k] : 0.0); };
    for (std::size_t k = 0; k < cells; ++k)
      tables_[t][k] = {.start = at(k), .slope = at((k + 1) % cells) - at(k)};
    physics::pass_lag(frequency_Hz, tap.bandwidth_Hz, {}, tables_[t]);
  }
}

void ChainWaves::renew_inverter(const AcMoment& moment) {
  running_ = moment.operation.supply.peak_V > 0.0;
  burst_share_ = moment.burst_share;
  if (!running_) return;
  physics::tabulate(moment.operation, moment.loads, *period_);
  physics::pass_lags(voltage_bandwidth_Hz_, current_bandwidth_Hz_, *period_);
}

void ChainWaves::fill(const Samples& samples, std::span<const std::span<double>> waves) const {
  std::span<double> voltage_V;
  std::span<double> current_A;
  for (std::size_t t = 0; t < taps_.size(); ++t) {
    if (of_bridge(taps_[t])) {
      for (std::size_t i = 0; i < waves[t].size(); ++i)
        waves[t][i] = value_at(tables_[t], samples.angle_rad[i]);
      continue;
    }
    std::fill(waves[t].begin(), waves[t].end(), 0.0);
    (taps_[t].place == ChainTap::Place::inverter_voltage ? voltage_V : current_A) = waves[t];
  }
  if (!running_) return;
  const double since_s = static_cast<double>(samples.first) * samples.interval_s;
  physics::fill(*period_,
                {.output = phase_of(period_->frequency_Hz * since_s),
                 .ripple = period_->has_ripple ? phase_of(period_->ripple_Hz * since_s) : 0},
                samples.interval_s,
                {.voltage_V = voltage_V, .current_A = current_A, .dc_current_A = {}});
  if (!(burst_share_ < 1.0)) return;
  const double step_turns = period_->frequency_Hz * samples.interval_s;
  for (const std::span<double> wave : {voltage_V, current_A})
    blank(period_->frequency_Hz * since_s, step_turns, wave);
}

// Whether a period has output depends on its number alone, so that a share that drifts changes few.
void ChainWaves::blank(double first_turns, double step_turns, std::span<double> wave) const {
  for (std::size_t i = 0; i < wave.size(); ++i) {
    const double turns = first_turns + static_cast<double>(i) * step_turns;
    const double period = std::floor(turns + rounding_turns);
    const double place = period * (std::numbers::phi - 1.0);
    if (place - std::floor(place) >= burst_share_) wave[i] = 0.0;
  }
}

}  // namespace windwright::twin
