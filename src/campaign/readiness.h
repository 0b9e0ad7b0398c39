// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "base/clock.h"
#include "bench/bench.h"
#include "bench/device.h"
#include "metrology/certificate.h"
#include "metrology/estimate.h"

#include <boost/json/fwd.hpp>

#include <cstddef>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::campaign {

/// One channel before a session: is its certificate there and in date, and does the sensor still
/// agree with its check standard (E_n = difference over root sum of squares of the two expanded
/// uncertainties, 95 % by Student's t; ISO/IEC 17043:2010 B.3.1.3 e)? Can its interlocks trip at
/// all?
struct ChannelCheck {
  std::string channel;
  std::string unit;
  bool certificate_found = false;  // there, readable, and of this channel
  base::UtcTime valid_until{};
  bool expired = false;                  // or dated later than now
  std::optional<double> reference = {};  // check standard
  double u_reference = 0.0;
  metrology::Estimate measured = {};  // through device and certificate
  std::optional<double> en = {};      // none without check standard
  bool passed = false;
  std::string remark = {};  // what is wrong and what to do next; empty when passed
};

struct Readiness {
  base::UtcTime time;
  std::vector<ChannelCheck> channels;  // in the bench's order
  /// Why the interlocks do not count as proved (campaign/proof.h); empty where they do.
  std::string interlocks_remark = {};
  bool ready() const;
  /// The remarks of what did not pass, one after the other.
  std::string what_is_wrong() const;
};

/// Lays each check standard on its channel (a person does, on a real bench), lets the sensor come
/// to rest and measures for a second. Takes a few seconds of device time a channel.
/// @throws DeviceFault
Readiness check_readiness(const bench::Bench& bench, bench::Device& device);

boost::json::value to_json(const Readiness& readiness);
/// @param where  `file:line`, for the message
/// @throws BadInput
Readiness readiness_from_json(const boost::json::value& json, std::string_view where);

/// One line of a readings CSV.
struct Reading {
  double reference;
  double reading_V;
  double u_reading_V;  // standard uncertainty of the mean, from the scatter of its samples
  int repeat;          // from 1; odd ones go up, even ones down
};

/// The certificate that readings of a channel make, of its whole plan or so far; not dated.
/// @throws BadInput  the readings do not make a calibration (metrology::calibrate)
metrology::Certificate certificate_of_readings(const bench::Bench& bench, std::size_t channel,
                                               const std::vector<Reading>& readings);

/// Takes the readings of a channel's calibration plan through the device, up and down in turn, and
/// makes the certificate: dated by the device's clock, valid for the plan's days. Takes about a
/// second of device time a reading.
/// @param channel   index into bench.channels
/// @param readings  receives what was read, in that order
/// @throws BadInput     the readings do not make a calibration (metrology::calibrate)
/// @throws DeviceFault
metrology::Certificate calibrate_channel(const bench::Bench& bench, std::size_t channel,
                                         bench::Device& device, std::vector<Reading>& readings);

}  // namespace windwright::campaign
