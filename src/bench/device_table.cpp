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
#include <string>
#include <vector>

namespace windwright::bench {

namespace {

// Marks what other kinds read as known.
void pass_over(const base::Settings& table) {
  for (const std::string& key : table.keys())
    static_cast<void>(table.has(key));
}

void pass_over_wiring(const base::Settings& root) {
  for (const char* kind : {"channel", "actuator"}) {
    for (const base::Settings& entry : root.tables(kind)) {
      if (const auto wiring = entry.optional_table("device")) pass_over(*wiring);
    }
  }
}

}  // namespace

DeviceDescription device_from_tables(const base::Settings& root, const Bench& bench) {
  const auto table = root.optional_table("device");
  const std::string kind = table ? table->text("kind") : "simulated";
  if (kind == "modbus_tcp") return modbus_tcp_from_tables(root, bench);
  if (kind == "modbus_rtu") return modbus_rtu_from_tables(root, bench);
  if (kind == "lines") return lines_device(root, *table);
  if (kind == "scpi") return scpi_device(root, *table);
  if (kind == "mqtt") return mqtt_device(root, *table, bench.file.parent_path());
  if (kind == "iio") return iio_device(root, *table);
  if (kind == "comedi") return comedi_device(root, *table);
  pass_over_wiring(root);
  if (kind == "simulated") {
    if (table) pass_over(*table);
    return SimulatedDevice{};
  }
  if (kind == "replay") {
    return ReplayDevice{
        .recording = std::filesystem::absolute(bench.file.parent_path() / table->text("recording"))
                         .lexically_normal(),
        .repeat = table->flag_or("repeat", false)};
  }
  const std::vector<std::string> kinds{"simulated", "replay", "modbus_tcp", "modbus_rtu", "lines",
                                       "scpi",      "mqtt",   "iio",        "comedi"};
  throw base::BadInput(table->place("kind"), fmt::format("device kind '{}' is not known", kind),
                       base::either_of(kinds));
}

}  // namespace windwright::bench
