// SPDX-License-Identifier: Apache-2.0
#include "devices/open_device.h"

#include "bench/bench.h"
#include "bench/device_table.h"
#include "bench/mqtt_broker.h"
#include "devices/byte_stream.h"
#include "devices/comedi_board.h"
#include "devices/comedi_stream.h"
#include "devices/iio_stream.h"
#include "devices/line_device.h"
#include "devices/link.h"
#include "devices/modbus_link.h"
#include "devices/mqtt_link.h"
#include "devices/polled_device.h"
#include "devices/replay.h"
#include "devices/sample_stream.h"
#include "devices/scpi_link.h"
#include "devices/streamed_device.h"
#include "devices/travel_limit.h"
#include "twin/simulated_bench.h"

#include <fmt/format.h>

#include <memory>
#include <stop_token>
#include <string>
#include <utility>
#include <variant>

namespace windwright::devices {
namespace {

// What is described lives in the bench, which outlives its device.
struct Open {
  const bench::Bench& bench;
  twin::Pace pace;
  const Ask& ask;
  const std::stop_token& stop;

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
  std::unique_ptr<bench::Device> operator()(const bench::LinesDevice& described) const {
    return std::make_unique<LineDevice>(
        bench, described,
        Receiving{
            .open = [&described] { return open_stream(described.endpoint, described.timeout_s); },
            .ask = ask,
            .stop = stop});
  }
  std::unique_ptr<bench::Device> operator()(const bench::ScpiDevice& described) const {
    const auto connect = [&the_bench = bench, &described]() -> std::unique_ptr<Link> {
      return std::make_unique<ScpiLink>(the_bench, described,
                                        open_stream(described.endpoint, described.timeout_s));
    };
    return polled("instrument at " + endpoint_text(described.endpoint), connect,
                  described.longest_outage_s);
  }
  std::unique_ptr<bench::Device> operator()(const bench::MqttDevice& described) const {
    const auto connect = [&the_bench = bench, &described]() -> std::unique_ptr<Link> {
      return std::make_unique<MqttLink>(the_bench, described);
    };
    return polled(bench::broker_text(described.broker), connect, described.longest_outage_s);
  }
  std::unique_ptr<bench::Device> operator()(const bench::IioDevice& described) const {
    const auto start = [&the_bench = bench, &described]() -> std::unique_ptr<SampleStream> {
      return std::make_unique<IioStream>(the_bench, described);
    };
    return streamed(fmt::format("converter {} at {}", described.name, described.uri), start,
                    described);
  }
  std::unique_ptr<bench::Device> operator()(const bench::ComediDevice& described) const {
    const auto start = [&the_bench = bench, &described]() -> std::unique_ptr<SampleStream> {
      return std::make_unique<ComediStream>(the_bench, described,
                                            open_comedi_board(described.file));
    };
    return streamed("board at " + described.file, start, described);
  }

  template <typename Described>
  std::unique_ptr<bench::Device> streamed(std::string name, OpenSamples start,
                                          const Described& described) const {
    return std::make_unique<StreamedDevice>(
        bench, Streaming{.name = std::move(name),
                         .open = std::move(start),
                         .ask = ask,
                         .longest_outage_s = described.longest_outage_s,
                         .longest_drift_s = described.longest_drift_s,
                         .stop = stop});
  }

  std::unique_ptr<bench::Device> polled(std::string name, Connect connect,
                                        double longest_outage_s) const {
    return std::make_unique<PolledDevice>(bench, Polling{.name = std::move(name),
                                                         .connect = std::move(connect),
                                                         .ask = ask,
                                                         .longest_outage_s = longest_outage_s,
                                                         .stop = stop});
  }
};

}  // namespace

std::unique_ptr<bench::Device> open_device(const bench::Bench& bench, twin::Pace pace,
                                           const Ask& ask, const std::stop_token& stop) {
  return with_travel_limits(
      bench,
      std::visit(Open{.bench = bench, .pace = pace, .ask = ask, .stop = stop}, bench.device));
}

}  // namespace windwright::devices
