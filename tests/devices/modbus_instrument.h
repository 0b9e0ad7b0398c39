// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "bench/bench.h"
#include "bench/modbus_table.h"
#include "devices/modbus_server.h"

#include <atomic>
#include <cstdint>
#include <map>
#include <mutex>
#include <random>
#include <span>
#include <string>
#include <thread>
#include <vector>

namespace windwright::devices {

/// What a bad instrument does instead of answering.
enum class Misdeed {
  none,
  close_before,
  close_within,
  garbage,
  garbage_behind,
  other_transaction,
  silence,
  half_an_answer,
  drip,
  busy,
  count
};

/// Registers of an instrument: input 0 counts its answers, input 1 is its complement; what is
/// written to a holding register is kept.
class InstrumentRegisters final : public RegisterBank {
 public:
  ModbusException read(bench::RegisterTable table, int address,
                       std::span<std::uint16_t> registers) override;
  ModbusException write(int address, std::span<const std::uint16_t> registers) override;

  std::uint16_t written(int address);
  bool was_written(int address);

 private:
  std::mutex mutex_;  // the test looks on while the instrument's thread answers
  std::uint16_t answers_ = 0;
  std::map<int, std::uint16_t> holding_;
};

/// Decides what is done at each request: nothing bad but every few requests, by a fixed seed.
class Temper {
 public:
  /// @param one_in  0: always good
  Temper(std::vector<Misdeed> misdeeds, unsigned one_in)
      : misdeeds_(std::move(misdeeds)), one_in_(one_in) {}
  Misdeed next();
  std::mt19937& random() { return random_; }
  int misdeeds() const { return done_; }

 private:
  std::vector<Misdeed> misdeeds_;
  unsigned one_in_;
  std::mt19937 random_{7};
  std::atomic<int> done_ = 0;
};

/// An instrument behind TCP on this computer, answering in a thread of its own.
class TcpInstrument {
 public:
  TcpInstrument(InstrumentRegisters& instrument, Temper& temper);
  ~TcpInstrument();
  int port() const { return port_; }

 private:
  void run(const std::stop_token& over);
  bool answer(int socket, std::string& received);

  InstrumentRegisters& instrument_;
  Temper& temper_;
  int listener_ = -1;
  int port_ = 0;
  std::vector<int> kept_open_;
  std::jthread thread_;
};

/// The same behind a serial line; libmodbus answers. Misdeeds: none, close_before (the adapter is
/// pulled out and another put in), garbage, silence, half_an_answer, busy.
class SerialInstrument {
 public:
  /// @param port  path that the line gets
  SerialInstrument(InstrumentRegisters& instrument, Temper& temper, std::string port);
  ~SerialInstrument();

 private:
  void plug_in();
  void change_adapter();
  void run(const std::stop_token& over);
  void answer(const std::string& request);

  InstrumentRegisters& instrument_;
  Temper& temper_;
  std::string port_;
  int instrument_end_ = -1;
  int line_end_ = -1;  // held open, so that the line stays when the driver closes it
  std::jthread thread_;
};

}  // namespace windwright::devices
