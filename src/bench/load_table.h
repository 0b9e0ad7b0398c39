// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "base/settings.h"
#include "physics/load_set.h"
#include "physics/loads.h"

namespace windwright::bench {

/// Reads one [[dc_load]] or [[ac_load]]: docs/bench.md. Cold (298.15 K) and off.
/// @throws BadInput  with file and line
physics::SwitchedLoad read_load(const base::Settings& table, bool alternating);

/// Reads [loads]: what hangs on the bridge's terminals where there is no battery.
/// @throws BadInput  with file and line
physics::Loads read_bridge_loads(const base::Settings& table);
/// No lamps, and a rheostat that nobody connects.
physics::Loads no_bridge_loads();

}  // namespace windwright::bench
