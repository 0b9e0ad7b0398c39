// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "bench/comedi_table.h"
#include "bench/iio_table.h"
#include "bench/instrument_tables.h"
#include "bench/modbus_table.h"
#include "bench/mqtt_table.h"

#include <filesystem>
#include <string>
#include <variant>

namespace windwright::base {
class Settings;
}

namespace windwright::bench {

struct Bench;

/// What [simulation] describes.
struct SimulatedDevice {};

/// A recording of this bench, played again at its own pace.
struct ReplayDevice {
  std::filesystem::path recording;  // absolute
  bool repeat = false;              // from its beginning when it ends
};

/// What the bench's channels and actuators are reached through: table [device] of bench.toml. One
/// struct a kind; src/devices has the driver of each.
using DeviceDescription =
    std::variant<SimulatedDevice, ReplayDevice, ModbusTcpDevice, ModbusRtuDevice, LinesDevice,
                 ScpiDevice, MqttDevice, IioDevice, ComediDevice>;

/// Simulated where there is no table [device]; paths are relative to the bench's folder. Of what is
/// simulated or a replay, `instead_of` names the instrument's kind, whose tables are then checked;
/// wiring without an instrument and without that is refused.
/// @param bench  with its file, channels and actuators, the same as in root
/// @throws BadInput  with file and line
DeviceDescription device_from_tables(const base::Settings& root, const Bench& bench);

}  // namespace windwright::bench
