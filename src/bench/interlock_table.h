// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "base/settings.h"
#include "bench/bench.h"
#include "bench/interlock.h"

namespace windwright::bench {

/// One [[interlock]] of bench.toml (docs/bench.md), but for its name.
/// @param bench  with its channels
/// @throws BadInput  with file and line
Interlock interlock_from_table(const base::Settings& table, const Bench& bench);

}  // namespace windwright::bench
