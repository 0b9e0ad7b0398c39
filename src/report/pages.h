// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "analysis/power_curve.h"
#include "analysis/run_comparison.h"
#include "metrology/groups_file.h"
#include "site/annual_energy.h"

#include <string>
#include <vector>

namespace windwright::report {

/// What a page of data from elsewhere says about itself.
struct PageSource {
  std::string title;
  std::string files;     // what was read, in words
  std::string comments;  // of the file, in words; may be empty
  std::string software;  // "0.1.0"
};

/// Pages like report_html's, of other questions than a run's: each one self-contained HTML
/// document that write_pdf prints. The same arguments give the same bytes.

/// Power curve by the method of bins, its uncertainty, and the energy of a year.
/// @param cut_out_m_s  where the extrapolated energies end
std::string power_curve_html(const PageSource& source, const analysis::PowerCurve& curve,
                             const std::vector<site::SiteEnergy>& energies, double cut_out_m_s);

/// Interlaboratory comparison: what the groups of a class found, level by level.
std::string groups_html(const PageSource& source,
                        const std::vector<metrology::StudiedLevel>& levels);

/// Runs against each other.
/// @param runs  those of the comparison, in its order
std::string comparison_html(const PageSource& source,
                            const std::vector<analysis::RunToCompare>& runs,
                            const analysis::RunComparison& comparison);

}  // namespace windwright::report
