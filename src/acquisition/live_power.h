// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "acquisition/live_values.h"
#include "base/clock.h"
#include "bench/bench.h"
#include "bench/device.h"
#include "metrology/certificate.h"
#include "signal/fundamental.h"

#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <vector>

namespace windwright::acquisition {

/// Of an alternating voltage and its current over the newest window of whole cycles.
struct AcFigures {
  double frequency_Hz;
  double voltage_rms_V;
  double current_rms_A;
  double active_power_W;
  double apparent_power_VA;
  double power_factor;   // 0 where there is no current
  int cycles;            // of the window: 10, or 12 from 55 Hz on
  base::UtcTime before;  // device time one sample after the window
};

/// AC power for whoever looks on: keeps the newest samples of the voltages and currents that
/// alternate (bench::is_alternating), and works a window out when it is asked for, as
/// signal::pair_power does. Taking a block copies counts and nothing else, without allocation.
/// Not for the recording's path.
class LivePower {
 public:
  /// @param certificates  (channels); a pair without both has no power
  LivePower(const bench::Bench& bench,
            const std::vector<std::optional<metrology::Certificate>>& certificates);

  const std::vector<PowerPair>& pairs() const { return pairs_; }
  /// @param block  the next; after a gap what came before it is forgotten
  void take(const bench::SampleBlock& block);
  /// @param pair  index in pairs()
  /// @return      nothing: no whole window since the beginning or the last gap, or no fundamental
  ///              in it (10 to 400 Hz), or one that changes too fast
  std::optional<AcFigures> newest(std::size_t pair) const;

 private:
  struct Kept {
    std::size_t channel;
    std::vector<std::int32_t> counts;  // a ring
  };

  const Kept& kept(std::size_t channel) const;
  std::vector<double> values(std::size_t channel, std::size_t samples) const;

  std::vector<bench::Converter> converters_;                         // (channels)
  std::vector<std::optional<metrology::Certificate>> certificates_;  // (channels)
  double sample_rate_hz_;
  std::vector<PowerPair> pairs_;
  std::vector<Kept> kept_;
  std::size_t capacity_;
  std::size_t end_ = 0;     // in the ring: where the next sample goes
  std::size_t filled_ = 0;  // samples without a gap
  std::int64_t next_ = 0;   // device's count that would follow
  base::UtcTime before_;
};

}  // namespace windwright::acquisition
