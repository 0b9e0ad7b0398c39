// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "bench/bench.h"
#include "bench/device.h"
#include "physics/bridge_signals.h"
#include "twin/chain_waves.h"
#include "twin/plant.h"
#include "twin/sensor.h"

#include <array>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <string_view>
#include <vector>

namespace windwright::twin {

/// What the sensors of the simulated bench can be for.
inline constexpr std::size_t quantity_count = 34;
std::string_view quantity_name(std::size_t quantity);
using TrueValues = std::array<double, quantity_count>;

/// From the plant's motion to counts, a stretch of samples at a time and channel by channel. Slow
/// quantities are taken at every sample; what alternates with the rotor's angle comes from one
/// solution of the bridge a stretch (20 ms at most), at its middle, with amplitudes that follow
/// speed and current from sample to sample; beside a battery as chain_waves.h has it. Nothing is
/// kept from stretch to stretch but the sensors' memory.
class Sampling {
 public:
  /// @param bench, plant  must outlive it
  /// @throws BadInput     a channel that cannot be simulated
  Sampling(const bench::Bench& bench, Plant& plant);

  std::vector<Sensor>& sensors() { return sensors_; }
  const std::vector<Sensor>& sensors() const { return sensors_; }

  /// Every quantity at one instant, without any lag.
  TrueValues true_values(const PlantSample& now) const;
  /// Which of them a channel of the bench, or every bench, has.
  bool is_known(std::size_t quantity) const;

  void apply_known_input(std::size_t channel, double value);
  void remove_known_input();

  /// Samples of the plant's last advance.
  struct Stretch {
    std::int64_t first_tick;  // since the start of the advance
    std::size_t count;
    std::int64_t first_sample;  // number of the first
  };
  /// @param index  place of the first in the block, whose counts have their size already
  void take(const Stretch& stretch, std::size_t index, bench::SampleBlock& block);

 private:
  struct KnownInput {
    std::size_t channel;
    Sensor::Input kind;
    double true_input;
  };

  void make_room(std::size_t samples);
  void gather(const Stretch& stretch);
  void shape_waveforms(const Stretch& stretch);
  void shape_chain_waves(const Stretch& stretch);
  double loop_V(std::size_t quantity) const;
  void fill_inputs(std::size_t channel, std::span<double> inputs) const;
  void fill_counter(std::size_t channel, std::int64_t first, std::span<std::int32_t> shown) const;

  const bench::Bench& bench_;
  Plant& plant_;
  std::vector<Sensor> sensors_;                  // (channels)
  std::vector<std::size_t> quantity_;            // (channels)
  std::vector<std::optional<std::size_t>> tap_;  // (channels), index into the taps of either
  physics::BridgeSignals signals_;               // of a bench without a battery
  ChainWaves chain_waves_;                       // of one with it
  std::optional<KnownInput> known_input_;
  // Of one stretch:
  std::vector<PlantSample> motion_;         // (samples)
  std::vector<double> angle_rad_;           // (samples), electrical
  std::vector<double> inputs_;              // (samples)
  std::vector<std::vector<double>> waves_;  // (taps), (samples)
  std::vector<std::span<double>> waves_now_;
  PlantSample middle_;
};

}  // namespace windwright::twin
