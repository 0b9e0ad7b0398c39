// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "bench/bench.h"

#include <string_view>
#include <vector>

namespace windwright::guard {

/// One thing to do at the bench before a session.
struct ChecklistStep {
  std::string_view id;    // stays the same between versions: for the logbook
  std::string_view what;  // in the imperative
  std::string_view why;
  bool battery_only;  // for benches with a battery and what hangs on it
};

/// What to do before each session, in this order: a step that cannot be ticked off ends it. It does
/// not replace the laboratory's own rules. Source: common practice, no source; the order (isolated
/// first, then the stops, then the sensors) follows from what each step relies on. docs/safety.md
/// shows the same list.
std::vector<ChecklistStep> start_of_session();
/// The steps that concern this bench.
std::vector<ChecklistStep> start_of_session(const bench::Bench& bench);

}  // namespace windwright::guard
