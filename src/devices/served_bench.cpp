// SPDX-License-Identifier: Apache-2.0
#include "devices/served_bench.h"

#include "base/errors.h"
#include "base/text.h"
#include "bench/safe_state.h"
#include "devices/modbus_registers.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::devices {
namespace {

using bench::RegisterPlace;
using bench::RegisterTable;
using bench::RegisterType;

// The finest power of ten that fits.
bench::ModbusActuator place_of(const bench::Actuator& actuator, int address) {
  const bool negative = actuator.lowest < 0.0;
  bench::ModbusActuator placed{
      .place = {.address = address,
                .table = RegisterTable::holding,
                .type = negative ? RegisterType::int16 : RegisterType::uint16}};
  if (!actuator.positions.empty() || actuator.name == "blade_count") return placed;
  const double fits = negative ? std::numeric_limits<std::int16_t>::max()
                               : std::numeric_limits<std::uint16_t>::max();
  const double largest = std::max(std::abs(actuator.lowest), std::abs(actuator.highest));
  constexpr double finest = 1000.0;
  while (placed.scale < finest && largest * placed.scale * 10.0 <= fits)
    placed.scale *= 10.0;
  return placed;
}

std::string_view name_of(RegisterType type) {
  switch (type) {
    case RegisterType::int16:
      return "int16";
    case RegisterType::uint32:
      return "uint32";
    default:
      return "uint16";
  }
}

std::string table_of(const bench::ModbusActuator& placed, const bench::Actuator& actuator) {
  const auto& place = placed.place;
  if (actuator.manual) {
    return fmt::format(
        "# a person sets it; the served bench has it in the holding register at address {}, times "
        "{:g}\n",
        place.address, placed.scale);
  }
  return fmt::format("[actuator.device]\naddress = {}\ntype = \"{}\"\nscale = {:g}\n",
                     place.address, name_of(place.type), placed.scale);
}

// Whether a line begins another table than one of this entry's own.
bool is_elsewhere(std::string_view line, std::string_view kind) {
  return line.starts_with('[') && !line.starts_with(fmt::format("[{}.", kind));
}

}  // namespace

RegisterMap register_map(const bench::Bench& bench) {
  RegisterMap map;
  int address = 0;
  for (const bench::Channel& channel : bench.channels) {
    constexpr int one_register = 16;
    map.channels.push_back({.address = address,
                            .table = RegisterTable::input,
                            .type = channel.converter.bits > one_register ? RegisterType::uint32
                                                                          : RegisterType::uint16});
    address += map.channels.back().registers();
  }
  address = 0;
  for (const bench::Actuator& actuator : bench.actuators)
    map.actuators.push_back(place_of(actuator, address++));
  return map;
}

std::string text_of_client_bench(const bench::Bench& bench, const std::string& host, int port) {
  const RegisterMap map = register_map(bench);
  std::string text;
  std::string blanks;  // and comments, which belong to what follows
  std::string pending;
  std::string kind;
  std::size_t channel = 0;
  std::size_t actuator = 0;
  bool own_device = false;
  const auto close_entry = [&] {
    text += std::exchange(pending, {});
    text += std::exchange(blanks, {});
  };
  for (const std::string& line : base::split(bench.text, '\n')) {
    const std::string_view bare = base::trimmed(line);
    if (bare.empty() || bare.starts_with('#')) {
      blanks += line + '\n';
      continue;
    }
    if (bare.starts_with('[')) {
      own_device = bare.starts_with("[device]") || bare.starts_with("[channel.device]") ||
                   bare.starts_with("[actuator.device]");
    }
    if (is_elsewhere(bare, kind)) {
      close_entry();
      kind = bare.starts_with("[[channel]]")    ? "channel"
             : bare.starts_with("[[actuator]]") ? "actuator"
                                                : "";
      if (kind == "channel") {
        const RegisterPlace& place = map.channels[channel++];
        pending = fmt::format("[channel.device]\naddress = {}\ntype = \"{}\"\n", place.address,
                              name_of(place.type));
      } else if (kind == "actuator") {
        pending = table_of(map.actuators[actuator], bench.actuators[actuator]);
        ++actuator;
      }
    }
    text += std::exchange(blanks, {});
    if (!own_device) text += line + '\n';
  }
  close_entry();
  return text + fmt::format(
                    "\n[device]\nkind = \"modbus_tcp\"\nhost = \"{}\"\nport = {}\n"
                    "heartbeat_address = {}\nreset_address = {}\nguard_heartbeat_address = {}\n"
                    "stop_address = {}\n",
                    host, port, map.heartbeat_address, map.reset_address,
                    map.guard_heartbeat_address, map.stop_address);
}

ServedBench::ServedBench(const bench::Bench& bench, bench::Device& device, Options options)
    : bench_(bench),
      device_(device),
      options_(options),
      map_(register_map(bench)),
      commanded_(bench.actuators.size()) {
  pass();
}

void ServedBench::pass() {
  device_.read(block_);
  shown_.clear();
  for (std::size_t i = 0; i < block_.channels; ++i) {
    for (const std::uint16_t word : registers_of(block_.channel(i).back(), map_.channels[i]))
      shown_.push_back(word);
  }
  if (is_driven()) look_at_watchdog();
  look_at_fan();
  if (tripped_) device_.stop();
}

void ServedBench::look_at_watchdog() {
  const auto samples = static_cast<std::int64_t>(block_.samples);
  const auto too_long = [this](std::int64_t unheard) {
    return static_cast<double>(unheard) / bench_.sample_rate_hz > options_.watchdog_s;
  };
  samples_unheard_ += samples;
  if (guard_unheard_) *guard_unheard_ += samples;
  const bool guard_silent = guard_unheard_ && too_long(*guard_unheard_);
  if (!too_long(samples_unheard_) && !guard_silent) return;
  trip(guard_silent ? "the guard process wrote no heartbeat" : "no client wrote anything");
}

void ServedBench::look_at_fan() {
  const auto fan = std::find_if(bench_.actuators.begin(), bench_.actuators.end(),
                                [](const auto& each) { return each.name == "fan_pct"; });
  const auto index = static_cast<std::size_t>(fan - bench_.actuators.begin());
  const bool disobeys = fan != bench_.actuators.end() && commanded_[index] == 0 &&
                        device_.setting(fan->name).value_or(0.0) > 0.0;
  samples_disobeyed_ =
      disobeys ? samples_disobeyed_ + static_cast<std::int64_t>(block_.samples) : 0;
  if (static_cast<double>(samples_disobeyed_) / bench_.sample_rate_hz <= options_.watchdog_s)
    return;
  samples_disobeyed_ = 0;
  trip("the fan did not obey the command to stand");
}

void ServedBench::trip(const std::string& cause) {
  make_safe();
  tripped_ = true;
  trip_cause_ = cause;
}

bool ServedBench::is_driven() const {
  for (std::size_t i = 0; i < commanded_.size(); ++i) {
    if (bench::is_switched_off(bench_.actuators[i].name) && commanded_[i] != 0) return true;
  }
  return false;
}

void ServedBench::make_safe() {
  device_.stop();
  for (std::size_t i = 0; i < commanded_.size(); ++i) {
    const bench::Actuator& actuator = bench_.actuators[i];
    if (bench::is_switched_off(actuator.name)) commanded_[i] = 0;
    if (actuator.name != bench::load_selector || value_of(i, commanded_[i]) != 0.0) continue;
    commanded_[i] = static_cast<std::uint16_t>(bench::loaded_position(actuator));
  }
}

std::optional<std::uint16_t> ServedBench::shown(RegisterTable table, std::size_t address) const {
  const auto is = [address](int wanted) { return address == static_cast<std::size_t>(wanted); };
  if (table == RegisterTable::input) {
    if (is(map_.tripped_address)) return tripped_ ? 1 : 0;
    return address < shown_.size() ? std::optional(shown_[address]) : std::nullopt;
  }
  if (is(map_.heartbeat_address)) return heartbeat_;
  if (is(map_.guard_heartbeat_address)) return guard_heartbeat_;
  if (is(map_.reset_address) || is(map_.stop_address)) return 0;
  return address < commanded_.size() ? std::optional(commanded_[address]) : std::nullopt;
}

ModbusException ServedBench::read(RegisterTable table, int address,
                                  std::span<std::uint16_t> registers) {
  const auto first = static_cast<std::size_t>(address);
  const bool of_channels = table == RegisterTable::input && first < shown_.size();
  if (of_channels && options_.passes_with_requests) pass();
  for (std::size_t i = 0; i < registers.size(); ++i) {
    const auto word = shown(table, first + i);
    if (!word) return ModbusException::illegal_address;
    registers[i] = *word;
  }
  return ModbusException::none;
}

double ServedBench::value_of(std::size_t actuator, std::uint16_t word) const {
  const bench::ModbusActuator& placed = map_.actuators[actuator];
  return number_in(std::span(&word, 1), placed.place) / placed.scale;
}

ModbusException ServedBench::check(int address, std::uint16_t word) const {
  if (address == map_.heartbeat_address || address == map_.guard_heartbeat_address)
    return ModbusException::none;
  if (address == map_.reset_address || address == map_.stop_address)
    return word == 1 ? ModbusException::none : ModbusException::illegal_value;
  const auto actuator = static_cast<std::size_t>(address);
  if (actuator >= commanded_.size()) return ModbusException::illegal_address;
  const bench::Actuator& described = bench_.actuators[actuator];
  const double value = value_of(actuator, word);
  if (value < described.lowest || value > described.highest) return ModbusException::illegal_value;
  if (tripped_ && word != commanded_[actuator]) return ModbusException::server_failure;
  return ModbusException::none;
}

void ServedBench::carry_out(std::size_t actuator, std::uint16_t word) {
  if (tripped_) return;  // checked: it is so already
  device_.set(bench_.actuators[actuator].name, value_of(actuator, word));
  commanded_[actuator] = word;
}

ModbusException ServedBench::write(int address, std::span<const std::uint16_t> registers) {
  for (std::size_t i = 0; i < registers.size(); ++i) {
    const ModbusException refused = check(address + static_cast<int>(i), registers[i]);
    if (refused != ModbusException::none) return refused;
  }
  for (std::size_t i = 0; i < registers.size(); ++i) {
    const int at = address + static_cast<int>(i);
    if (at == map_.guard_heartbeat_address) {
      guard_heartbeat_ = registers[i];
      guard_unheard_ = 0;
      continue;
    }
    samples_unheard_ = 0;
    if (at == map_.heartbeat_address) {
      heartbeat_ = registers[i];
    } else if (at == map_.reset_address) {
      tripped_ = false;
    } else if (at == map_.stop_address) {
      make_safe();
    } else {
      try {
        carry_out(static_cast<std::size_t>(at), registers[i]);
      } catch (const base::DeviceFault&) {
        return ModbusException::server_failure;
      }
    }
  }
  return ModbusException::none;
}

}  // namespace windwright::devices
