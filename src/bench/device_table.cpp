// SPDX-License-Identifier: Apache-2.0
#include "bench/device_table.h"

#include "base/errors.h"
#include "base/settings.h"
#include "base/text.h"
#include "bench/bench.h"
#include "bench/comedi_table.h"
#include "bench/iio_table.h"
#include "bench/instrument_tables.h"
#include "bench/modbus_table.h"
#include "bench/mqtt_table.h"

#include <fmt/format.h>

#include <filesystem>
#include <optional>
#include <string>
#include <utility>
#include <vector>

namespace windwright::bench {

namespace {

const std::vector<std::string> instruments{"modbus_tcp", "modbus_rtu", "lines", "scpi",
                                           "mqtt",       "iio",        "comedi"};

/// What a real instrument's tables say; nothing: there is no such kind.
std::optional<DeviceDescription> instrument_from_tables(const base::Settings& root,
                                                        const std::string& kind,
                                                        const Bench& bench) {
  if (kind == "modbus_tcp") return modbus_tcp_from_tables(root, bench);
  if (kind == "modbus_rtu") return modbus_rtu_from_tables(root, bench);
  const auto table = root.optional_table("device");
  if (!table) return std::nullopt;
  if (kind == "lines") return lines_device(root, *table);
  if (kind == "scpi") return scpi_device(root, *table);
  if (kind == "mqtt") return mqtt_device(root, *table, bench.file.parent_path());
  if (kind == "iio") return iio_device(root, *table);
  if (kind == "comedi") return comedi_device(root, *table);
  return std::nullopt;
}

/// The tables of an instrument that something stands in for: right, though nothing is connected.
void check_instrument_stood_in_for(const base::Settings& root, const Bench& bench) {
  const auto table = root.optional_table("device");
  if (table && table->has("instead_of")) {
    const std::string kind = table->text("instead_of");
    if (instrument_from_tables(root, kind, bench)) return;
    throw base::BadInput(table->place("instead_of"),
                         fmt::format("'{}' is no kind of instrument", kind),
                         base::either_of(instruments));
  }
  for (const char* part : {"channel", "actuator"}) {
    for (const base::Settings& entry : root.tables(part)) {
      if (!entry.has("device")) continue;
      throw base::BadInput(
          entry.place("device"),
          fmt::format("{}.device wires an instrument, but [device] names none", part),
          "its kind in [device]; or, where something stands in for it, instead_of = \"modbus_tcp\" "
          "(its kind) beside kind");
    }
  }
}

}  // namespace

DeviceDescription device_from_tables(const base::Settings& root, const Bench& bench) {
  const auto table = root.optional_table("device");
  const std::string kind = table ? table->text("kind") : "simulated";
  if (auto instrument = instrument_from_tables(root, kind, bench)) return *std::move(instrument);
  if (kind == "simulated") {
    check_instrument_stood_in_for(root, bench);
    return SimulatedDevice{};
  }
  if (kind == "replay") {
    check_instrument_stood_in_for(root, bench);
    return ReplayDevice{
        .recording = std::filesystem::absolute(bench.file.parent_path() / table->text("recording"))
                         .lexically_normal(),
        .repeat = table->flag_or("repeat", false)};
  }
  std::vector<std::string> kinds{"simulated", "replay"};
  kinds.insert(kinds.end(), instruments.begin(), instruments.end());
  throw base::BadInput(table->place("kind"), fmt::format("device kind '{}' is not known", kind),
                       base::either_of(kinds));
}

}  // namespace windwright::bench
