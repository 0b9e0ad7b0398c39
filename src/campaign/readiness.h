// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "base/clock.h"
#include "bench/bench.h"
#include "bench/device.h"
#include "metrology/certificate.h"
#include "metrology/estimate.h"

#include <functional>
#include <optional>
#include <string>
#include <vector>

namespace windwright::campaign {

/// One channel before a session: is its certificate there and in date, and does the sensor still
/// agree with its check standard (E_n = difference over root sum of squares of the two expanded
/// uncertainties, k = 2; ISO/IEC 17043:2010 B.3.1.3 e)?
struct ChannelCheck {
  std::string channel;
  std::string unit;
  bool certificate_found = false;
  base::UtcTime valid_until;
  bool expired = false;
  std::optional<double> reference;  // check standard
  double u_reference = 0.0;
  metrology::Estimate measured;  // through device and certificate
  std::optional<double> en;      // none without check standard
  bool passed = false;
  std::string remark;  // what is wrong and what to do next; empty when passed
};

struct Readiness {
  base::UtcTime time;
  std::vector<ChannelCheck> channels;
  bool ready() const;
};

/// Lays each check standard on its channel (a person does, on a real bench) and measures it.
/// @throws DeviceFault
Readiness check_readiness(const bench::Bench& bench, bench::Device& device);

/// Takes the readings of a channel's calibration plan through the device, up and down in turn, and
/// makes the certificate. `readings` receives what a readings CSV holds.
struct Reading {
  double reference;
  double reading_V;
  double u_reading_V;
  int repeat;
};
metrology::Certificate calibrate_channel(const bench::Bench& bench, std::size_t channel,
                                         bench::Device& device, std::vector<Reading>& readings);

}  // namespace windwright::campaign
