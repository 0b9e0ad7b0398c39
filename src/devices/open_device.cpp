// SPDX-License-Identifier: Apache-2.0
#include "devices/open_device.h"

#include "bench/bench.h"
#include "bench/device_table.h"
#include "devices/link.h"
#include "devices/modbus_link.h"
#include "devices/polled_device.h"
#include "devices/replay.h"
#include "twin/simulated_bench.h"

#include <fmt/format.h>

#include <memory>
#include <string>
#include <utility>
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
  std::unique_ptr<bench::Device> operator()(const bench::ModbusTcpDevice& described) const {
    return polled(fmt::format("modbus {} port {}", described.host, described.port),
                  modbus_connector(bench, described), described.unit.longest_outage_s);
  }
  std::unique_ptr<bench::Device> operator()(const bench::ModbusRtuDevice& described) const {
    return polled(fmt::format("modbus {} unit {}", described.port, described.unit.unit),
                  modbus_connector(bench, described), described.unit.longest_outage_s);
  }

  std::unique_ptr<bench::Device> polled(std::string name, Connect connect,
                                        double longest_outage_s) const {
    return std::make_unique<PolledDevice>(bench, Polling{.name = std::move(name),
                                                         .connect = std::move(connect),
                                                         .ask = ask,
                                                         .longest_outage_s = longest_outage_s});
  }
};

}  // namespace

std::unique_ptr<bench::Device> open_device(const bench::Bench& bench, twin::Pace pace,
                                           const Ask& ask) {
  return std::visit(Open{.bench = bench, .pace = pace, .ask = ask}, bench.device);
}

}  // namespace windwright::devices
