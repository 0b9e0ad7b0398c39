// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <string_view>

namespace windwright::metrology {

/// Checks that a text is a unit at all.
/// @throws BadInput  not a UDUNITS string
void require_unit_syntax(std::string_view unit, std::string_view where);

}  // namespace windwright::metrology
