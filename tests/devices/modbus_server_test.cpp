// SPDX-License-Identifier: Apache-2.0
#include "devices/modbus_server.h"

#include <gtest/gtest.h>

#include <cstdint>
#include <map>
#include <optional>
#include <random>
#include <span>
#include <string>
#include <string_view>

namespace windwright::devices {
namespace {

using bench::RegisterTable;

/// Registers by address; what is not in the map is not there.
class Memory final : public RegisterBank {
 public:
  std::map<int, std::uint16_t> input;
  std::map<int, std::uint16_t> holding;

  ModbusException read(RegisterTable table, int address,
                       std::span<std::uint16_t> registers) override {
    const auto& from = table == RegisterTable::input ? input : holding;
    for (std::uint16_t& word : registers) {
      const auto found = from.find(address++);
      if (found == from.end()) return ModbusException::illegal_address;
      word = found->second;
    }
    return ModbusException::none;
  }
  ModbusException write(int address, std::span<const std::uint16_t> registers) override {
    for (const std::uint16_t word : registers)
      holding[address++] = word;
    return ModbusException::none;
  }
};

std::string bytes(std::string_view hex) {
  std::string found;
  for (std::size_t i = 0; i + 1 < hex.size();
       i += hex[i + 2 < hex.size() ? i + 2 : i] == ' ' ? 3 : 2)
    found += static_cast<char>(std::stoi(std::string(hex.substr(i, 2)), nullptr, 16));
  return found;
}

std::string framed(const std::string& unit) {
  std::string frame = bytes("15 01 00 00 00 00 11");
  frame[5] = static_cast<char>(unit.size() + 1);
  return frame + unit;
}

// The answer's protocol data unit, after checking the header that goes with it.
std::string answered(Memory& memory, std::string_view request) {
  std::string answer;
  const std::string frame = framed(bytes(request));
  EXPECT_EQ(answer_modbus_tcp(frame, memory, answer), frame.size());
  EXPECT_EQ(answer, framed(answer.substr(7)));
  return answer.substr(7);
}

// The worked examples of MODBUS Application Protocol Specification V1.1b3 (modbus.org, 2012),
// sections 6.3, 6.4, 6.6 and 6.12.
TEST(ModbusServer, AnswersTheExamplesOfTheStandard) {
  Memory memory;
  memory.holding = {{107, 0x022B}, {108, 0x0000}, {109, 0x0064}};
  memory.input = {{8, 0x000A}};
  EXPECT_EQ(answered(memory, "03 00 6B 00 03"), bytes("03 06 02 2B 00 00 00 64"));
  EXPECT_EQ(answered(memory, "04 00 08 00 01"), bytes("04 02 00 0A"));
  EXPECT_EQ(answered(memory, "06 00 01 00 03"), bytes("06 00 01 00 03"));
  EXPECT_EQ(memory.holding[1], 3);
  EXPECT_EQ(answered(memory, "10 00 01 00 02 04 00 0A 01 02"), bytes("10 00 01 00 02"));
  EXPECT_EQ(memory.holding[1], 0x000A);
  EXPECT_EQ(memory.holding[2], 0x0102);
}

// Section 7 and the state diagrams of section 6 of the same: which code for what.
TEST(ModbusServer, RefusesWithTheRightException) {
  Memory memory;
  memory.holding = {{0, 1}};
  EXPECT_EQ(answered(memory, "01 00 00 00 01"), bytes("81 01"));  // coils: no such function
  EXPECT_EQ(answered(memory, "2B 0E 01 00"), bytes("AB 01"));
  EXPECT_EQ(answered(memory, "03 00 01 00 01"), bytes("83 02"));
  EXPECT_EQ(answered(memory, "04 FF FF 00 02"), bytes("84 02"));  // beyond the last address
  EXPECT_EQ(answered(memory, "03 00 00 00 00"), bytes("83 03"));  // none
  EXPECT_EQ(answered(memory, "03 00 00 00 7E"), bytes("83 03"));  // 126
  EXPECT_EQ(answered(memory, "03 00 00 00"), bytes("83 03"));
  EXPECT_EQ(answered(memory, "10 00 00 00 02 02 00 01"), bytes("90 03"));  // byte count
  EXPECT_EQ(answered(memory, "10 00 00 00 02 04 00 01"), bytes("90 03"));  // too short
  EXPECT_EQ(answered(memory, "06 00 00 01"), bytes("86 03"));
  EXPECT_EQ(memory.holding[0], 1);
}

TEST(ModbusServer, WaitsForTheWholeRequestAndTakesOneAtATime) {
  Memory memory;
  memory.holding = {{0, 7}};
  const std::string frame = framed(bytes("03 00 00 00 01"));
  for (std::size_t size = 0; size < frame.size(); ++size) {
    std::string answer;
    EXPECT_EQ(answer_modbus_tcp(std::string_view(frame).substr(0, size), memory, answer), 0U);
    EXPECT_EQ(answer, "");
  }
  std::string answer;
  EXPECT_EQ(answer_modbus_tcp(frame + frame, memory, answer), frame.size());
}

TEST(ModbusServer, HangsUpOnWhatIsNotModbus) {
  Memory memory;
  std::string answer;
  EXPECT_EQ(answer_modbus_tcp("GET / HTTP/1.1\r\n", memory, answer), std::nullopt);
  memory.holding = {{0, 7}};
  EXPECT_EQ(answer_modbus_tcp(bytes("00 01 00 01 00 06 11 03 00 00 00 01"), memory, answer),
            std::nullopt);  // another protocol
  EXPECT_EQ(answer_modbus_tcp(bytes("00 01 00 00 00 01 11"), memory, answer), std::nullopt);
  EXPECT_EQ(answer_modbus_tcp(bytes("00 01 00 00 FF 00 11"), memory, answer), std::nullopt);
  EXPECT_EQ(answer, "");
}

// Whatever comes, the answers are whole frames, one for each request.
TEST(ModbusServer, GarbageIsAnsweredInWholeFramesOrNotAtAll) {
  Memory memory;
  for (int i = 0; i < 10; ++i)
    memory.holding[i] = memory.input[i] = static_cast<std::uint16_t>(i);
  std::mt19937 random(5);
  for (int trial = 0; trial < 20'000; ++trial) {
    std::string unit;
    for (std::size_t i = 1 + random() % 12; i > 0; --i)
      unit += static_cast<char>(random() % (random() % 2 == 0 ? 256 : 18));
    std::string answer;
    const std::string frame = framed(unit);
    ASSERT_EQ(answer_modbus_tcp(frame, memory, answer), frame.size());
    ASSERT_GE(answer.size(), 9U);
    ASSERT_EQ(answer, framed(answer.substr(7)));
    const auto code = static_cast<unsigned char>(answer[7]);
    ASSERT_EQ(code & 0x7FU, static_cast<unsigned char>(unit[0]) & 0x7FU);
    if (answer.size() != 9 || code < 0x80) continue;
    ASSERT_LE(answer[8], 4);
  }
}

}  // namespace
}  // namespace windwright::devices
