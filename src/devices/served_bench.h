// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "bench/bench.h"
#include "bench/device.h"
#include "bench/modbus_table.h"
#include "devices/modbus_server.h"

#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <vector>

namespace windwright::devices {

/// Where a served bench has what. Channels are input registers from address 0 on, their counts as
/// uint16 or, above 16 bits, uint32 with the high word first. Actuators are holding registers from
/// address 0 on, one each: value times scale, int16 where it may be negative and uint16 otherwise.
struct RegisterMap {
  std::vector<bench::RegisterPlace> channels;    // in the bench's order
  std::vector<bench::ModbusActuator> actuators;  // the same; also those that a person sets
  int heartbeat_address = 100;                   // holding: any value, at least so often as stated
  int reset_address = 101;                       // holding: 1 takes a trip back
  int guard_heartbeat_address = 102;             // holding: any value, of a guard process
  int stop_address = 103;                        // holding: 1 makes the bench safe
  int tripped_address = 100;                     // input: 1 after a trip
};
RegisterMap register_map(const bench::Bench& bench);

/// The text of the bench's file with the [device] tables that reach the served bench: a bench.toml
/// for the client's side.
std::string text_of_client_bench(const bench::Bench& bench, const std::string& host, int port);

/// A bench as registers, with a watchdog: while it is driven (fan, inverter or mains charger on)
/// some client must write something, be it the heartbeat, at least every `watchdog_s` of the
/// device's time. Once anybody has written the guard's heartbeat, that must come as often besides,
/// until the program ends. Otherwise the bench is made safe, and stays so until 1 is written to the
/// reset register. So it is where the fan does not obey a command to stand within that time. What
/// is tripped commands its safe state with every block, so that nothing undoes it by hand or fault.
class ServedBench final : public RegisterBank {
 public:
  struct Options {
    double watchdog_s = 2.0;
    bool passes_with_requests = false;  // every request that shows channels takes a new block
  };
  /// Takes a first block. @throws what Device::read does
  ServedBench(const bench::Bench& bench, bench::Device& device, Options options);

  const RegisterMap& map() const { return map_; }
  /// The next block; its last sample is what is shown from now on. Then looks at the watchdog.
  void pass();

  /// @throws DeviceFault  the device is gone; a refused command is an exception of the protocol
  ModbusException read(bench::RegisterTable table, int address,
                       std::span<std::uint16_t> registers) override;
  ModbusException write(int address, std::span<const std::uint16_t> registers) override;

  bool tripped() const { return tripped_; }
  /// Who was silent or did not obey when it tripped, in words.
  const std::string& trip_cause() const { return trip_cause_; }
  /// Fan, inverter and mains charger off, a load connected; no trip.
  void make_safe();

 private:
  std::optional<std::uint16_t> shown(bench::RegisterTable table, std::size_t address) const;
  ModbusException check(int address, std::uint16_t word) const;
  void carry_out(std::size_t actuator, std::uint16_t word);
  double value_of(std::size_t actuator, std::uint16_t word) const;
  bool is_driven() const;
  void look_at_watchdog();
  void look_at_fan();
  void trip(const std::string& cause);

  const bench::Bench& bench_;
  bench::Device& device_;
  Options options_;
  RegisterMap map_;
  bench::SampleBlock block_;
  std::vector<std::uint16_t> shown_;      // input registers of the channels
  std::vector<std::uint16_t> commanded_;  // holding registers of the actuators
  std::uint16_t heartbeat_ = 0;
  std::uint16_t guard_heartbeat_ = 0;
  std::int64_t samples_unheard_ = 0;
  std::optional<std::int64_t> guard_unheard_;  // samples; nothing: there never was a guard
  std::int64_t samples_disobeyed_ = 0;         // by a fan that was commanded to stand
  bool tripped_ = false;
  std::string trip_cause_;
};

}  // namespace windwright::devices
