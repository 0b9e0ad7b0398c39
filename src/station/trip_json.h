// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "guard/interlocks.h"

#include <boost/json/object.hpp>

namespace windwright::station {

/// FirstCause of the API: in words, and as code and value for readers of another language.
boost::json::object trip_json(const guard::Trip& trip);

}  // namespace windwright::station
