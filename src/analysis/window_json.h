// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "analysis/window_pairs.h"
#include "analysis/window_spectrum.h"
#include "analysis/window_statistics.h"
#include "analysis/window_view.h"

#include <boost/json/fwd.hpp>

#include <span>

namespace windwright::analysis {

/// Documents of docs/recording.md. Of several recordings the first stands as if it were alone; the
/// others are `overlays`.
/// @param views, spectra  at least one
boost::json::value to_json(std::span<const View> views);
boost::json::value to_json(std::span<const WindowSpectrum> spectra);
boost::json::value to_json(const WindowPairs& pairs);
boost::json::value to_json(const WindowStatistics& statistics);
boost::json::value to_json(const Cursors& cursors);

}  // namespace windwright::analysis
