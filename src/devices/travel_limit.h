// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "bench/bench.h"
#include "bench/device.h"

#include <memory>

namespace windwright::devices {

/// A device whose actuators keep to their limits whoever commands them: a value outside lowest and
/// highest is refused, and one with a travel time moves no faster, a step each block. The safe
/// state is not held up.
/// @return  the device itself where no actuator has a travel time
std::unique_ptr<bench::Device> with_travel_limits(const bench::Bench& bench,
                                                  std::unique_ptr<bench::Device> device);

}  // namespace windwright::devices
