// SPDX-License-Identifier: Apache-2.0
// Inside the campaign module: turns each block into the few values that the conductor steers by,
// and judges the interlocks on them.
#pragma once

#include "bench/bench.h"
#include "bench/device.h"
#include "metrology/certificate.h"

#include <cstddef>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::campaign {

class Guard {
 public:
  /// @param certificates  (channels)
  Guard(const bench::Bench& bench, std::vector<metrology::Certificate> certificates);

  /// Takes a block in and judges it: a channel's mean beyond the bound of its interlock, not a
  /// number, or all its counts at the upper end of the converter (then the value is unknown, and
  /// that counts as dangerous).
  /// @return  the cause, in words; nothing where all is well
  std::optional<std::string> trip(const bench::SampleBlock& block);

  /// Of the last block.
  double rotor_speed_rad_s() const;
  double dc_voltage_V() const;
  std::span<const double> dc_power_W() const { return power_W_; }  // (samples)

  /// What the converter of a channel can show, in the channel's unit.
  double span(std::string_view channel) const;

 private:
  const std::vector<double>& values(std::string_view channel) const;

  const bench::Bench& bench_;
  std::vector<metrology::Certificate> certificates_;
  std::vector<std::size_t> watched_;         // channels with an interlock or steered by
  std::vector<std::vector<double>> values_;  // (channels) of the last block; empty if not watched
  std::vector<double> power_W_;
};

}  // namespace windwright::campaign
