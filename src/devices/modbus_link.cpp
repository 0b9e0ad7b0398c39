// SPDX-License-Identifier: Apache-2.0
#include "devices/modbus_link.h"

#include "base/errors.h"
#include "bench/instrument_tables.h"
#include "devices/modbus_registers.h"
#include "devices/tcp_connection.h"

#include <fmt/format.h>
#include <modbus/modbus.h>
#include <poll.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <chrono>
#include <cstddef>
#include <cstdint>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <utility>
#include <vector>

namespace windwright::devices {
namespace {

using Clock = std::chrono::steady_clock;
using bench::RegisterPlace;
using bench::RegisterTable;

struct Closer {
  void operator()(modbus_t* context) const {
    modbus_close(context);
    modbus_free(context);
  }
};
using Context = std::unique_ptr<modbus_t, Closer>;

/// The instrument answered, and said no.
bool is_refusal(int error) {
  return error == EMBXILFUN || error == EMBXILADD || error == EMBXILVAL;
}

class ModbusLink final : public Link {
 public:
  ModbusLink(Context context, const bench::Bench& bench, const bench::ModbusUnit& unit)
      : context_(std::move(context)),
        bench_(bench),
        unit_(unit),
        requests_(requests_for(unit.channels)) {
    modbus_set_slave(context_.get(), unit.unit);
    // The time for the answer is that for the whole of it; no recovery of its own.
    modbus_set_byte_timeout(context_.get(), 0, 0);
    modbus_set_error_recovery(context_.get(), MODBUS_ERROR_RECOVERY_NONE);
    for (const RegisterPlace& place : unit.channels)
      where_.push_back(where(place));
    for (const RegisterRequest& request : requests_)
      registers_.resize(registers_.size() + static_cast<std::size_t>(request.count));
  }

  void connect() {
    begin();
    if (modbus_connect(context_.get()) != 0) lost("no connection", errno);
  }

  /// By TCP. libmodbus would look the name up for as long as the system likes, and then give every
  /// address behind it the whole time.
  void connect(const bench::TcpAddress& address) {
    modbus_set_socket(context_.get(), connected_by_tcp(address, unit_.timeout_s).release());
  }

  /// Waits until nothing comes any more: after a lost answer it may still be on its way, and the
  /// serial protocol has nothing that tells it from the next one.
  void drain() {
    constexpr int silence_ms = 20;
    std::array<std::uint8_t, 256> late{};
    pollfd line{.fd = modbus_get_socket(context_.get()), .events = POLLIN, .revents = 0};
    while (poll(&line, 1, silence_ms) > 0) {
      if (::read(line.fd, late.data(), late.size()) <= 0) lost("no connection", errno);
      if (Clock::now() >= deadline_) throw LinkLost("the line is never quiet");
    }
  }

  void read(std::span<std::int32_t> counts) override {
    begin();
    std::size_t first = 0;
    for (const RegisterRequest& request : requests_) {
      ask(request, &registers_[first]);
      first += static_cast<std::size_t>(request.count);
    }
    for (std::size_t i = 0; i < counts.size(); ++i) {
      const RegisterPlace& place = unit_.channels[i];
      const auto held = std::span<const std::uint16_t>(registers_)
                            .subspan(where_[i], static_cast<std::size_t>(place.registers()));
      const auto count = count_in(held, place, bench_.channels[i].converter);
      if (!count) {
        throw LinkLost(fmt::format("{} shows {:g}, which its converter of {} bits cannot",
                                   bench_.channels[i].name, number_in(held, place),
                                   bench_.channels[i].converter.bits));
      }
      counts[i] = *count;
    }
    if (unit_.heartbeat_address) write({.address = *unit_.heartbeat_address}, ++beat_, "heartbeat");
  }

  void set(std::size_t actuator, double value) override {
    begin();
    const auto& written = unit_.actuators[actuator];
    if (!written) refused(fmt::format("to set {}: it has no register", name(actuator)), EMBXILADD);
    write(written->place, value * written->scale, name(actuator));
  }

  void make_safe() override {
    begin();
    if (unit_.stop_address) write({.address = *unit_.stop_address}, 1.0, "stop");
  }

  void feed() override {
    begin();
    if (unit_.guard_heartbeat_address) {
      write({.address = *unit_.guard_heartbeat_address}, ++beat_, "the guard's heartbeat");
      return;
    }
    // Once a second, and one value: to read may be more to an instrument than to answer.
    if (Clock::now() - heard_ < std::chrono::seconds(1)) return;
    const RegisterPlace& place = unit_.channels.front();
    ask({.table = place.table, .address = place.address, .count = place.registers()},
        registers_.data());
    heard_ = Clock::now();
  }

  void reset() {
    begin();
    if (unit_.reset_address) write({.address = *unit_.reset_address}, 1.0, "reset");
  }

 private:
  std::size_t where(const RegisterPlace& place) const {
    std::size_t first = 0;
    for (const RegisterRequest& request : requests_) {
      if (request.table == place.table && place.address >= request.address &&
          place.address < request.address + request.count)
        return first + static_cast<std::size_t>(place.address - request.address);
      first += static_cast<std::size_t>(request.count);
    }
    return first;  // not reached: the requests cover all places
  }

  static std::string words_of(const RegisterRequest& request) {
    return fmt::format("{} registers at addresses {} to {}",
                       request.table == RegisterTable::input ? "input" : "holding", request.address,
                       request.address + request.count - 1);
  }

  const std::string& name(std::size_t actuator) const { return bench_.actuators[actuator].name; }

  void begin() {
    deadline_ = Clock::now() + std::chrono::duration_cast<Clock::duration>(
                                   std::chrono::duration<double>(unit_.timeout_s));
    allow();
  }

  // What is left of the call's time.
  void allow() {
    const auto left =
        std::chrono::duration_cast<std::chrono::microseconds>(deadline_ - Clock::now()).count();
    if (left <= 0) throw LinkLost(fmt::format("not done within {:g} s", unit_.timeout_s));
    constexpr std::int64_t second = 1'000'000;
    modbus_set_response_timeout(context_.get(), static_cast<std::uint32_t>(left / second),
                                static_cast<std::uint32_t>(left % second));
  }

  void ask(const RegisterRequest& request, std::uint16_t* into) {
    allow();
    const auto read_them =
        request.table == RegisterTable::input ? modbus_read_input_registers : modbus_read_registers;
    if (read_them(context_.get(), request.address, request.count, into) == request.count) return;
    const int error = errno;
    if (is_refusal(error)) refused(fmt::format("to show {}", words_of(request)), error);
    lost(fmt::format("no answer about {}", words_of(request)), error);
  }

  void write(const RegisterPlace& place, double number, const std::string& what) {
    allow();
    const std::vector<std::uint16_t> words = registers_of(number, place);
    const int done = words.size() == 1
                         ? modbus_write_register(context_.get(), place.address, words[0])
                         : modbus_write_registers(context_.get(), place.address, 2, words.data());
    if (done == static_cast<int>(words.size())) return;
    const int error = errno;
    if (is_refusal(error) || error == EMBXSFAIL)
      refused(fmt::format("to set {}, holding register at address {}, to {:g}", what, place.address,
                          number),
              error);
    lost(fmt::format("no answer about {}", what), error);
  }

  [[noreturn]] static void lost(const std::string& what, int error) {
    throw LinkLost(fmt::format("{}: {}", what, modbus_strerror(error)));
  }
  [[noreturn]] static void refused(const std::string& what, int error) {
    throw base::DeviceFault(
        "the Modbus instrument", fmt::format("refused {}: {}", what, modbus_strerror(error)),
        "addresses, types and unit in the bench's file, and whether the instrument has tripped");
  }

  Context context_;
  const bench::Bench& bench_;
  const bench::ModbusUnit& unit_;
  std::vector<RegisterRequest> requests_;
  std::vector<std::uint16_t> registers_;  // of all requests, one after the other
  std::vector<std::size_t> where_;        // of each channel, in registers_
  Clock::time_point deadline_;
  std::uint16_t beat_ = 0;
  Clock::time_point heard_;
};

/// @param make  a link that is connected
template <typename Make>
Connect connector(const bench::Bench& bench, Make make) {
  return [&bench, make, opened = false]() mutable -> std::unique_ptr<Link> {
    std::unique_ptr<ModbusLink> link = make();
    std::vector<std::int32_t> sample(bench.channels.size());
    link->read(sample);
    if (!opened) link->reset();
    opened = true;
    return link;
  };
}

std::unique_ptr<ModbusLink> link_of(modbus_t* made, const bench::Bench& bench,
                                    const bench::ModbusUnit& unit) {
  Context context(made);
  if (!context) throw LinkLost(modbus_strerror(errno));
  return std::make_unique<ModbusLink>(std::move(context), bench, unit);
}

std::unique_ptr<ModbusLink> connected(const bench::Bench& bench,
                                      const bench::ModbusTcpDevice& described) {
  constexpr const char* not_used = "127.0.0.1";  // it is given a socket
  auto link = link_of(modbus_new_tcp(not_used, described.port), bench, described.unit);
  link->connect({.host = described.host, .port = described.port});
  return link;
}

std::unique_ptr<ModbusLink> connected(const bench::Bench& bench,
                                      const bench::ModbusRtuDevice& described) {
  auto link = link_of(modbus_new_rtu(described.port.c_str(), described.baud, described.parity, 8,
                                     described.stop_bits),
                      bench, described.unit);
  link->connect();
  link->drain();
  return link;
}

}  // namespace

Connect modbus_connector(const bench::Bench& bench, const bench::ModbusTcpDevice& described) {
  return connector(bench, [&bench, &described] { return connected(bench, described); });
}

Connect modbus_guard_connector(const bench::Bench& bench, const bench::ModbusTcpDevice& described) {
  return [&bench, &described]() -> std::unique_ptr<Link> { return connected(bench, described); };
}

Connect modbus_connector(const bench::Bench& bench, const bench::ModbusRtuDevice& described) {
  return connector(bench, [&bench, &described] { return connected(bench, described); });
}

}  // namespace windwright::devices
