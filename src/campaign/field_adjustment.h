// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "base/clock.h"
#include "bench/bench.h"
#include "bench/device.h"
#include "metrology/certificate.h"

#include <array>
#include <cstddef>
#include <functional>

namespace windwright::campaign {

/// A known input that somebody holds at the bench.
struct FieldReference {
  double value;  // in the channel's unit
  double u;      // standard uncertainty
};

/// What a person at the sensor sees, about once a second.
struct LiveReading {
  base::UtcTime time;
  double reference;
  double reading_V;  // raw
  double value;      // by the certificate as it was
  double adjusted;   // with what is known of the adjustment so far
};

/// Two-point adjustment of gain and offset through the device: lays each known input on, shows raw
/// voltage and values side by side for three seconds, takes the mean (as found by the certificate
/// as it was), and after both lays them on once more (as left). Nothing is written.
/// @param channel  index into bench.channels; its certificate must be there
/// @param show     called for every reading, from this thread
/// @return         the channel's certificate with the adjustment, dated by the device's clock
/// @throws BadInput     no certificate, or one of another channel; points that make no adjustment
/// @throws DeviceFault
metrology::Certificate adjust_in_field(const bench::Bench& bench, std::size_t channel,
                                       bench::Device& device,
                                       const std::array<FieldReference, 2>& references,
                                       const std::function<void(const LiveReading&)>& show);

}  // namespace windwright::campaign
