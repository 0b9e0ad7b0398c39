// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <filesystem>
#include <string>
#include <variant>

namespace windwright::base {
class Settings;
}

namespace windwright::bench {

/// What [simulation] describes.
struct SimulatedDevice {};

/// A recording of this bench, played again at its own pace.
struct ReplayDevice {
  std::filesystem::path recording;  // absolute
  bool repeat = false;              // from its beginning when it ends
};

/// What the bench's channels and actuators are reached through: table [device] of bench.toml. One
/// struct a kind; src/devices has the driver of each.
using DeviceDescription = std::variant<SimulatedDevice, ReplayDevice>;

/// Simulated where there is no table [device]. Paths are relative to the bench's folder.
/// @throws BadInput  with file and line
DeviceDescription device_from_tables(const base::Settings& root,
                                     const std::filesystem::path& folder);

}  // namespace windwright::bench
