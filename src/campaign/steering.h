// SPDX-License-Identifier: Apache-2.0
// Inside the campaign module: turns each block into the few values that the conductor steers by,
// and has the interlocks judge it.
#pragma once

#include "bench/bench.h"
#include "bench/device.h"
#include "guard/interlocks.h"
#include "metrology/certificate.h"

#include <filesystem>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::campaign {

class Steering {
 public:
  /// @param certificates  (channels)
  /// @param folder        of the run
  Steering(const bench::Bench& bench, std::vector<metrology::Certificate> certificates,
           const std::filesystem::path& folder);

  std::optional<guard::Trip> judge(const bench::SampleBlock& block);

  /// Interlocks whose condition holds at the last block, by name.
  std::vector<std::string> standing() const { return interlocks_.standing(); }
  /// What has come after the first cause of a trip.
  std::vector<guard::Follower> followers() const { return interlocks_.followers(); }

  /// Of the last block.
  double rotor_speed_rad_s() const;
  double dc_voltage_V() const;
  std::span<const double> dc_power_W() const { return power_W_; }  // (samples)

  /// What the converter of a channel can show, in the channel's unit.
  double span(std::string_view channel) const;

 private:
  const bench::Bench& bench_;
  std::vector<metrology::Certificate> certificates_;
  guard::Interlocks interlocks_;
  std::vector<double> power_W_;
};

}  // namespace windwright::campaign
