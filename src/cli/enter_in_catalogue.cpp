// SPDX-License-Identifier: Apache-2.0
#include "cli/enter_in_catalogue.h"

#include "catalogue/catalogue.h"
#include "catalogue/entry.h"

#include <fmt/format.h>

#include <exception>
#include <filesystem>
#include <optional>
#include <string>

namespace windwright::cli {

void enter_in_catalogue(const std::string& named, const std::filesystem::path& bench_file,
                        const std::filesystem::path& path) {
  if (named == "none" || !std::filesystem::exists(path)) return;
  try {
    const std::optional<std::string> location =
        named.empty() ? catalogue::catalogue_of_folder(bench_file.parent_path()) : named;
    if (!location) return;
    const catalogue::Entry entry = catalogue::entry_of(path);
    if (entry.kind == catalogue::Entry::Kind::run && entry.points.empty()) return;
    catalogue::Catalogue::open(*location, !named.empty()).add(entry);
  } catch (const std::exception& error) {
    // The place to catch it: the measurement stands, whatever the catalogue does.
    fmt::print(stderr, "{}\nnot entered in the catalogue: `windwright catalogue add {}` does it\n",
               error.what(), path.string());
  }
}

}  // namespace windwright::cli
