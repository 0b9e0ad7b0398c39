// SPDX-License-Identifier: Apache-2.0
#include "devices/modbus_instrument.h"

#include <arpa/inet.h>
#include <fcntl.h>
#include <modbus/modbus.h>
#include <netinet/in.h>
#include <poll.h>
#include <sys/socket.h>
#include <termios.h>
#include <unistd.h>

#include <array>
#include <chrono>
#include <cstdlib>
#include <filesystem>
#include <stdexcept>
#include <utility>

namespace windwright::devices {
namespace {

constexpr int look_ms = 5;  // how soon a thread notices that it is over

bool readable(int file) {
  pollfd waited{.fd = file, .events = POLLIN, .revents = 0};
  return poll(&waited, 1, look_ms) > 0;
}

/// Which of two has something: 0, 1, or 2 for neither.
int either_readable(int first, int second) {
  pollfd waited[2]{{.fd = first, .events = POLLIN, .revents = 0},
                   {.fd = second, .events = POLLIN, .revents = 0}};
  if (poll(waited, 2, look_ms) <= 0) return 2;
  return waited[0].revents != 0 ? 0 : 1;
}

void put(int socket, std::string_view bytes) {
  static_cast<void>(send(socket, bytes.data(), bytes.size(), MSG_NOSIGNAL));
}

std::string garbage(std::mt19937& random) {
  std::string bytes;
  for (std::size_t i = 1 + random() % 60; i > 0; --i)
    bytes += static_cast<char>(random());
  return bytes;
}

void require(bool done, const char* what) {
  if (!done) throw std::runtime_error(what);
}

}  // namespace

ModbusException InstrumentRegisters::read(bench::RegisterTable table, int address,
                                          std::span<std::uint16_t> registers) {
  const std::lock_guard lock(mutex_);
  if (table == bench::RegisterTable::input && address == 0) ++answers_;
  for (std::uint16_t& word : registers) {
    if (table == bench::RegisterTable::holding) {
      word = holding_[address++];
    } else {
      if (address > 1) return ModbusException::illegal_address;
      word = address++ == 0 ? answers_ : static_cast<std::uint16_t>(~answers_);
    }
  }
  return ModbusException::none;
}

ModbusException InstrumentRegisters::write(int address, std::span<const std::uint16_t> registers) {
  const std::lock_guard lock(mutex_);
  for (const std::uint16_t word : registers)
    holding_[address++] = word;
  return ModbusException::none;
}

std::uint16_t InstrumentRegisters::written(int address) {
  const std::lock_guard lock(mutex_);
  return holding_[address];
}

bool InstrumentRegisters::was_written(int address) {
  const std::lock_guard lock(mutex_);
  return holding_.contains(address);
}

Misdeed Temper::next() {
  if (one_in_ == 0 || random_() % one_in_ != 0) return Misdeed::none;
  return misdeeds_[static_cast<std::size_t>(done_++) % misdeeds_.size()];
}

TcpInstrument::TcpInstrument(InstrumentRegisters& instrument, Temper& temper)
    : instrument_(instrument), temper_(temper) {
  listener_ = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
  sockaddr_in name{};
  name.sin_family = AF_INET;
  name.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
  socklen_t size = sizeof name;
  auto* named = reinterpret_cast<sockaddr*>(&name);
  require(bind(listener_, named, size) == 0 && listen(listener_, 8) == 0 &&
              getsockname(listener_, named, &size) == 0,
          "no port to listen at");
  port_ = ntohs(name.sin_port);
  thread_ = std::jthread([this](const std::stop_token& over) { run(over); });
}

TcpInstrument::~TcpInstrument() {
  thread_.request_stop();
  thread_.join();
  for (const int socket : kept_open_)
    close(socket);
  close(listener_);
}

void TcpInstrument::run(const std::stop_token& over) {
  while (!over.stop_requested()) {
    if (!readable(listener_)) continue;
    const int client = accept(listener_, nullptr, nullptr);
    if (client < 0) continue;
    std::string received;
    bool goes_on = true;
    while (goes_on && !over.stop_requested()) {
      const int ready = either_readable(listener_, client);
      if (ready == 0) break;  // the driver has made another connection
      if (ready == 1) goes_on = answer(client, received);
    }
    if (goes_on) {
      kept_open_.push_back(client);
    } else {
      close(client);
    }
  }
}

// Whether the connection stays.
bool TcpInstrument::answer(int socket, std::string& received) {
  std::array<char, 512> bytes{};
  const ssize_t came = recv(socket, bytes.data(), bytes.size(), 0);
  if (came <= 0) return false;
  received.append(bytes.data(), static_cast<std::size_t>(came));
  std::string whole;
  const auto used = answer_modbus_tcp(received, instrument_, whole);
  if (!used) return false;
  if (*used == 0) return true;
  received.erase(0, *used);
  switch (temper_.next()) {
    case Misdeed::close_before:
      return false;
    case Misdeed::close_within:
      put(socket, whole.substr(0, whole.size() / 2));
      return false;
    case Misdeed::garbage:
      put(socket, garbage(temper_.random()));
      return true;
    case Misdeed::garbage_behind:
      put(socket, whole + garbage(temper_.random()));
      return true;
    case Misdeed::other_transaction:
      whole[1] = static_cast<char>(whole[1] + 1);
      put(socket, whole);
      return true;
    case Misdeed::silence:
      return true;
    case Misdeed::half_an_answer:
      put(socket, whole.substr(0, whole.size() / 2));
      return true;
    case Misdeed::drip:
      for (const char byte : whole) {
        put(socket, {&byte, 1});
        if (readable(listener_)) break;  // a pause between bytes; the driver may give up earlier
      }
      return true;
    case Misdeed::busy:
      whole = whole.substr(0, 7) + static_cast<char>(whole[7] | '\x80') + '\x06';
      whole[4] = '\0';
      whole[5] = '\x03';
      put(socket, whole);
      return true;
    default:
      put(socket, whole);
      return true;
  }
}

SerialInstrument::SerialInstrument(InstrumentRegisters& instrument, Temper& temper,
                                   std::string port)
    : instrument_(instrument), temper_(temper), port_(std::move(port)) {
  plug_in();
  thread_ = std::jthread([this](const std::stop_token& over) { run(over); });
}

SerialInstrument::~SerialInstrument() {
  thread_.request_stop();
  thread_.join();
  close(line_end_);
  close(instrument_end_);
}

void SerialInstrument::plug_in() {
  instrument_end_ = posix_openpt(O_RDWR | O_NOCTTY | O_CLOEXEC);
  require(instrument_end_ >= 0 && grantpt(instrument_end_) == 0 && unlockpt(instrument_end_) == 0,
          "no pseudo-terminal");
  const std::string line = ptsname(instrument_end_);
  line_end_ = open(line.c_str(), O_RDWR | O_NOCTTY | O_CLOEXEC);
  termios raw{};
  require(tcgetattr(line_end_, &raw) == 0, "no pseudo-terminal");
  cfmakeraw(&raw);
  tcsetattr(line_end_, TCSANOW, &raw);
  // The port's name is always there: the driver's time passes only when it waits, and it must not
  // run out while this thread is between two adapters.
  std::filesystem::create_symlink(line, port_ + ".next");
  std::filesystem::rename(port_ + ".next", port_);
}

void SerialInstrument::change_adapter() {
  const int old_line = line_end_;
  const int old_instrument = instrument_end_;
  plug_in();
  close(old_line);
  close(old_instrument);
}

void SerialInstrument::run(const std::stop_token& over) {
  constexpr std::size_t request_bytes = 8;  // of functions 3, 4 and 6
  std::string received;
  while (!over.stop_requested()) {
    if (!readable(instrument_end_)) {
      received.clear();  // a pause ends a frame
      continue;
    }
    std::array<char, 256> bytes{};
    const ssize_t came = read(instrument_end_, bytes.data(), bytes.size());
    if (came <= 0) continue;
    received.append(bytes.data(), static_cast<std::size_t>(came));
    if (received.size() >= request_bytes) answer(std::exchange(received, {}));
  }
}

// libmodbus makes the frame: unit, data, checksum.
void SerialInstrument::answer(const std::string& request) {
  const Misdeed misdeed = temper_.next();
  if (misdeed == Misdeed::close_before) {
    change_adapter();
    return;
  }
  if (misdeed == Misdeed::silence) return;
  if (misdeed == Misdeed::garbage) {
    const std::string bytes = garbage(temper_.random());
    static_cast<void>(::write(instrument_end_, bytes.data(), bytes.size()));
    return;
  }
  modbus_t* context = modbus_new_rtu(port_.c_str(), 19200, 'E', 8, 1);
  modbus_set_slave(context, request[0]);
  modbus_set_socket(context, instrument_end_);
  // As TCP the same bank answers it; then libmodbus wraps it for the serial line.
  std::string framed{'\0', '\0', '\0', '\0', '\0', '\x06'};
  framed += request.substr(0, 6);
  std::string whole;
  answer_modbus_tcp(framed, instrument_, whole);
  std::string data = whole.substr(6);
  if (misdeed == Misdeed::busy)
    data = data.substr(0, 1) + static_cast<char>(data[1] | '\x80') + '\x06';
  if (misdeed == Misdeed::half_an_answer) {
    static_cast<void>(::write(instrument_end_, data.data(), data.size() / 2));
  } else {
    modbus_send_raw_request(context, reinterpret_cast<const std::uint8_t*>(data.data()),
                            static_cast<int>(data.size()));
  }
  modbus_set_socket(context, -1);
  modbus_free(context);
}

}  // namespace windwright::devices
