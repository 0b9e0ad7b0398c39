// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "metrology/budget_file.h"
#include "metrology/propagation.h"

#include <string>

namespace windwright::report {

/// What `windwright propagate` found, as a picture that is a file of its own: for each output the
/// intervals of the methods one below the other on a common scale, and the inputs by what they
/// contribute, with what halving each one's uncertainty would bring.
/// @return  a whole SVG document
std::string budget_picture(const metrology::BudgetFile& budget,
                           const metrology::Propagation& result, double level);

}  // namespace windwright::report
