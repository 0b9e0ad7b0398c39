// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "analysis/channel_window.h"
#include "analysis/window_spectrum.h"
#include "analysis/window_statistics.h"
#include "analysis/window_view.h"
#include "base/errors.h"
#include "recording/recording.h"

#include <array>
#include <filesystem>
#include <functional>
#include <string>

namespace windwright {

/// What may be done with a recording whose bytes came from outside: shown, or refused in words as
/// bad input or as a damaged file. Anything else ends the run.
inline void shown_or_refused(const std::function<void()>& show) {
  try {
    show();
  } catch (const base::BadInput&) {
    // Refused.
  } catch (const base::DiskFault&) {
    // Refused: HDF5 could not read it.
  }
}

/// Looks at every channel in every way.
inline void see_recording(const std::filesystem::path& file) {
  shown_or_refused([&] {
    const recording::Recording recording(file);
    for (const std::string& channel : recording.channels()) {
      const analysis::WindowRequest window{.file = file, .channel = channel};
      shown_or_refused([&] { analysis::view_of({.window = window, .bins = 3}); });
      shown_or_refused([&] { analysis::view_of({.window = window, .bins = 2000}); });
      shown_or_refused([&] { analysis::statistics_of(window); });
      shown_or_refused([&] { analysis::spectrum_of({.window = window, .averages = 2}); });
      shown_or_refused([&] { analysis::cursors_of(window, std::array{0.0, 1.0, 1e9}); });
    }
  });
}

}  // namespace windwright
