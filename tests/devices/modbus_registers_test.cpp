// SPDX-License-Identifier: Apache-2.0
#include "devices/modbus_registers.h"

#include "bench/bench.h"

#include <gtest/gtest.h>
#include <modbus/modbus.h>

#include <array>
#include <cmath>
#include <cstdint>
#include <limits>
#include <random>
#include <vector>

namespace windwright::devices {
namespace {

using bench::Converter;
using bench::RegisterPlace;
using bench::RegisterTable;
using bench::RegisterType;
using bench::WordOrder;

constexpr Converter sixteen{.lower_V = -10.0, .upper_V = 10.0, .bits = 16};

std::optional<std::int32_t> count(std::vector<std::uint16_t> registers, RegisterType type,
                                  const Converter& converter = sixteen) {
  return count_in(registers, {.address = 0, .type = type}, converter);
}

TEST(ModbusRegisters, AnUnsignedRegisterIsTheCount) {
  EXPECT_EQ(count({0}, RegisterType::uint16), 0);
  EXPECT_EQ(count({40000}, RegisterType::uint16), 40000);
  EXPECT_EQ(count({4095}, RegisterType::uint16, {.lower_V = 0, .upper_V = 10, .bits = 12}), 4095);
  EXPECT_EQ(count({4096}, RegisterType::uint16, {.lower_V = 0, .upper_V = 10, .bits = 12}),
            std::nullopt);
  EXPECT_EQ(
      count({0x00FF, 0xFFFF}, RegisterType::uint32, {.lower_V = 0, .upper_V = 10, .bits = 24}),
      0xFFFFFF);
  EXPECT_EQ(count({0x0100, 0}, RegisterType::uint32, {.lower_V = 0, .upper_V = 10, .bits = 24}),
            std::nullopt);
}

TEST(ModbusRegisters, ASignedRegisterCountsFromTheMiddle) {
  EXPECT_EQ(count({0}, RegisterType::int16), 32768);
  EXPECT_EQ(count({0xFFFF}, RegisterType::int16), 32767);
  EXPECT_EQ(count({0x8000}, RegisterType::int16), 0);
  EXPECT_EQ(count({0xFFFF, 0xFFFF}, RegisterType::int32), 32767);
  EXPECT_EQ(count({0x0001, 0}, RegisterType::int32), std::nullopt);
}

// libmodbus, a general-purpose library, says which float two registers hold.
TEST(ModbusRegisters, FloatsAreThoseOfLibmodbus) {
  std::mt19937 random(3);
  for (int i = 0; i < 1000; ++i) {
    const auto high = static_cast<std::uint16_t>(random());
    const auto low = static_cast<std::uint16_t>(random());
    const std::array<std::uint16_t, 2> words{high, low};
    const double first = number_in(words, {.address = 0, .type = RegisterType::float32});
    const double second = number_in(
        words, {.address = 0, .type = RegisterType::float32, .order = WordOrder::low_first});
    const double first_there = modbus_get_float_abcd(words.data());
    const double second_there = modbus_get_float_cdab(words.data());
    if (!std::isnan(second_there)) {
      EXPECT_EQ(second, second_there);
    }
    if (std::isnan(first_there)) continue;
    EXPECT_EQ(first, first_there);
    const auto back = registers_of(first, {.address = 0, .type = RegisterType::float32});
    EXPECT_EQ(back, std::vector<std::uint16_t>({high, low}));
  }
}

TEST(ModbusRegisters, VoltsBecomeTheNearestCount) {
  const RegisterPlace place{.address = 0, .type = RegisterType::float32};
  for (const Converter& converter :
       {sixteen, Converter{.lower_V = 0.0, .upper_V = 10.0, .bits = 12}}) {
    const double step_V = (converter.upper_V - converter.lower_V) / std::ldexp(1.0, converter.bits);
    for (const double wanted_V : {0.001, 0.5, 3.3, 7.77, 9.99}) {
      const auto found = count_in(registers_of(wanted_V, place), place, converter);
      ASSERT_TRUE(found);
      EXPECT_LE(std::abs(bench::volts(converter, *found) - wanted_V), 0.5001 * step_V) << wanted_V;
    }
    EXPECT_EQ(count_in(registers_of(-1e6, place), place, converter), 0);
    EXPECT_EQ(count_in(registers_of(1e6, place), place, converter), (1 << converter.bits) - 1);
  }
  EXPECT_EQ(count_in(registers_of(std::numeric_limits<double>::quiet_NaN(), place), place, sixteen),
            std::nullopt);
}

TEST(ModbusRegisters, WholeNumbersAreRoundedAndStayInTheirRange) {
  const auto one = [](double number, RegisterType type) {
    return registers_of(number, {.address = 0, .type = type}).at(0);
  };
  EXPECT_EQ(one(59.6, RegisterType::uint16), 60);
  EXPECT_EQ(one(-3.0, RegisterType::uint16), 0);
  EXPECT_EQ(one(70000.0, RegisterType::uint16), 65535);
  EXPECT_EQ(one(-3.4, RegisterType::int16), 0xFFFD);
  EXPECT_EQ(registers_of(65537.0, {.address = 0, .type = RegisterType::uint32}),
            (std::vector<std::uint16_t>{1, 1}));
  EXPECT_EQ(registers_of(-2.0, {.address = 0, .type = RegisterType::int32}),
            (std::vector<std::uint16_t>{0xFFFF, 0xFFFE}));
}

TEST(ModbusRegisters, NeighboursAreReadTogetherAndNothingElse) {
  const std::vector<RegisterPlace> places{
      {.address = 12, .table = RegisterTable::input},
      {.address = 10, .table = RegisterTable::input, .type = RegisterType::float32},
      {.address = 14, .table = RegisterTable::input},
      {.address = 13, .table = RegisterTable::holding}};
  const auto requests = requests_for(places);
  ASSERT_EQ(requests.size(), 3U);
  EXPECT_EQ(requests[0].table, RegisterTable::holding);
  EXPECT_EQ(requests[1].address, 10);
  EXPECT_EQ(requests[1].count, 3);
  EXPECT_EQ(requests[2].address, 14);
  EXPECT_EQ(requests[2].count, 1);
}

TEST(ModbusRegisters, ARequestHasAtMost125RegistersAndTearsNoNumberApart) {
  std::vector<RegisterPlace> places{{.address = 0}};
  for (int i = 0; i < 100; ++i)
    places.push_back({.address = 1 + 2 * i, .type = RegisterType::int32});
  const auto requests = requests_for(places);
  ASSERT_EQ(requests.size(), 2U);
  EXPECT_EQ(requests[0].count, 125);
  EXPECT_EQ(requests[1].address, 125);
  EXPECT_EQ(requests[1].count, 76);
  places[0].address = 201;  // now the pairs begin at 1, and 125 registers would end within one
  const auto others = requests_for(places);
  ASSERT_EQ(others.size(), 2U);
  EXPECT_EQ(others[0].count, 124);
  EXPECT_EQ(others[1].count, 77);
}

}  // namespace
}  // namespace windwright::devices
