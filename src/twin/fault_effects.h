// SPDX-License-Identifier: Apache-2.0
// Inside of SimulatedBench: what a fault does to plant and sensors.
#pragma once

#include "bench/bench.h"
#include "twin/fault.h"
#include "twin/plant.h"
#include "twin/sensor.h"

#include <cstdint>
#include <vector>

namespace windwright::twin {

/// What a fault acts on.
struct FaultSite {
  const bench::Bench& bench;
  Plant& plant;
  std::vector<Sensor>& sensors;  // (channels)
  std::int64_t sample;           // that comes next
};

/// @throws BadInput  a channel or actuator that the bench does not have
void begin_fault(const Fault& fault, const FaultSite& site);
void end_fault(const Fault& fault, const FaultSite& site);

}  // namespace windwright::twin
