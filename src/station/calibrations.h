// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "bench/device.h"
#include "campaign/readiness.h"
#include "metrology/certificate.h"

#include <boost/json/fwd.hpp>

#include <cstddef>
#include <functional>
#include <mutex>
#include <optional>
#include <stop_token>
#include <string>
#include <vector>

namespace windwright::station {

class Station;

/// The calibration of one channel at a bench: readings as they come, the certificate that they
/// make, and who signs it. Nothing is written before it is signed. Any thread may call.
class Calibrations {
 public:
  explicit Calibrations(Station& station) : station_(station) {}

  /// @param finished  called on the device's thread at the end, with what went wrong or nothing
  /// @throws BadInput  no such channel; Refusal  409
  void begin(const std::string& channel, std::function<void(const std::string& problem)> finished);
  void end();
  /// Writes readings and certificate beside the bench, as `windwright calibrate` does.
  /// @return  the channel
  /// @throws Refusal  409: nothing to sign
  std::string sign(const std::string& signature);
  /// docs/openapi.json, Calibration.
  boost::json::object document() const;

 private:
  enum class State { none, reading, proposed, signed_, refused, ended };
  class Watched;
  void run(bench::Device& device, const std::stop_token& stop, std::size_t index);

  Station& station_;
  mutable std::mutex mutex_;
  State state_ = State::none;
  std::optional<std::size_t> channel_;
  std::optional<double> known_input_;
  std::vector<campaign::Reading> readings_;
  std::optional<metrology::Certificate> certificate_;  // proposed
  std::optional<metrology::Certificate> so_far_;       // of the readings there are
  std::optional<metrology::Certificate> in_force_;     // before this calibration
  std::optional<double> voltage_V_;                    // of the newest block
  std::string cause_;
};

}  // namespace windwright::station
