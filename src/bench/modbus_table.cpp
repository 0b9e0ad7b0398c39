// SPDX-License-Identifier: Apache-2.0
#include "bench/modbus_table.h"

#include "base/errors.h"
#include "base/settings.h"
#include "base/text.h"
#include "bench/bench.h"

#include <fmt/format.h>

#include <array>
#include <cmath>
#include <cstddef>
#include <limits>
#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::bench {
namespace {

using base::BadInput;
using base::Settings;

constexpr int last_address = 65535;

template <typename Value, std::size_t N>
Value named(const Settings& table, std::string_view key, std::string_view fallback,
            const std::array<std::pair<std::string_view, Value>, N>& choices) {
  const std::string word = table.text_or(key, fallback);
  std::vector<std::string> words;
  for (const auto& [name, value] : choices) {
    if (name == word) return value;
    words.emplace_back(name);
  }
  throw BadInput(table.place(key), fmt::format("{} is '{}'", key, word), base::either_of(words));
}

constexpr std::array<std::pair<std::string_view, RegisterType>, 5> types{
    {{"uint16", RegisterType::uint16},
     {"int16", RegisterType::int16},
     {"uint32", RegisterType::uint32},
     {"int32", RegisterType::int32},
     {"float32", RegisterType::float32}}};
constexpr std::array<std::pair<std::string_view, RegisterTable>, 2> register_tables{
    {{"holding", RegisterTable::holding}, {"input", RegisterTable::input}}};
constexpr std::array<std::pair<std::string_view, WordOrder>, 2> orders{
    {{"high_first", WordOrder::high_first}, {"low_first", WordOrder::low_first}}};
constexpr std::array<std::pair<std::string_view, char>, 3> parities{
    {{"none", 'N'}, {"even", 'E'}, {"odd", 'O'}}};

int address_of(const Settings& table, std::string_view key, int registers) {
  const int address = table.integer(key, {.at_least = 0, .at_most = last_address});
  if (address + registers - 1 > last_address) {
    throw BadInput(table.place(key), "the second register lies behind the last",
                   fmt::format("at most {}", last_address - registers + 1));
  }
  return address;
}

/// Which registers are taken, by table and address, and by what.
class Taken {
 public:
  void take(RegisterPlace place, const std::string& by, const std::string& where) {
    for (int i = 0; i < place.registers(); ++i) {
      const auto [found, is_free] = taken_.try_emplace({place.table, place.address + i}, by);
      if (is_free) continue;
      throw BadInput(where,
                     fmt::format("{} and {} share the register at address {}", found->second, by,
                                 place.address + i),
                     "a register of its own for each");
    }
  }

 private:
  std::map<std::pair<RegisterTable, int>, std::string> taken_;
};

Settings device_table(const Settings& entry, const std::string& name, std::string_view kind) {
  const auto table = entry.optional_table("device");
  if (table) return *table;
  throw BadInput(entry.place(), fmt::format("'{}' names no register", name),
                 fmt::format("[{}.device] address = N below it", kind));
}

RegisterPlace channel_place(const Settings& table, const Channel& channel) {
  RegisterPlace place{
      .address = 0,
      .table = named(table, "table", "input", register_tables),
      .type = named(table, "type", "uint16", types),
      .order = named(table, "word_order", "high_first", orders),
  };
  place.address = address_of(table, "address", place.registers());
  if (place.registers() == 1 && table.has("word_order")) {
    throw BadInput(table.place("word_order"), "one register has no order of words",
                   "left out, or a type of 32 bits");
  }
  if (place.registers() == 1 && channel.converter.bits > 16) {
    throw BadInput(table.place(table.has("type") ? "type" : "address"),
                   fmt::format("counts of {} bits do not go into 16", channel.converter.bits),
                   "uint32, int32 or float32");
  }
  return place;
}

double lowest_of(RegisterType type) {
  switch (type) {
    case RegisterType::int16:
      return std::numeric_limits<std::int16_t>::min();
    case RegisterType::int32:
      return std::numeric_limits<std::int32_t>::min();
    case RegisterType::float32:
      return std::numeric_limits<float>::lowest();
    default:
      return 0.0;
  }
}

double highest_of(RegisterType type) {
  switch (type) {
    case RegisterType::uint16:
      return std::numeric_limits<std::uint16_t>::max();
    case RegisterType::int16:
      return std::numeric_limits<std::int16_t>::max();
    case RegisterType::uint32:
      return std::numeric_limits<std::uint32_t>::max();
    case RegisterType::int32:
      return std::numeric_limits<std::int32_t>::max();
    default:
      return std::numeric_limits<float>::max();
  }
}

ModbusActuator actuator_place(const Settings& table, const Actuator& actuator) {
  ModbusActuator written{
      .place = {.address = 0,
                .table = RegisterTable::holding,
                .type = named(table, "type", "uint16", types),
                .order = named(table, "word_order", "high_first", orders)},
      .scale = table.number_or("scale", 1.0, {.at_least = -1e9, .at_most = 1e9})};
  written.place.address = address_of(table, "address", written.place.registers());
  if (written.scale == 0.0)
    throw BadInput(table.place("scale"), "scale is 0", "what one unit is in the register");
  for (const double limit : {actuator.lowest, actuator.highest}) {
    const double shown = limit * written.scale;
    if (shown >= lowest_of(written.place.type) && shown <= highest_of(written.place.type)) continue;
    throw BadInput(table.place(table.has("scale") ? "scale" : "address"),
                   fmt::format("{} at its limit {:g} would be {:g} in the register", actuator.name,
                               limit, shown),
                   fmt::format("{:g} to {:g}, or another type", lowest_of(written.place.type),
                               highest_of(written.place.type)));
  }
  return written;
}

std::optional<int> own_register(const Settings& device, std::string_view key, Taken& taken) {
  if (!device.has(key)) return std::nullopt;
  const RegisterPlace place{.address = address_of(device, key, 1)};
  taken.take(place, std::string(key), device.place(key));
  return place.address;
}

ModbusUnit unit_from_tables(const Settings& root, const Settings& device, const Bench& bench,
                            int default_unit) {
  ModbusUnit unit{
      .unit = default_unit == 0
                  ? device.integer("unit", {.at_least = 1, .at_most = 247})
                  : device.integer_or("unit", default_unit, {.at_least = 0, .at_most = 255}),
      .timeout_s = device.number_or("timeout_s", 0.5, {.at_least = 0.01, .at_most = 60.0}),
      .longest_outage_s =
          device.number_or("longest_outage_s", 10.0, {.at_least = 0.0, .at_most = 3600.0}),
      .channels = {},
      .actuators = {},
      .heartbeat_address = {},
      .guard_heartbeat_address = {},
      .reset_address = {},
      .stop_address = {}};
  Taken taken;
  const auto channels = root.tables("channel");
  for (std::size_t i = 0; i < channels.size(); ++i) {
    const Channel& channel = bench.channels[i];
    const Settings table = device_table(channels[i], channel.name, "channel");
    unit.channels.push_back(channel_place(table, channel));
    taken.take(unit.channels.back(), channel.name, table.place("address"));
  }
  const auto actuators = root.tables("actuator");
  for (std::size_t i = 0; i < actuators.size(); ++i) {
    const Actuator& actuator = bench.actuators[i];
    if (actuator.manual) {
      if (actuators[i].has("device")) {
        throw BadInput(actuators[i].place("device"),
                       fmt::format("'{}' is set by a person", actuator.name),
                       "manual = false, or no [actuator.device]");
      }
      unit.actuators.emplace_back();
      continue;
    }
    const Settings table = device_table(actuators[i], actuator.name, "actuator");
    unit.actuators.emplace_back(actuator_place(table, actuator));
    taken.take(unit.actuators.back()->place, actuator.name, table.place("address"));
  }
  unit.heartbeat_address = own_register(device, "heartbeat_address", taken);
  unit.guard_heartbeat_address = own_register(device, "guard_heartbeat_address", taken);
  unit.reset_address = own_register(device, "reset_address", taken);
  unit.stop_address = own_register(device, "stop_address", taken);
  return unit;
}

}  // namespace

ModbusTcpDevice modbus_tcp_from_tables(const Settings& root, const Bench& bench) {
  // 255 is what the messaging guide recommends for a server that is itself at this address.
  constexpr int addressed_by_ip = 255;
  const Settings device = root.table("device");
  return {.host = device.text("host"),
          .port = device.integer_or("port", 502, {.at_least = 1, .at_most = 65535}),
          .unit = unit_from_tables(root, device, bench, addressed_by_ip)};
}

ModbusRtuDevice modbus_rtu_from_tables(const Settings& root, const Bench& bench) {
  const Settings device = root.table("device");
  const char parity = named(device, "parity", "even", parities);
  return {.port = device.text("port"),
          .baud = device.integer_or("baud", 19200, {.at_least = 300, .at_most = 4'000'000}),
          .parity = parity,
          // Eleven bits a character, whatever the parity (MODBUS over Serial Line V1.02, 2.5.1).
          .stop_bits =
              device.integer_or("stop_bits", parity == 'N' ? 2 : 1, {.at_least = 1, .at_most = 2}),
          .unit = unit_from_tables(root, device, bench, 0)};
}

}  // namespace windwright::bench
