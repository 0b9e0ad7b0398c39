// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "bench/bench.h"
#include "guard/tap.h"

#include <string>

namespace windwright::guard {

/// What two processes have to agree on before one may guard the other: 64 hexadecimal digits of the
/// bench's file, its rotor's file, and every certificate there is, byte by byte.
std::string configuration_of(const bench::Bench& bench);

/// The tap of a bench: by the place of its file, so that every bench has its own.
std::string tap_name(const bench::Bench& bench);

/// Its largest block.
Tap::Shape tap_shape(const bench::Bench& bench);

}  // namespace windwright::guard
