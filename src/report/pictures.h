// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "analysis/energy_chain.h"
#include "analysis/window_pairs.h"
#include "analysis/window_spectrum.h"
#include "analysis/window_statistics.h"
#include "analysis/window_view.h"

#include <span>
#include <string>

namespace windwright::report {

/// Pictures as SVG files of their own. The same arguments give the same bytes.

/// The energy chain of a window as a river: each flow as wide as its watts, reconciled where it is,
/// branches below each other, each loss peeling off; what a store gives back in another colour.
/// Empty without stages.
std::string window_chain_picture(const analysis::EnergyChain& chain);

/// Windows of one recording, or of several laid over each other: between lowest and highest of each
/// bin, its mean, and gaps.
/// @param views  at least one, all in the same unit
std::string window_picture(std::span<const analysis::View> views);
/// A window with the mean of its samples, and one standard deviation to either side.
std::string window_picture(const analysis::View& view, const analysis::WindowStatistics& figures);
/// A window with the samples at its cursors.
std::string window_picture(const analysis::View& view, const analysis::Cursors& cursors);

enum class SpectrumScale { density, amplitude };
/// Densities over both axes in decades, amplitudes over linear ones.
/// @param spectra  at least one, all in the same unit with the same lines
std::string spectrum_picture(std::span<const analysis::WindowSpectrum> spectra,
                             SpectrumScale scale);

/// One channel over another, each pair with one standard deviation either way.
std::string pairs_picture(const analysis::WindowPairs& pairs);

}  // namespace windwright::report
