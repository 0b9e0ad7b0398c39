// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "analysis/results.h"
#include "campaign/conductor.h"

#include <filesystem>
#include <optional>
#include <string>

namespace windwright::report {

/// What a report is about. A run gives everything; points measured elsewhere leave `run` out.
struct Subject {
  std::string title;
  std::string source;  // of points measured elsewhere, in words
  const campaign::Run* run = nullptr;
};

/// One self-contained HTML page: pictures inside, no script, prints well.
std::string report_html(const Subject& subject, const analysis::Results& results);

/// @throws std::runtime_error  WeasyPrint is missing or failed: says which package to install
void write_pdf(const std::filesystem::path& html, const std::filesystem::path& pdf);

}  // namespace windwright::report
