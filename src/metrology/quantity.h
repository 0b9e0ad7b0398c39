// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "metrology/estimate.h"

#include <boost/json/fwd.hpp>

#include <string_view>

namespace windwright::metrology {

/// `{"value": x, "u": standard uncertainty, "dof": degrees of freedom or null, "unit": "..."}`: how
/// every quantity with uncertainty stands in JSON. `dof` is null where it is infinite.
/// @param unit  UDUNITS string
boost::json::value quantity(const Estimate& estimate, std::string_view unit);

}  // namespace windwright::metrology
