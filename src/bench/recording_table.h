// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <optional>
#include <string>
#include <string_view>

namespace windwright::base {
class Settings;
}

namespace windwright::bench {

/// What a recording's counts go through on their way to the disk; nothing is lost by either.
enum class Compression { none, deflate };

/// How samples are kept: table [recording] of bench.toml.
struct RecordingSettings {
  Compression compression = Compression::none;
};

/// @param where  for the message
/// @throws BadInput  no such compression
Compression compression_named(std::string_view name, const std::string& where);

/// @throws BadInput  with file and line
RecordingSettings recording_from_table(const std::optional<base::Settings>& table);

}  // namespace windwright::bench
