// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "acquisition/derived_values.h"
#include "acquisition/value_sums.h"
#include "bench/bench.h"
#include "bench/device.h"
#include "metrology/certificate.h"

#include <cstddef>
#include <optional>
#include <span>
#include <string>
#include <vector>

namespace windwright::acquisition {

/// Of one channel over one block, in the channel's unit.
struct Figures {
  double mean;
  double deviation;  // standard deviation of the samples about their mean (divided by their number)
  double lowest;
  double highest;
};

/// The channels that a power is made of: indices in the bench.
struct PowerPair {
  std::string name;  // of the power: dc_power_W
  std::size_t voltage;
  std::size_t current;
};

/// What a person or a guard looks at: a channel of the bench, a power made of two of them, or what
/// the bench description derives from them.
struct LiveChannel {
  std::string name;
  std::string unit;
  bool calibrated;                     // else volts at the converter
  std::optional<PowerPair> pair = {};  // of a power
  double span = 0.0;  // from the lowest to the highest that it can show; 0: derived
};

/// Every voltage whose current is there too, both with a certificate: dc_voltage_V and
/// dc_current_A give dc_power_W. Root mean squares are left out: their product is no power.
std::vector<PowerPair> power_pairs(
    const bench::Bench& bench,
    const std::vector<std::optional<metrology::Certificate>>& certificates);

/// Turns each block into values: counts through converter and certificate, then powers, the product
/// of voltage and current sample by sample, of every pair like dc_voltage_V and dc_current_A
/// (dc_power_W), then the bench's derived channels. Values are in single precision, for looking at;
/// results are worked out from the recorded counts. Where an equation has no value for a sample (a
/// division by 0) its figures are of the other samples, and no number where there is none. No
/// allocation after the first block of a size.
class LiveValues {
 public:
  /// @param certificates  (channels); a channel without one shows volts
  LiveValues(const bench::Bench& bench,
             const std::vector<std::optional<metrology::Certificate>>& certificates);

  /// The bench's channels in its order, then the powers, then what is derived.
  const std::vector<LiveChannel>& channels() const { return channels_; }
  /// @param block  of all channels, with at least one sample
  void take(const bench::SampleBlock& block);
  /// Of the last block.
  const Figures& figures(std::size_t channel) const { return figures_[channel]; }
  std::span<const float> values(std::size_t channel) const;

 private:
  /// Powers where they follow the certificate as closely as single precision shows, else a table of
  /// every count.
  struct Law {
    bench::Converter converter;
    std::optional<metrology::Certificate> certificate;
    std::optional<Powers> powers;
    std::vector<float> table;  // empty for converters too fine for one
  };
  static Law law_of(const bench::Converter& converter,
                    const std::optional<metrology::Certificate>& certificate);
  void take_channel(const Law& law, std::span<const std::int32_t> counts, std::size_t index);
  void take_derived();

  std::vector<LiveChannel> channels_;
  std::vector<Law> laws_;
  std::vector<PowerPair> products_;
  std::vector<Figures> figures_;
  DerivedValues derived_;
  std::vector<float> values_;  // (channels, powers and derived) x samples
  std::vector<double> scratch_;
  std::size_t samples_ = 0;
};

}  // namespace windwright::acquisition
