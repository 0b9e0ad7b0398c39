// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "bench/modbus_table.h"

#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <string_view>

namespace windwright::devices {

/// Why a request cannot be done, as the protocol numbers it.
/// Source: MODBUS Application Protocol V1.1b3, section 7.
enum class ModbusException : std::uint8_t {
  none = 0,
  illegal_function = 1,
  illegal_address = 2,
  illegal_value = 3,
  server_failure = 4,
};

/// What a Modbus server's registers stand for.
class RegisterBank {
 public:
  virtual ~RegisterBank() = default;
  /// @param address    of the first, 0 to 65535
  /// @param registers  to fill
  virtual ModbusException read(bench::RegisterTable table, int address,
                               std::span<std::uint16_t> registers) = 0;
  /// All or nothing, of the holding registers.
  virtual ModbusException write(int address, std::span<const std::uint16_t> registers) = 0;
};

/// Answers the first request in what came over a Modbus TCP connection: read holding registers (3),
/// read input registers (4), write one (6) or several (16); any unit. Everything else is answered
/// with its exception.
/// @param answer  gets the answer's bytes at its end
/// @return  how many bytes the request had; 0: it is not whole yet; nothing: this is not Modbus,
/// and
///          where the next request would begin cannot be known
/// Sources: MODBUS Application Protocol V1.1b3, sections 4 to 7; MODBUS Messaging on TCP/IP V1.0b,
/// section 3.1.3 (the header).
std::optional<std::size_t> answer_modbus_tcp(std::string_view received, RegisterBank& bank,
                                             std::string& answer);

}  // namespace windwright::devices
