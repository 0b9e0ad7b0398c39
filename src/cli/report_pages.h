// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "cli/reduce_bins.h"

#include <optional>
#include <string>
#include <vector>

namespace windwright::cli {

/// What `report` is asked for beside the report of a single run.
struct PagesRequest {
  std::vector<std::string> what;
  std::string into;
  std::string title;
  std::string rotor;
  std::string reference;
  std::optional<double> section_area_m2;
  bool same_sensors = false;
  BinsRequest bins;
  bool pdf = false;
  bool json = false;
};

/// Power curve (with --bins), interlaboratory comparison (a CSV of groups), or comparison of two or
/// more runs: `report.html`, `results.json` and perhaps `report.pdf` into a folder.
/// @throws BadInput  before anything is written: no folder named, options that do not go together,
///                   and as the verbs that show the same
/// @return  exit code
int report_pages(const PagesRequest& request);

}  // namespace windwright::cli
