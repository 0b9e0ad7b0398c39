// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "analysis/channel_window.h"
#include "signal/spectrum.h"

#include <cstdint>
#include <span>
#include <vector>

namespace windwright::analysis {

struct SpectrumRequest {
  WindowRequest window;
  signal::Taper taper = signal::Taper::hann;
  /// Lines at most so far apart; 0: eight segments a window, of 65 536 samples at most.
  double resolution_Hz = 0.0;
  /// Segments at most. Where the window holds more, those taken are spread evenly over it, so that
  /// the time it takes does not grow with the window.
  std::int64_t averages = 256;
};

struct WindowSpectrum {
  SeenChannel seen;
  signal::Taper taper;
  signal::Spectrum spectrum;
  std::int64_t segments_there;  // in the window; none of them reaches over a gap
};

/// Spectrum of single samples (docs/theory/spectrum.md).
/// @throws BadInput  as view_of; no stretch between gaps that is as long as a segment, a resolution
///                   that needs a segment above 4 194 304 samples or below 8
WindowSpectrum spectrum_of(const SpectrumRequest& request);

/// Of several recordings, to be laid over each other.
/// @throws BadInput  as spectrum_of; one in another unit or with other lines than the first
std::vector<WindowSpectrum> spectra_of(std::span<const SpectrumRequest> requests);

}  // namespace windwright::analysis
