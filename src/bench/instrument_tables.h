// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <cstddef>
#include <optional>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

namespace windwright::base {
class Settings;
}

namespace windwright::bench {

/// Eight data bits, no flow control.
struct SerialPort {
  std::string port;  // such as /dev/ttyACM0
  int baud;
  enum class Parity { none, even, odd } parity;
  int stop_bits;
};
struct TcpAddress {
  std::string host;
  int port;
};
using Endpoint = std::variant<SerialPort, TcpAddress>;

/// What a number that an instrument sends is.
struct NumberMeaning {
  enum class Gives { volts, counts, signed_counts } gives = Gives::volts;
  double volts_per_unit = 1.0;  // of an instrument that sends another unit than volts
};

/// A command with `{value}` where the setting stands.
struct CommandText {
  std::string text;                 // empty: the actuator is changed by hand
  std::vector<std::string> values;  // for a selector's positions; none: the number itself
};
/// The command for one setting, a selector's position rounded to the nearest.
std::string command_for(const CommandText& command, double value);

/// A microcontroller that sends a line of delimited numbers for every sample, by itself.
struct LinesDevice {
  struct Column {
    std::size_t index;  // from 0
    NumberMeaning meaning;
  };
  Endpoint endpoint;
  std::size_t columns;                 // of every line
  std::vector<std::string> names;      // of the columns; none where they go by number
  char delimiter;                      // ' ': any run of blanks and tabs
  bool checksum;                       // lines end in *HH, the XOR of all bytes before the *
  std::vector<Column> channels;        // as the bench has them
  std::optional<std::size_t> counter;  // column that counts the samples
  int counter_bits;                    // begins again at 0 after 2^bits
  std::optional<std::size_t> time;     // column with the device's own time
  double time_unit_s;                  // of that column
  int time_bits;                       // begins again at 0 after 2^bits units
  std::vector<CommandText> commands;   // as the bench has its actuators
  double timeout_s;                    // without a line: the link is lost
  double longest_outage_s;             // without a sample: a fault
  double longest_drift_s;              // between the two clocks; above, it is told
};

/// An instrument that is asked in the syntax of IEEE 488.2 and SCPI: a line of ASCII each way.
struct ScpiDevice {
  struct Item {
    std::size_t channel;  // of the bench
    std::size_t index;    // in the comma-separated answer, from 0
    NumberMeaning meaning;
  };
  struct Query {
    std::string text;
    std::vector<Item> items;
  };
  Endpoint endpoint;
  std::string identity;  // that the answer to *IDN? must hold; may be empty
  std::vector<Query> queries;
  std::string error_query;            // after each command; empty: not asked
  std::vector<CommandText> commands;  // as the bench has its actuators
  std::string stop_command = {};      // has it make the bench safe by itself; empty: it cannot
  double timeout_s;                   // for one answer
  double longest_outage_s;            // without a sample: a fault
};

/// What [device], every [channel.device] and every [actuator.device] say.
/// @throws BadInput  with file and line
LinesDevice lines_device(const base::Settings& root, const base::Settings& device);
ScpiDevice scpi_device(const base::Settings& root, const base::Settings& device);

/// Of [channel.device], with the default of [device].
NumberMeaning read_meaning(const base::Settings& table, const base::Settings& device);
/// [device] of every channel. @throws BadInput  a channel has none
std::vector<base::Settings> channel_tables(const base::Settings& root);
/// The command of every actuator, in the bench's order.
/// @param fallback  where a table names no command; empty: it must
/// @throws BadInput  an actuator that is not changed by hand has none
std::vector<CommandText> read_commands(const base::Settings& root, std::string_view fallback);

}  // namespace windwright::bench
