// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "base/settings.h"
#include "bench/bench.h"

namespace windwright::bench {

/// Reads `[tunnel]` of a bench description: docs/bench.md. The bench's rotor must be there already.
/// @throws BadInput  with file and line; also a section that the rotor does not fit into, and a
///                   profile beside the position factor that it stands for
void read_tunnel_table(const base::Settings& table, Bench& bench);

}  // namespace windwright::bench
