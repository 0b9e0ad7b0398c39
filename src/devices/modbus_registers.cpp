// SPDX-License-Identifier: Apache-2.0
#include "devices/modbus_registers.h"

#include <algorithm>
#include <bit>
#include <cmath>
#include <cstdint>
#include <limits>
#include <optional>
#include <span>
#include <utility>
#include <vector>

namespace windwright::devices {
namespace {

using bench::RegisterPlace;
using bench::RegisterType;
using bench::WordOrder;

constexpr int most_registers = 125;

std::uint32_t bits_in(std::span<const std::uint16_t> registers, WordOrder order) {
  std::uint32_t high = registers[0];
  std::uint32_t low = registers[1];
  if (order == WordOrder::low_first) std::swap(high, low);
  return (high << 16U) | low;
}

template <typename Whole>
Whole rounded(double number) {
  return static_cast<Whole>(std::clamp(std::round(number),
                                       static_cast<double>(std::numeric_limits<Whole>::lowest()),
                                       static_cast<double>(std::numeric_limits<Whole>::max())));
}

std::vector<std::uint16_t> two(std::uint32_t bits, WordOrder order) {
  std::vector<std::uint16_t> words{static_cast<std::uint16_t>(bits >> 16U),
                                   static_cast<std::uint16_t>(bits)};
  if (order == WordOrder::low_first) std::swap(words[0], words[1]);
  return words;
}

}  // namespace

std::vector<RegisterRequest> requests_for(std::span<const RegisterPlace> places) {
  std::vector<RegisterPlace> sorted(places.begin(), places.end());
  std::sort(sorted.begin(), sorted.end(), [](const RegisterPlace& a, const RegisterPlace& b) {
    return std::pair(a.table, a.address) < std::pair(b.table, b.address);
  });
  std::vector<RegisterRequest> requests;
  for (const RegisterPlace& place : sorted) {
    if (!requests.empty()) {
      RegisterRequest& last = requests.back();
      const int together = place.address + place.registers() - last.address;
      if (last.table == place.table && place.address <= last.address + last.count &&
          together <= most_registers) {
        last.count = std::max(last.count, together);
        continue;
      }
    }
    requests.push_back(
        {.table = place.table, .address = place.address, .count = place.registers()});
  }
  return requests;
}

double number_in(std::span<const std::uint16_t> registers, const RegisterPlace& place) {
  switch (place.type) {
    case RegisterType::uint16:
      return registers[0];
    case RegisterType::int16:
      return static_cast<std::int16_t>(registers[0]);
    case RegisterType::uint32:
      return bits_in(registers, place.order);
    case RegisterType::int32:
      return static_cast<std::int32_t>(bits_in(registers, place.order));
    case RegisterType::float32:
      break;
  }
  return std::bit_cast<float>(bits_in(registers, place.order));
}

std::optional<std::int32_t> count_in(std::span<const std::uint16_t> registers,
                                     const RegisterPlace& place,
                                     const bench::Converter& converter) {
  const double number = number_in(registers, place);
  const double steps = std::ldexp(1.0, converter.bits);
  double count = number;
  if (place.type == RegisterType::float32) {
    if (std::isnan(number)) return std::nullopt;
    const double step_V = (converter.upper_V - converter.lower_V) / steps;
    count = std::clamp(std::floor((number - converter.lower_V) / step_V), 0.0, steps - 1.0);
  } else if (place.type == RegisterType::int16 || place.type == RegisterType::int32) {
    count += 0.5 * steps;
  }
  if (!(count >= 0.0 && count < steps)) return std::nullopt;
  return static_cast<std::int32_t>(count);
}

std::vector<std::uint16_t> registers_of(double number, const RegisterPlace& place) {
  switch (place.type) {
    case RegisterType::uint16:
      return {rounded<std::uint16_t>(number)};
    case RegisterType::int16:
      return {static_cast<std::uint16_t>(rounded<std::int16_t>(number))};
    case RegisterType::uint32:
      return two(rounded<std::uint32_t>(number), place.order);
    case RegisterType::int32:
      return two(static_cast<std::uint32_t>(rounded<std::int32_t>(number)), place.order);
    case RegisterType::float32:
      break;
  }
  return two(std::bit_cast<std::uint32_t>(static_cast<float>(number)), place.order);
}

}  // namespace windwright::devices
