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

/// One self-contained HTML page: pictures inside, no script, nothing from outside, prints well.
/// What stands where: docs/report.md. The same arguments give the same bytes.
std::string report_html(const Subject& subject, const analysis::Results& results);

/// The page on A4, through the program WeasyPrint (its own process, no shell); the same page gives
/// the same bytes. Takes a few seconds.
/// @throws BadInput            WeasyPrint does not start: says which package to install
/// @throws std::runtime_error  it failed; no file is left behind
void write_pdf(const std::filesystem::path& html, const std::filesystem::path& pdf);

}  // namespace windwright::report
