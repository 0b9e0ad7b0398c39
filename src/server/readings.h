// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "acquisition/live_values.h"
#include "bench/bench.h"
#include "station/live_bins.h"

#include <boost/json.hpp>

#include <cstddef>
#include <map>
#include <optional>
#include <span>
#include <string>
#include <string_view>

namespace windwright::server {

/// How a channel goes, by the means of its newest bins.
struct Course {
  /// steady: settled by metrology::drift_over; rising or falling: most of the spread is one way;
  /// restless: neither; unknown: a gap, or too few bins yet.
  std::string_view name;
  double drift;    // over that time, in the channel's unit; 0 where unknown
  double seconds;  // looked at
};

/// @param bin_means  evenly spaced, in time; without the bin that still grows
/// @param span       from the lowest to the highest that the channel can show: a drift of 0.2 % of
///                   it counts as none, as does one of 1 % of the mean
Course course_of(std::span<const double> bin_means, double bin_s, double span);

/// The bound of an interlock that a channel is nearest to.
struct NearestBound {
  std::string_view interlock;
  double bound;
  bool above;   // trips above it
  double room;  // to it; below 0: beyond
};
/// Of those interlocks that judge the channel alone; nothing where there is none.
std::optional<NearestBound> nearest_bound(const bench::Bench& bench, std::string_view channel,
                                          double value);

/// docs/openapi.json, Readings without its head: what every channel says now and what that means.
/// @param channels  as the bins have them
/// @param means     by name, of the newest half second or so; alternating: root mean square
boost::json::array readings_json(const bench::Bench& bench, const station::LiveBins& bins,
                                 std::span<const acquisition::LiveChannel> channels,
                                 const std::map<std::string, double, std::less<>>& means);

}  // namespace windwright::server
