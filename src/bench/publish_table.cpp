// SPDX-License-Identifier: Apache-2.0
#include "bench/publish_table.h"

#include "base/settings.h"

#include <filesystem>
#include <optional>

namespace windwright::bench {

std::optional<PublishDescription> publish_from_tables(const base::Settings& root,
                                                      const std::filesystem::path& folder) {
  const auto table = root.optional_table("publish");
  if (!table) return std::nullopt;
  PublishDescription publish{
      .broker = mqtt_broker(*table, folder),
      .topic = table->has("prefix") ? topic_in(*table, "prefix") + '/' : "windwright/",
      .interval_s = 1.0};
  publish.topic += topic_level_in(*table, "bench");
  publish.interval_s = table->number_or("interval_s", 1.0, {.at_least = 0.1, .at_most = 3600.0});
  return publish;
}

}  // namespace windwright::bench
