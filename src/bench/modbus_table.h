// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <optional>
#include <string>
#include <vector>

namespace windwright::base {
class Settings;
}

namespace windwright::bench {

struct Bench;

/// Modbus has two tables of 16-bit registers; input registers can only be read.
enum class RegisterTable { holding, input };
/// How registers hold a number; 32 bits take two registers that follow each other.
enum class RegisterType { uint16, int16, uint32, int32, float32 };
/// Which half of 32 bits has the lower address.
enum class WordOrder { high_first, low_first };

/// Where a number stands. `address` is that of the protocol data unit, 0 to 65535, what the
/// instrument's manual may number as register address + 1 (MODBUS Application Protocol V1.1b3,
/// section 4.4).
struct RegisterPlace {
  int address;
  RegisterTable table = RegisterTable::holding;
  RegisterType type = RegisterType::uint16;
  WordOrder order = WordOrder::high_first;

  int registers() const {
    return type == RegisterType::uint16 || type == RegisterType::int16 ? 1 : 2;
  }
};

/// What is written for an actuator: its value times `scale`, rounded where the type is whole.
struct ModbusActuator {
  RegisterPlace place;
  double scale = 1.0;
};

/// One Modbus instrument, whatever the wire.
struct ModbusUnit {
  int unit;          // address on the bus; behind TCP mostly 255 or 1
  double timeout_s;  // of a whole sample or command
  double longest_outage_s;
  std::vector<RegisterPlace> channels;                   // in the bench's order
  std::vector<std::optional<ModbusActuator>> actuators;  // the same; none where a person sets it
  std::optional<int> heartbeat_address;        // holding register that counts up with every sample
  std::optional<int> guard_heartbeat_address;  // the same of a guard process, from its own side
  std::optional<int> reset_address;            // holding register, 1 when the bench is opened
  std::optional<int> stop_address;             // holding register, 1 has it make itself safe
};

struct ModbusTcpDevice {
  std::string host;
  int port;
  ModbusUnit unit;
};

/// On a serial line: RS-485 mostly, 8 data bits.
struct ModbusRtuDevice {
  std::string port;  // such as /dev/ttyUSB0
  int baud;
  char parity;  // 'N', 'E' or 'O'
  int stop_bits;
  ModbusUnit unit;
};

/// Reads [device] of kind modbus_tcp or modbus_rtu with every [channel.device] and
/// [actuator.device]: docs/devices.md.
/// @param bench  with its channels and actuators, the same as in root
/// @throws BadInput  with file and line: no register, two on one register, a converter or limits
///                   that the type cannot hold
ModbusTcpDevice modbus_tcp_from_tables(const base::Settings& root, const Bench& bench);
ModbusRtuDevice modbus_rtu_from_tables(const base::Settings& root, const Bench& bench);

}  // namespace windwright::bench
