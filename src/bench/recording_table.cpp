// SPDX-License-Identifier: Apache-2.0
#include "bench/recording_table.h"

#include "base/errors.h"
#include "base/settings.h"

#include <fmt/format.h>

#include <optional>
#include <string>
#include <string_view>

namespace windwright::bench {

Compression compression_named(std::string_view name, const std::string& where) {
  if (name == "none") return Compression::none;
  if (name == "deflate") return Compression::deflate;
  throw base::BadInput(where, fmt::format("compression '{}' is not known", name),
                       "'none' or 'deflate'");
}

RecordingSettings recording_from_table(const std::optional<base::Settings>& table) {
  RecordingSettings settings;
  if (table && table->has("compression")) {
    settings.compression =
        compression_named(table->text("compression"), table->place("compression"));
  }
  return settings;
}

}  // namespace windwright::bench
