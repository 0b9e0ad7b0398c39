// SPDX-License-Identifier: Apache-2.0
#pragma once

#include <string>
#include <string_view>

namespace windwright::base {

/// UDUNITS string that belongs to a name's suffix: `air_speed_m_s` gives "m s-1", a name without a
/// unit suffix "1". The closed table stands in docs/conventions.md.
std::string unit_of_name(std::string_view name);

/// The name without its unit suffix: `air_speed_m_s` gives "air_speed".
std::string without_unit(std::string_view name);

/// A unit as it follows a number in a sentence: with a space before it, and nothing at all for "1".
std::string spoken_unit(std::string_view unit);
/// A quantity as it heads a column or an axis: `known, m s-1`, and `known` where the unit is "1".
std::string with_unit(std::string_view quantity, std::string_view unit);

/// Checks a unit that came in as text against the one that is wanted.
/// @param where  `file:line`, for the message
/// @throws BadInput  not a UDUNITS string, another quantity, or the same quantity in another scale
///                   (then the message gives the factor: values are never rescaled in silence)
void require_unit(std::string_view unit, std::string_view wanted, std::string_view where);

}  // namespace windwright::base
