// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "bench/bench.h"
#include "bench/device.h"
#include "devices/link.h"
#include "twin/simulated_bench.h"

#include <memory>
#include <stop_token>

namespace windwright::devices {

/// The device that [device] of bench.toml names, connected.
/// @param bench  outlives the device
/// @param pace  of a simulated bench or a replay; hardware has its own
/// @param ask   a person at the bench, for what is done by hand there
/// @param stop  a lost connection is no longer waited for
/// @throws BadInput     what the description asks for does not fit
/// @throws DeviceFault  it cannot be reached
std::unique_ptr<bench::Device> open_device(const bench::Bench& bench, twin::Pace pace,
                                           const Ask& ask, const std::stop_token& stop = {});

}  // namespace windwright::devices
