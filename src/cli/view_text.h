// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "analysis/window_pairs.h"
#include "analysis/window_spectrum.h"
#include "analysis/window_statistics.h"
#include "analysis/window_view.h"

#include <span>

namespace windwright::cli {

/// What `view` prints: CSV with `#` comments where there is a table, else lines for people. Of
/// several recordings the table has a column `recording`.
void print_views(std::span<const analysis::View> views);
void print_spectra(std::span<const analysis::WindowSpectrum> spectra);
void print_pairs(const analysis::WindowPairs& pairs);
void print_statistics(const analysis::WindowStatistics& statistics);
void print_cursors(const analysis::Cursors& cursors);

}  // namespace windwright::cli
