// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "metrology/budget_file.h"
#include "metrology/propagation.h"

#include <string>

namespace windwright::cli {

/// What `windwright propagate` found, and from what.
struct ShownPropagation {
  const metrology::BudgetFile& budget;
  const metrology::PropagationOptions& options;
  const metrology::Propagation& result;
  /// The same with intervals at 95 %, which the JSON names promise; equal to `result` unless
  /// another level was asked for.
  const metrology::Propagation& at_95;
};

/// One document: docs/propagate.md has the names.
std::string propagation_json(const ShownPropagation& shown);
/// The same for people: answers side by side, the budget with bars, what to improve first.
std::string propagation_text(const ShownPropagation& shown);

}  // namespace windwright::cli
