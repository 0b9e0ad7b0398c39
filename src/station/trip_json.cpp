// SPDX-License-Identifier: Apache-2.0
#include "station/trip_json.h"

#include "base/clock.h"
#include "base/json.h"

#include <boost/json.hpp>

namespace windwright::station {

boost::json::object trip_json(const guard::Trip& trip) {
  return {{"interlock", trip.interlock},
          {"code", trip.seen},
          {"value", base::or_null(trip.value)},
          {"cause", trip.cause},
          {"check", trip.check},
          {"stop_category", trip.stop_category},
          {"time", base::utc_text(trip.time)}};
}

}  // namespace windwright::station
