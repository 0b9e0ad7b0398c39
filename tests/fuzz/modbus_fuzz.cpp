// SPDX-License-Identifier: Apache-2.0
// What a client sends to a served bench.
#include "devices/modbus_server.h"
#include "refuses.h"

#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <stdexcept>
#include <string>
#include <string_view>

namespace {

using windwright::devices::ModbusException;

class Bank final : public windwright::devices::RegisterBank {
 public:
  ModbusException read(windwright::bench::RegisterTable, int address,
                       std::span<std::uint16_t> registers) override {
    if (address < 0 || address + static_cast<int>(registers.size()) > 100)
      return ModbusException::illegal_address;
    for (std::uint16_t& each : registers)
      each = 7;
    return ModbusException::none;
  }
  ModbusException write(int address, std::span<const std::uint16_t> registers) override {
    if (address < 0 || address + static_cast<int>(registers.size()) > 100)
      return ModbusException::illegal_address;
    return ModbusException::none;
  }
};

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace windwright;
  return takes_or_refuses(data, size, [](std::string_view bytes) {
    Bank bank;
    std::string answer;
    while (!bytes.empty()) {
      const auto used = devices::answer_modbus_tcp(bytes, bank, answer);
      if (!used || *used == 0) return;
      if (*used > bytes.size()) throw std::logic_error("more used than there was");
      bytes.remove_prefix(*used);
    }
  });
}
