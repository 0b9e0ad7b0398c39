// SPDX-License-Identifier: Apache-2.0
#include "metrology/units.h"

#include "base/errors.h"
#include "base/units.h"

#include <fmt/format.h>

#include <string_view>

namespace windwright::metrology {

void require_unit_syntax(std::string_view unit, std::string_view where) {
  try {
    // In brackets it is the same unit in other letters: equal texts are let pass unread.
    base::require_unit(unit, fmt::format("({})", unit), where);
  } catch (const base::BadInput&) {
    throw base::BadInput(where, fmt::format("'{}' is not a unit", unit),
                         "a UDUNITS string such as \"m s-1\" or \"V\"");
  }
}

}  // namespace windwright::metrology
