// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "base/settings.h"
#include "bench/bench.h"

namespace windwright::bench {

/// Reads `[generator]` of a bench description with its `[generator.heat]`: docs/bench.md.
/// @throws BadInput  with file and line
void read_generator_table(const base::Settings& table, Bench& bench);

}  // namespace windwright::bench
