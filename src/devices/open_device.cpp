// SPDX-License-Identifier: Apache-2.0
#include "devices/open_device.h"

#include "bench/bench.h"
#include "bench/device_table.h"
#include "devices/link.h"
#include "devices/replay.h"
#include "twin/simulated_bench.h"

#include <memory>
#include <variant>

namespace windwright::devices {
namespace {

struct Open {
  const bench::Bench& bench;
  twin::Pace pace;
  const Ask& ask;

  std::unique_ptr<bench::Device> operator()(const bench::SimulatedDevice& /*described*/) const {
    return std::make_unique<twin::SimulatedBench>(bench, pace);
  }
  std::unique_ptr<bench::Device> operator()(const bench::ReplayDevice& described) const {
    return std::make_unique<Replay>(bench, described, pace);
  }
};

}  // namespace

std::unique_ptr<bench::Device> open_device(const bench::Bench& bench, twin::Pace pace,
                                           const Ask& ask) {
  return std::visit(Open{.bench = bench, .pace = pace, .ask = ask}, bench.device);
}

}  // namespace windwright::devices
