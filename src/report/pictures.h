// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "analysis/energy_chain.h"
#include "analysis/window_view.h"

#include <string>

namespace windwright::report {

/// Pictures as SVG files of their own. The same arguments give the same bytes.

/// The energy chain of a window as a river: each flow as wide as its watts, reconciled where it is,
/// branches below each other, each loss peeling off; what a store gives back in another colour.
/// Empty without stages.
std::string window_chain_picture(const analysis::EnergyChain& chain);

/// A window of a recording: between lowest and highest of each bin, its mean, and gaps.
std::string window_picture(const analysis::View& view);

}  // namespace windwright::report
