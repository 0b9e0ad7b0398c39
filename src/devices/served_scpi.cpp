// SPDX-License-Identifier: Apache-2.0
#include "devices/served_scpi.h"

#include "base/text.h"
#include "devices/modbus_registers.h"

#include <fmt/format.h>

#include <algorithm>
#include <cctype>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::devices {
namespace {

using bench::RegisterTable;

bool same_word(std::string_view a, std::string_view b) {
  return std::equal(a.begin(), a.end(), b.begin(), b.end(), [](unsigned char x, unsigned char y) {
    return std::toupper(x) == std::toupper(y);
  });
}

template <typename Entry>
std::string names_of(const std::vector<Entry>& entries) {
  std::string names;
  for (const Entry& entry : entries)
    names += fmt::format("{}\"{}\"", names.empty() ? "" : ",", entry.name);
  return names;
}

/// What the commands do to the bench.
class BenchCommands {
 public:
  BenchCommands(const bench::Bench& bench, ServedBench& served) : bench_(bench), served_(served) {}

  std::optional<std::string> voltages(const ScpiCommand& command) const {
    const std::vector<int> wanted =
        channel_list(only_parameter(command), static_cast<int>(bench_.channels.size()));
    const auto& places = served_.map().channels;
    std::vector<std::uint16_t> words(
        static_cast<std::size_t>(places.back().address + places.back().registers()));
    carry_out(served_.read(RegisterTable::input, 0, words));
    std::string answer;
    for (const int number : wanted) {
      const auto channel = static_cast<std::size_t>(number - 1);
      const auto& place = places[channel];
      const auto registers = std::span<const std::uint16_t>(words).subspan(
          static_cast<std::size_t>(place.address), static_cast<std::size_t>(place.registers()));
      const double value_V =
          bench::volts(bench_.channels[channel].converter, number_in(registers, place));
      answer += fmt::format("{}{:.9G}", answer.empty() ? "" : ",", value_V);
    }
    return answer;
  }

  std::optional<std::string> set(const ScpiCommand& command) const {
    const std::size_t index = actuator(command);
    const bench::Actuator& described = bench_.actuators[index];
    const double value = value_of(described, only_parameter(command));
    if (value < described.lowest || value > described.highest) {
      throw ScpiError{
          scpi_error::data_out_of_range,
          fmt::format("{} {:g} to {:g}", described.name, described.lowest, described.highest)};
    }
    const bench::ModbusActuator& placed = served_.map().actuators[index];
    const auto words = registers_of(value * placed.scale, placed.place);
    carry_out(served_.write(placed.place.address, words));
    return {};
  }

  std::optional<std::string> level(const ScpiCommand& command) const {
    require_no_parameter(command);
    const bench::ModbusActuator& placed = served_.map().actuators[actuator(command)];
    std::uint16_t word = 0;
    carry_out(served_.read(RegisterTable::holding, placed.place.address, std::span(&word, 1)));
    return fmt::format("{:.9G}", number_in(std::span(&word, 1), placed.place) / placed.scale);
  }

  void write(int address, std::uint16_t word) const {
    carry_out(served_.write(address, std::span(&word, 1)));
  }

 private:
  std::size_t actuator(const ScpiCommand& command) const {
    const auto count = static_cast<int>(bench_.actuators.size());
    if (command.suffix < 1 || command.suffix > count)
      throw ScpiError{scpi_error::suffix_out_of_range, fmt::format("SOURce1 to SOURce{}", count)};
    return static_cast<std::size_t>(command.suffix - 1);
  }

  static double value_of(const bench::Actuator& described, const std::string& text) {
    for (std::size_t i = 0; i < described.positions.size(); ++i) {
      if (same_word(described.positions[i], text)) return static_cast<double>(i);
    }
    if (!described.positions.empty() && !base::number_from_text(text))
      throw ScpiError{scpi_error::illegal_parameter, base::either_of(described.positions)};
    const double value = scpi_number(text);
    const bool in_steps = !described.positions.empty() || described.name == "blade_count";
    if (in_steps && value != std::floor(value))
      throw ScpiError{scpi_error::illegal_parameter,
                      fmt::format("{} in whole numbers", described.name)};
    return value;
  }

  void carry_out(ModbusException refused) const {
    if (refused == ModbusException::none) return;
    throw ScpiError{scpi_error::settings_conflict,
                    served_.tripped() ? "tripped, OUTPut:PROTection:CLEar takes it back"
                                      : "not possible as the bench is now"};
  }

  const bench::Bench& bench_;
  ServedBench& served_;
};

}  // namespace

std::unique_ptr<ScpiSession> scpi_session(const bench::Bench& bench, ServedBench& served,
                                          std::string_view version) {
  auto session = std::make_unique<ScpiSession>(
      std::vector<std::string>{"Windwright", bench.name, "0", std::string(version)},
      [&served] { served.make_safe(); });
  const BenchCommands commands(bench, served);
  using Answer = std::optional<std::string>;
  session->add("MEASure:VOLTage[:DC]?",
               [commands](const ScpiCommand& command) { return commands.voltages(command); });
  session->add("SOURce#:LEVel",
               [commands](const ScpiCommand& command) { return commands.set(command); });
  session->add("SOURce#:LEVel?",
               [commands](const ScpiCommand& command) { return commands.level(command); });
  session->add("CHANnel:CATalog?", [&bench](const ScpiCommand& command) {
    require_no_parameter(command);
    return Answer(names_of(bench.channels));
  });
  session->add("SOURce:CATalog?", [&bench](const ScpiCommand& command) {
    require_no_parameter(command);
    return Answer(names_of(bench.actuators));
  });
  session->add("OUTPut:PROTection:TRIPped?", [&served](const ScpiCommand& command) {
    require_no_parameter(command);
    return Answer(served.tripped() ? "1" : "0");
  });
  session->add("OUTPut:PROTection:CLEar", [commands, &served](const ScpiCommand& command) {
    require_no_parameter(command);
    commands.write(served.map().reset_address, 1);
    return Answer();
  });
  session->add("SYSTem:HEARtbeat", [commands, &served](const ScpiCommand& command) {
    require_no_parameter(command);
    commands.write(served.map().heartbeat_address, 1);
    return Answer();
  });
  return session;
}

}  // namespace windwright::devices
