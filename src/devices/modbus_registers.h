// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "bench/bench.h"
#include "bench/modbus_table.h"

#include <cstdint>
#include <optional>
#include <span>
#include <vector>

namespace windwright::devices {

/// Registers of one table that follow each other, read in one request.
struct RegisterRequest {
  bench::RegisterTable table;
  int address;
  int count;  // 1 to 125
};

/// The fewest requests that read all these places and no register besides: what is not there may
/// be refused. No number is torn apart over two requests.
/// Source: MODBUS Application Protocol V1.1b3, sections 6.3 and 6.4: at most 125 registers.
std::vector<RegisterRequest> requests_for(std::span<const bench::RegisterPlace> places);

/// The number in these registers.
/// @param registers  of the place, one or two, lower address first
double number_in(std::span<const std::uint16_t> registers, const bench::RegisterPlace& place);

/// The converter's count that these registers stand for. Unsigned: the count itself. Signed: the
/// count counted from the middle of the range (two's complement). float32: volts, turned into the
/// nearest count, the first or last one outside the range.
/// @return  nothing where it is no count of this converter, or not a number
std::optional<std::int32_t> count_in(std::span<const std::uint16_t> registers,
                                     const bench::RegisterPlace& place,
                                     const bench::Converter& converter);

/// The registers that hold a number: rounded, and within the type's range.
/// @return  one or two, lower address first
std::vector<std::uint16_t> registers_of(double number, const bench::RegisterPlace& place);

}  // namespace windwright::devices
