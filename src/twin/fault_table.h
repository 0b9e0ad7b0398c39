// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "base/settings.h"
#include "bench/bench.h"
#include "twin/fault.h"
#include "twin/scenario.h"

namespace windwright::twin {

/// One [[fault]] of a scenario (docs/bench.md).
/// @throws BadInput  with file and line: not a fault, or not one of this bench
ScenarioFault fault_from_table(const base::Settings& table, const bench::Bench& bench);

/// Two faults that act through one part, so that the end of one would end the other, too.
bool share_a_part(const Fault& one, const Fault& other);

}  // namespace windwright::twin
