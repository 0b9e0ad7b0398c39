// SPDX-License-Identifier: Apache-2.0
#include "bench/comedi_table.h"

#include "base/errors.h"
#include "base/settings.h"
#include "base/text.h"
#include "bench/instrument_tables.h"

#include <fmt/format.h>

#include <cmath>
#include <cstddef>
#include <map>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::bench {
namespace {

using base::BadInput;
using base::Settings;
using Reference = ComediDevice::Reference;

constexpr base::Bounds small_number{.at_least = 0, .at_most = 1023};

unsigned number_of(const Settings& table, std::string_view key) {
  return static_cast<unsigned>(table.integer(key, small_number));
}

Reference reference_of(const Settings& table, const Settings& fallback) {
  const Settings& said = table.has("reference") ? table : fallback;
  const std::map<std::string, Reference> known{{"ground", Reference::ground},
                                               {"common", Reference::common},
                                               {"differential", Reference::differential},
                                               {"other", Reference::other}};
  const std::string text = said.text_or("reference", "ground");
  const auto found = known.find(text);
  if (found != known.end()) return found->second;
  std::vector<std::string> names;
  for (const auto& [name, reference] : known)
    names.push_back(name);
  throw BadInput(said.place("reference"), fmt::format("reference '{}' is not known", text),
                 base::either_of(names));
}

// Every count must fit onto the lines.
void require_lines(const Settings& actuator, const Settings& table,
                   const ComediDevice::Output& output) {
  std::vector<double> values;
  if (actuator.has("positions")) {
    for (std::size_t i = 0; i < output.counts.of_positions.size(); ++i)
      values.push_back(static_cast<double>(i));
  } else {
    values = {actuator.number("lowest"), actuator.number("highest")};
  }
  for (const double value : values) {
    const auto count = static_cast<double>(count_for(output.counts, value));
    if (count < std::ldexp(1.0, static_cast<int>(output.lines))) continue;
    throw BadInput(table.place("lines"),
                   fmt::format("{} lines cannot show {:g}", output.lines, count),
                   fmt::format("counts below {:g}, or more lines",
                               std::ldexp(1.0, static_cast<int>(output.lines))));
  }
}

ComediDevice::Output read_output(const Settings& actuator, const Settings& table) {
  using Kind = ComediDevice::Output::Kind;
  ComediDevice::Output output;
  output.subdevice = number_of(table, "subdevice");
  output.counts = read_output_counts(actuator, table);
  if (table.has("first_line")) {
    output.kind = Kind::digital;
    output.channel = number_of(table, "first_line");
    output.lines = static_cast<unsigned>(table.integer("lines", {.at_least = 1, .at_most = 31}));
    require_lines(actuator, table, output);
    return output;
  }
  output.kind = Kind::analog;
  output.channel = number_of(table, "channel");
  output.range = static_cast<unsigned>(table.integer_or("range", 0, small_number));
  output.reference = reference_of(table, table);
  return output;
}

}  // namespace

ComediDevice comedi_device(const Settings& root, const Settings& device) {
  ComediDevice board{};
  board.file = device.text_or("file", "/dev/comedi0");
  if (!board.file.starts_with('/')) {
    throw BadInput(device.place("file"), fmt::format("'{}' is no device file", board.file),
                   "a path such as \"/dev/comedi0\"");
  }
  if (device.has("subdevice")) board.subdevice = number_of(device, "subdevice");
  for (const Settings& table : channel_tables(root)) {
    ComediDevice::Input input{.channel = number_of(table, "channel"),
                              .range = {},
                              .reference = reference_of(table, device)};
    if (table.has("range")) input.range = number_of(table, "range");
    board.channels.push_back(input);
  }
  const std::vector<Settings> actuators = root.tables("actuator");
  const auto tables = output_tables(root);
  for (std::size_t i = 0; i < actuators.size(); ++i) {
    board.outputs.push_back(tables[i] ? read_output(actuators[i], *tables[i])
                                      : ComediDevice::Output{});
  }
  board.timeout_s = device.number_or("timeout_s", 2.0, {.at_least = 0.01, .at_most = 60.0});
  board.longest_outage_s =
      device.number_or("longest_outage_s", 10.0, {.at_least = 1.0, .at_most = 3600.0});
  board.longest_drift_s =
      device.number_or("longest_drift_s", 0.5, {.at_least = 1e-3, .at_most = 3600.0});
  return board;
}

}  // namespace windwright::bench
