// SPDX-License-Identifier: Apache-2.0
#include "base/errors.h"
#include "base/json.h"
#include "bench/bench.h"
#include "cli/ask_person.h"
#include "cli/stop_on_signal.h"
#include "cli/verbs.h"
#include "devices/modbus_server.h"
#include "devices/open_device.h"
#include "devices/scpi_server.h"
#include "devices/served_bench.h"
#include "devices/served_scpi.h"
#include "devices/tcp_service.h"
#include "twin/simulated_bench.h"

#include <CLI/CLI.hpp>
#include <boost/json.hpp>
#include <fmt/format.h>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstddef>
#include <cstdio>
#include <memory>
#include <optional>
#include <stop_token>
#include <string>
#include <string_view>

namespace windwright::cli {

namespace {

namespace json = boost::json;
using Clock = std::chrono::steady_clock;

struct Request {
  std::string bench;
  std::string address = "127.0.0.1";
  std::optional<int> modbus_tcp;
  std::optional<int> scpi;
  double watchdog_s = 2.0;
  bool real_time = false;
  bool tables = false;
  bool json = false;
};

constexpr double step_s = 0.01;  // of a bench served in real time

// The bench with blocks as short as what is shown changes.
bench::Bench with_short_blocks(bench::Bench bench, bool real_time) {
  const double samples = real_time ? std::round(step_s * bench.sample_rate_hz) : 1.0;
  bench.block_s = std::max(samples, 1.0) / bench.sample_rate_hz;
  return bench;
}

void show_map(const bench::Bench& bench, const devices::RegisterMap& map) {
  fmt::print("input registers (function 4), counts of the converters:\n");
  for (std::size_t i = 0; i < bench.channels.size(); ++i) {
    fmt::print("  {:5}  {} bit{}  {}\n", map.channels[i].address, bench.channels[i].converter.bits,
               map.channels[i].registers() == 2 ? ", two registers, high word first" : "",
               bench.channels[i].name);
  }
  fmt::print("  {:5}  1 after a trip\n", map.tripped_address);
  fmt::print("holding registers (functions 3, 6, 16):\n");
  for (std::size_t i = 0; i < bench.actuators.size(); ++i) {
    const bench::Actuator& actuator = bench.actuators[i];
    fmt::print("  {:5}  {} times {:g}, {:g} to {:g}\n", map.actuators[i].place.address,
               actuator.name, map.actuators[i].scale, actuator.lowest, actuator.highest);
  }
  fmt::print("  {:5}  heartbeat, any value\n", map.heartbeat_address);
  fmt::print("  {:5}  1 takes a trip back\n", map.reset_address);
  fmt::print("  {:5}  heartbeat of a guard process, any value\n", map.guard_heartbeat_address);
  fmt::print("  {:5}  1 makes the bench safe\n", map.stop_address);
}

json::object map_document(const bench::Bench& bench, const devices::RegisterMap& map) {
  json::object channels;
  for (std::size_t i = 0; i < bench.channels.size(); ++i)
    channels[bench.channels[i].name] = map.channels[i].address;
  json::object actuators;
  for (std::size_t i = 0; i < bench.actuators.size(); ++i) {
    actuators[bench.actuators[i].name] = {{"address", map.actuators[i].place.address},
                                          {"scale", map.actuators[i].scale}};
  }
  return {{"input_registers", channels},
          {"holding_registers", actuators},
          {"tripped_address", map.tripped_address},
          {"heartbeat_address", map.heartbeat_address},
          {"reset_address", map.reset_address},
          {"guard_heartbeat_address", map.guard_heartbeat_address},
          {"stop_address", map.stop_address}};
}

void serve_until_stopped(devices::TcpService& service, devices::ServedBench& served,
                         const bench::Bench& bench, bool real_time, const std::stop_token& stop) {
  constexpr std::chrono::milliseconds patience{50};
  constexpr std::chrono::seconds longest_lag{1};
  const auto block =
      std::chrono::duration_cast<Clock::duration>(std::chrono::duration<double>(bench.block_s));
  auto due = Clock::now();
  bool was_tripped = false;
  while (!stop.stop_requested()) {
    if (!real_time) {
      service.serve(patience);
    } else {
      // One block between two looks at the clients: who catches up has to answer all the same.
      if (Clock::now() - due > longest_lag) due = Clock::now();  // it cannot follow
      if (due <= Clock::now()) {
        served.pass();
        due += block;
      }
      service.serve(std::chrono::duration_cast<std::chrono::milliseconds>(
          std::max(due - Clock::now(), Clock::duration::zero())));
    }
    if (served.tripped() && !was_tripped)
      fmt::print(stderr, "{}: the bench was made safe\n", served.trip_cause());
    was_tripped = served.tripped();
  }
}

int run_serve_device(const Request& request) {
  const bench::Bench bench =
      with_short_blocks(bench::bench_from_file(request.bench), request.real_time);
  if (!request.modbus_tcp && !request.scpi) {
    throw base::BadInput("serve-device", "is to serve nothing", "--modbus-tcp PORT, --scpi PORT");
  }
  if (request.tables) {
    if (!request.modbus_tcp) {
      throw base::BadInput("--tables", "is about Modbus", "with --modbus-tcp PORT");
    }
    fmt::print("{}", devices::text_of_client_bench(bench, request.address, *request.modbus_tcp));
    return done;
  }
  const StopOnSignal stop;
  const auto device = devices::open_device(bench, twin::Pace::as_fast_as_possible, ask_person);
  devices::ServedBench served(
      bench, *device,
      {.watchdog_s = request.watchdog_s, .passes_with_requests = !request.real_time});
  devices::TcpService service;
  json::object document{{"address", request.address}};
  std::string places;
  if (request.modbus_tcp) {
    const int port = service.listen(request.address, *request.modbus_tcp, [&served] {
      return [&served](std::string_view received, std::string& answer) {
        return devices::answer_modbus_tcp(received, served, answer);
      };
    });
    document["modbus_tcp_port"] = port;
    places += fmt::format(" Modbus TCP at {}:{},", request.address, port);
  }
  if (request.scpi) {
    const int port = service.listen(request.address, *request.scpi, [&bench, &served] {
      // shared: a conversation is copied about as a function, the session is one
      std::shared_ptr<devices::ScpiSession> session =
          devices::scpi_session(bench, served, WINDWRIGHT_VERSION);
      return [session](std::string_view received, std::string& answer) {
        return session->converse(received, answer);
      };
    });
    document["scpi_port"] = port;
    places += fmt::format(" SCPI at {}:{},", request.address, port);
  }
  if (request.json) {
    document["map"] = map_document(bench, served.map());
    fmt::print("{}", base::json_text(document));
  } else {
    fmt::print("{}:{} until Ctrl-C\n", device->name(), places);
    if (request.modbus_tcp) show_map(bench, served.map());
  }
  std::fflush(stdout);
  serve_until_stopped(service, served, bench, request.real_time, stop.token());
  device->stop();
  return done;
}

}  // namespace

void add_serve_device(CLI::App& program, int& exit_code) {
  auto request = std::make_shared<Request>();  // shared: the callback outlives this function
  CLI::App* verb = program.add_subcommand(
      "serve-device",
      "Offer a (simulated) bench as a Modbus TCP or SCPI instrument to other programs");
  verb->add_option("BENCH", request->bench, "bench description")->required();
  verb->add_option("--modbus-tcp", request->modbus_tcp, "port for Modbus TCP; 0 takes a free one")
      ->check(CLI::Range(0, 65535));
  verb->add_option("--scpi", request->scpi, "port for SCPI over TCP; 0 takes a free one")
      ->check(CLI::Range(0, 65535));
  verb->add_option("--address", request->address,
                   "IPv4 address of this computer to listen at; neither protocol knows passwords")
      ->capture_default_str();
  verb->add_option("--watchdog-s", request->watchdog_s,
                   "a driven bench is made safe when no client wrote anything for so long")
      ->check(CLI::Range(0.1, 3600.0))
      ->capture_default_str();
  verb->add_flag("--real-time", request->real_time,
                 "simulated time goes on by itself; without this, one sample with every request "
                 "for channels");
  verb->add_flag("--tables", request->tables,
                 "print the bench file of a client that reaches the served bench, and end");
  verb->add_flag("--json", request->json, "one JSON document on stdout");
  verb->footer(
      "Example:\n"
      "  windwright serve-device examples/saltmarsh-college/bench.toml --modbus-tcp 1502 "
      "--real-time");
  verb->callback([request, &exit_code] { exit_code = run_serve_device(*request); });
}

}  // namespace windwright::cli
