// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "bench/bench.h"
#include "bench/instrument_tables.h"

#include <cstdint>
#include <optional>

namespace windwright::devices {

/// The count that a number from an instrument stands for. Volts outside the range of the converter
/// (and infinite ones) give its first or last count, as a converter does.
/// @return  nothing where it is not a number, or no count of this converter
std::optional<std::int32_t> count_of(const bench::Converter& converter,
                                     const bench::NumberMeaning& meaning, double number);

}  // namespace windwright::devices
