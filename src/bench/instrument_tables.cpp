// SPDX-License-Identifier: Apache-2.0
#include "bench/instrument_tables.h"

#include "base/errors.h"
#include "base/settings.h"
#include "base/text.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <map>
#include <optional>
#include <set>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::bench {
namespace {

using base::BadInput;
using base::Bounds;
using base::Settings;

constexpr std::string_view value_mark = "{value}";
constexpr Bounds timeout{.at_least = 0.01, .at_most = 60.0};
constexpr Bounds outage{.at_least = 1.0, .at_most = 3600.0};

/// The choice that a key names.
template <typename Choice>
Choice choice_of(const Settings& table, std::string_view key, std::string_view fallback,
                 const std::vector<std::pair<std::string, Choice>>& choices) {
  const std::string text = table.text_or(key, fallback);
  std::vector<std::string> names;
  for (const auto& [name, choice] : choices) {
    if (name == text) return choice;
    names.push_back(name);
  }
  throw BadInput(table.place(key), fmt::format("{} '{}' is not known", key, text),
                 base::either_of(names));
}

// With a host the port is a number, without one the name of a serial port.
Endpoint read_endpoint(const Settings& table, std::optional<int> usual_port) {
  if (table.has("host")) {
    const Bounds ports{.at_least = 1, .at_most = 65535};
    return TcpAddress{.host = table.text("host"),
                      .port = usual_port ? table.integer_or("port", *usual_port, ports)
                                         : table.integer("port", ports)};
  }
  if (!table.holds_text("port")) {
    throw BadInput(table.place(), "has neither a host nor a serial port",
                   "port = \"/dev/ttyACM0\", or host and port of an instrument on TCP");
  }
  using Parity = SerialPort::Parity;
  return SerialPort{.port = table.text("port"),
                    .baud = table.integer_or("baud", 115200, {.at_least = 300, .at_most = 4e6}),
                    .parity = choice_of<Parity>(
                        table, "parity", "none",
                        {{"none", Parity::none}, {"even", Parity::even}, {"odd", Parity::odd}}),
                    .stop_bits = table.integer_or("stop_bits", 1, {.at_least = 1, .at_most = 2})};
}

/// A column by its name or its number, which counts from 1.
std::size_t column_of(const Settings& table, std::string_view key, const LinesDevice& lines) {
  if (!table.holds_text(key)) {
    return static_cast<std::size_t>(
               table.integer(key, {.at_least = 1, .at_most = static_cast<double>(lines.columns)})) -
           1;
  }
  const std::string name = table.text(key);
  const auto found = std::find(lines.names.begin(), lines.names.end(), name);
  if (found != lines.names.end()) return static_cast<std::size_t>(found - lines.names.begin());
  throw BadInput(table.place(key), fmt::format("no column is named '{}'", name),
                 lines.names.empty() ? "its number, from 1" : base::either_of(lines.names));
}

std::optional<std::size_t> optional_column(const Settings& table, std::string_view key,
                                           const LinesDevice& lines) {
  if (!table.has(key)) return std::nullopt;
  return column_of(table, key, lines);
}

void read_columns(const Settings& device, LinesDevice& lines) {
  if (device.has("column_names")) {
    lines.names = device.texts("column_names");
    lines.columns = lines.names.size();
    const std::set<std::string> distinct(lines.names.begin(), lines.names.end());
    if (distinct.size() != lines.names.size())
      throw BadInput(device.place("column_names"), "a name is there twice", "each name once");
  } else {
    lines.columns =
        static_cast<std::size_t>(device.integer("columns", {.at_least = 1, .at_most = 256}));
  }
  const std::string delimiter = device.text_or("delimiter", ",");
  if (delimiter.size() != 1 || std::string("0123456789+-.eE*\r\n").find(delimiter) < 20) {
    throw BadInput(device.place("delimiter"), fmt::format("'{}' cannot part numbers", delimiter),
                   "one character such as \",\", \";\", \"\\t\" or \" \" (any run of blanks)");
  }
  lines.delimiter = delimiter.front();
}

// Two things in one column would be one of them wrongly named.
void require_distinct(const Settings& root, const LinesDevice& lines) {
  std::set<std::size_t> taken;
  if (lines.counter) taken.insert(*lines.counter);
  if (lines.time) taken.insert(*lines.time);
  const auto tables = channel_tables(root);
  for (std::size_t i = 0; i < tables.size(); ++i) {
    if (taken.insert(lines.channels[i].index).second) continue;
    throw BadInput(tables[i].place("column"),
                   fmt::format("column {} is read twice", lines.channels[i].index + 1),
                   "a column of its own for every channel, counter and time");
  }
}

// A digit and a delimiter a column, ten bits a byte: no line is shorter.
void require_capacity(const Settings& root, const Settings& device, const LinesDevice& lines) {
  const auto* port = std::get_if<SerialPort>(&lines.endpoint);
  if (port == nullptr) return;
  const double rate_hz = root.table("bench").number("sample_rate_hz");
  const double bits = 10.0 * (2.0 * static_cast<double>(lines.columns) + (lines.checksum ? 3 : 0));
  if (bits * rate_hz <= port->baud) return;
  throw BadInput(device.place(device.has("baud") ? "baud" : "port"),
                 fmt::format("{} baud cannot carry {:g} lines a second of {} columns", port->baud,
                             rate_hz, lines.columns),
                 fmt::format("at most {:g} samples a second, fewer columns, or a faster port",
                             std::floor(port->baud / bits)));
}

std::size_t query_index(std::vector<ScpiDevice::Query>& queries, const std::string& text) {
  const auto found = std::find_if(queries.begin(), queries.end(),
                                  [&](const auto& query) { return query.text == text; });
  if (found != queries.end()) return static_cast<std::size_t>(found - queries.begin());
  queries.push_back({.text = text, .items = {}});
  return queries.size() - 1;
}

// A line end inside a message would be two messages.
std::string one_line(const Settings& table, std::string_view key, std::string text) {
  const bool bad = std::any_of(text.begin(), text.end(), [](char letter) {
    return static_cast<unsigned char>(letter) < 0x20 || letter == 0x7f;
  });
  if (bad || text.size() > 1000) {
    throw BadInput(table.place(key), fmt::format("{} is not one line of text", key),
                   "printable characters, without a line end");
  }
  return text;
}

CommandText read_command(const Settings& actuator, const Settings& table,
                         std::string_view fallback) {
  CommandText command;
  command.text = fallback.empty() ? table.text("command") : table.text_or("command", fallback);
  command.text = one_line(table, "command", std::move(command.text));
  if (command.text.find(value_mark) == std::string::npos) {
    throw BadInput(table.place("command"), "the command has no {value}",
                   "such as \"FAN {value}\": {value} stands for the setting");
  }
  if (!table.has("values")) return command;
  command.values = table.texts("values");
  const std::size_t positions = actuator.has("positions") ? actuator.texts("positions").size() : 0;
  if (command.values.size() != positions) {
    throw BadInput(table.place("values"),
                   fmt::format("{} values for {} positions", command.values.size(), positions),
                   "one for each of the actuator's positions, in their order");
  }
  for (const std::string& value : command.values)
    one_line(table, "values", value);
  return command;
}

}  // namespace

std::string command_for(const CommandText& command, double value) {
  std::string setting = base::number_text(value);
  if (!command.values.empty()) {
    const double last = static_cast<double>(command.values.size()) - 1.0;
    setting = command.values[static_cast<std::size_t>(std::clamp(std::round(value), 0.0, last))];
  }
  std::string text = command.text;
  for (std::size_t at = text.find(value_mark); at != std::string::npos;
       at = text.find(value_mark, at + setting.size()))
    text.replace(at, value_mark.size(), setting);
  return text;
}

NumberMeaning read_meaning(const Settings& table, const Settings& device) {
  using Gives = NumberMeaning::Gives;
  const Settings& said = table.has("gives") ? table : device;
  NumberMeaning meaning;
  meaning.gives = choice_of<Gives>(said, "gives", "volts",
                                   {{"volts", Gives::volts},
                                    {"counts", Gives::counts},
                                    {"signed_counts", Gives::signed_counts}});
  if (meaning.gives == Gives::volts) {
    meaning.volts_per_unit =
        table.number_or("volts_per_unit", 1.0, {.at_least = -1e9, .at_most = 1e9});
    if (meaning.volts_per_unit == 0.0) {
      throw BadInput(table.place("volts_per_unit"), "volts_per_unit is 0",
                     "volts for one unit that the instrument sends");
    }
  }
  return meaning;
}

std::vector<Settings> channel_tables(const Settings& root) {
  std::vector<Settings> tables;
  for (const Settings& channel : root.tables("channel")) {
    const auto table = channel.optional_table("device");
    if (!table) {
      throw BadInput(channel.place(), "the device does not know where this channel comes from",
                     "a table [channel.device] (docs/devices.md)");
    }
    tables.push_back(*table);
  }
  return tables;
}

std::vector<CommandText> read_commands(const Settings& root, std::string_view fallback) {
  std::vector<CommandText> commands;
  for (const Settings& actuator : root.tables("actuator")) {
    if (actuator.flag_or("manual", false)) {
      if (actuator.has("device")) {
        throw BadInput(actuator.place("device"), "this actuator is set by a person",
                       "manual = false, or no [actuator.device]");
      }
      commands.emplace_back();
      continue;
    }
    const auto table = actuator.optional_table("device");
    if (!table) {
      throw BadInput(actuator.place(), "the device does not know how to command this actuator",
                     "a table [actuator.device] with a command, or manual = true");
    }
    commands.push_back(read_command(actuator, *table, fallback));
  }
  return commands;
}

LinesDevice lines_device(const Settings& root, const Settings& device) {
  LinesDevice lines{};
  lines.endpoint = read_endpoint(device, std::nullopt);
  read_columns(device, lines);
  lines.checksum = choice_of<bool>(device, "checksum", "none", {{"none", false}, {"xor", true}});
  lines.counter = optional_column(device, "counter_column", lines);
  if (lines.counter)
    lines.counter_bits = device.integer_or("counter_bits", 32, {.at_least = 8, .at_most = 48});
  lines.time = optional_column(device, "time_column", lines);
  if (lines.time) {
    lines.time_unit_s =
        choice_of<double>(device, "time_unit", "us", {{"us", 1e-6}, {"ms", 1e-3}, {"s", 1.0}});
    lines.time_bits = device.integer_or("time_bits", 32, {.at_least = 16, .at_most = 52});
  }
  if (lines.counter && lines.time == lines.counter) {
    throw BadInput(device.place("time_column"), "is the counter's column",
                   "a column of its own, or no time_column");
  }
  for (const Settings& table : channel_tables(root)) {
    lines.channels.push_back(
        {.index = column_of(table, "column", lines), .meaning = read_meaning(table, device)});
  }
  require_distinct(root, lines);
  require_capacity(root, device, lines);
  lines.commands = read_commands(root, "");
  lines.timeout_s = device.number_or("timeout_s", 2.0, timeout);
  lines.longest_outage_s = device.number_or("longest_outage_s", 10.0, outage);
  lines.longest_drift_s =
      device.number_or("longest_drift_s", 0.5, {.at_least = 1e-3, .at_most = 3600.0});
  return lines;
}

ScpiDevice scpi_device(const Settings& root, const Settings& device) {
  constexpr int usual_port = 5025;
  ScpiDevice scpi{};
  scpi.endpoint = read_endpoint(device, usual_port);
  scpi.identity = device.text_or("identity", "");
  const std::string shared = device.has("query") ? device.text("query") : "";
  std::size_t channel = 0;
  for (const Settings& table : channel_tables(root)) {
    const bool own = table.has("query") || shared.empty();
    const std::string query =
        one_line(own ? table : device, "query", own ? table.text("query") : shared);
    const int item = table.integer_or("item", 1, {.at_least = 1, .at_most = 256});
    scpi.queries[query_index(scpi.queries, query)].items.push_back(
        {.channel = channel++,
         .index = static_cast<std::size_t>(item) - 1,
         .meaning = read_meaning(table, device)});
  }
  scpi.error_query = one_line(device, "error_query", device.text_or("error_query", "SYST:ERR?"));
  scpi.commands = read_commands(root, "");
  scpi.stop_command = one_line(device, "stop_command", device.text_or("stop_command", ""));
  scpi.timeout_s = device.number_or("timeout_s", 1.0, timeout);
  scpi.longest_outage_s = device.number_or("longest_outage_s", 10.0, outage);
  return scpi;
}

}  // namespace windwright::bench
