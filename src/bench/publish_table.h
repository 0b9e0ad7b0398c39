// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "bench/mqtt_broker.h"

#include <filesystem>
#include <optional>
#include <string>

namespace windwright::base {
class Settings;
}

namespace windwright::bench {

/// Where and how often a bench's values are published while it is recorded.
struct PublishDescription {
  MqttBroker broker;
  std::string topic;  // `prefix/bench`: everything of this bench is below it
  double interval_s;
};

/// What [publish] says, if it is there: docs/publishing.md.
/// @throws BadInput  with file and line
std::optional<PublishDescription> publish_from_tables(const base::Settings& root,
                                                      const std::filesystem::path& folder);

}  // namespace windwright::bench
