// SPDX-License-Identifier: Apache-2.0
#include "devices/modbus_server.h"

#include <array>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <string_view>

namespace windwright::devices {
namespace {

constexpr std::size_t header_bytes = 7;    // transaction 2, protocol 2, length 2, unit 1
constexpr std::size_t longest_unit = 254;  // unit and protocol data unit of 253
constexpr std::size_t most_read = 125;
constexpr std::size_t most_written = 123;

constexpr std::uint8_t read_holding = 3;
constexpr std::uint8_t read_input = 4;
constexpr std::uint8_t write_one = 6;
constexpr std::uint8_t write_several = 16;

unsigned byte_at(std::string_view bytes, std::size_t at) {
  return static_cast<std::uint8_t>(bytes[at]);
}
unsigned word_at(std::string_view bytes, std::size_t at) {
  return (byte_at(bytes, at) << 8U) | byte_at(bytes, at + 1);
}
void put_word(std::string& bytes, unsigned word) {
  bytes += static_cast<char>(word >> 8U);
  bytes += static_cast<char>(word & 0xFFU);
}

/// The answer to one protocol data unit, written behind what `out` holds.
class Answering {
 public:
  Answering(RegisterBank& bank, std::string_view request, std::string& out)
      : bank_(bank), request_(request), out_(out) {}

  ModbusException operator()() {
    switch (byte_at(request_, 0)) {
      case read_holding:
        return read(bench::RegisterTable::holding);
      case read_input:
        return read(bench::RegisterTable::input);
      case write_one:
        return write_single();
      case write_several:
        return write_multiple();
      default:
        return ModbusException::illegal_function;
    }
  }

 private:
  ModbusException read(bench::RegisterTable table) {
    if (request_.size() != 5) return ModbusException::illegal_value;
    const std::size_t count = word_at(request_, 3);
    if (count < 1 || count > most_read) return ModbusException::illegal_value;
    const std::size_t address = word_at(request_, 1);
    if (address + count > 65536) return ModbusException::illegal_address;
    const auto registers = std::span(registers_).first(count);
    const ModbusException refused = bank_.read(table, static_cast<int>(address), registers);
    if (refused != ModbusException::none) return refused;
    out_ += request_[0];
    out_ += static_cast<char>(2 * count);
    for (const std::uint16_t word : registers)
      put_word(out_, word);
    return ModbusException::none;
  }

  ModbusException write_single() {
    if (request_.size() != 5) return ModbusException::illegal_value;
    registers_[0] = static_cast<std::uint16_t>(word_at(request_, 3));
    return written(1, request_);
  }

  ModbusException write_multiple() {
    if (request_.size() < 6) return ModbusException::illegal_value;
    const std::size_t count = word_at(request_, 3);
    if (count < 1 || count > most_written || byte_at(request_, 5) != 2 * count ||
        request_.size() != 6 + 2 * count)
      return ModbusException::illegal_value;
    for (std::size_t i = 0; i < count; ++i)
      registers_[i] = static_cast<std::uint16_t>(word_at(request_, 6 + 2 * i));
    return written(count, request_.substr(0, 5));
  }

  ModbusException written(std::size_t count, std::string_view echo) {
    const std::size_t address = word_at(request_, 1);
    if (address + count > 65536) return ModbusException::illegal_address;
    const ModbusException refused =
        bank_.write(static_cast<int>(address), std::span(registers_).first(count));
    if (refused == ModbusException::none) out_ += echo;
    return refused;
  }

  RegisterBank& bank_;
  std::string_view request_;
  std::string& out_;
  std::array<std::uint16_t, most_read> registers_{};
};

}  // namespace

std::optional<std::size_t> answer_modbus_tcp(std::string_view received, RegisterBank& bank,
                                             std::string& answer) {
  if (received.size() >= 4 && word_at(received, 2) != 0) return std::nullopt;
  if (received.size() < 6) return 0;
  const std::size_t length = word_at(received, 4);
  if (length < 2 || length > longest_unit) return std::nullopt;
  const std::size_t whole = header_bytes - 1 + length;
  if (received.size() < whole) return 0;
  const std::string_view request = received.substr(header_bytes, length - 1);
  std::string data;
  const ModbusException refused = Answering(bank, request, data)();
  if (refused != ModbusException::none) {
    data = {static_cast<char>(byte_at(request, 0) | 0x80U), static_cast<char>(refused)};
  }
  answer += received.substr(0, 4);
  put_word(answer, static_cast<unsigned>(data.size() + 1));
  answer += received[6];
  answer += data;
  return whole;
}

}  // namespace windwright::devices
