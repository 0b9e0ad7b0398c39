// SPDX-License-Identifier: Apache-2.0
#include "bench/device_table.h"

#include "base/errors.h"
#include "base/settings.h"
#include "base/text.h"

#include <fmt/format.h>

#include <filesystem>
#include <string>
#include <vector>

namespace windwright::bench {

DeviceDescription device_from_tables(const base::Settings& root,
                                     const std::filesystem::path& folder) {
  const auto table = root.optional_table("device");
  if (!table) return SimulatedDevice{};
  const std::string kind = table->text("kind");
  if (kind == "simulated") return SimulatedDevice{};
  if (kind == "replay") {
    return ReplayDevice{
        .recording =
            std::filesystem::absolute(folder / table->text("recording")).lexically_normal(),
        .repeat = table->flag_or("repeat", false)};
  }
  const std::vector<std::string> kinds{"simulated", "replay"};
  throw base::BadInput(table->place("kind"), fmt::format("device kind '{}' is not known", kind),
                       base::either_of(kinds));
}

}  // namespace windwright::bench
