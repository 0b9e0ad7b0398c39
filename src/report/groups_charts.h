// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "metrology/groups_file.h"

#include <string>

namespace windwright::report {

/// What the groups of one level found, from the least mean to the largest: repeats as dots, means
/// with twice the standard uncertainty that each states, the assigned value with its own as a band,
/// outliers and stragglers by shape and colour. Names below while they are up to 45.
std::string groups_chart(const metrology::StudiedLevel& level);

/// Scores and Mandel's h and k in the same order, with the limits that call for a look or for
/// action. A column that is cut off carries its value.
std::string scores_chart(const metrology::StudiedLevel& level);

}  // namespace windwright::report
