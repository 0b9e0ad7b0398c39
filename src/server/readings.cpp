// SPDX-License-Identifier: Apache-2.0
#include "server/readings.h"

#include "base/json.h"
#include "metrology/steady_state.h"

#include <boost/json.hpp>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::server {

namespace json = boost::json;

namespace {

constexpr double looked_at_s = 8.0;  // a gust of the jet is over in a tenth of it
constexpr double widest_bin_s = 0.4;
constexpr std::int64_t fewest_bins = 12;  // of a bench that samples slowly
constexpr double one_way = 0.6;           // of the spread
constexpr double relative_drift = 0.01;   // as campaigns settle by default or finer
constexpr double drift_of_span = 0.002;
constexpr double settling_level = 0.95;

// The newest means of a channel without the bin that grows; empty where one of them has no sample.
std::vector<double> newest_means(const station::LiveBins& bins, int level, std::size_t channel) {
  const std::int64_t wanted =
      std::max<std::int64_t>(fewest_bins, std::llround(looked_at_s / bins.bin_s(level)));
  const std::int64_t end = bins.newest_bin(level);
  if (end < wanted) return {};
  std::vector<float> rows(3 * static_cast<std::size_t>(wanted));
  bins.read(level, channel, end - wanted, rows);
  const auto means = std::span(rows).last(static_cast<std::size_t>(wanted));
  if (!std::all_of(means.begin(), means.end(), [](float mean) { return std::isfinite(mean); }))
    return {};
  return {means.begin(), means.end()};
}

}  // namespace

Course course_of(std::span<const double> bin_means, double bin_s, double span) {
  constexpr std::size_t fewest = 6;
  const double seconds = bin_s * static_cast<double>(bin_means.size());
  if (bin_means.size() < fewest) return {.name = "unknown", .drift = 0.0, .seconds = seconds};
  const metrology::Drift drift =
      metrology::drift_over(bin_means, {.drift_relative = relative_drift,
                                        .drift_absolute = drift_of_span * span,
                                        .level = settling_level});
  Course course{.name = "steady", .drift = drift.drift, .seconds = seconds};
  if (drift.settled) return course;
  const auto [lowest, highest] = std::minmax_element(bin_means.begin(), bin_means.end());
  const bool goes = std::abs(drift.drift) >= one_way * (*highest - *lowest);
  course.name = !goes ? "restless" : drift.drift > 0.0 ? "rising" : "falling";
  return course;
}

std::optional<NearestBound> nearest_bound(const bench::Bench& bench, std::string_view channel,
                                          double value) {
  std::optional<NearestBound> nearest;
  const auto consider = [&](const bench::Interlock& interlock, bool above) {
    const double bound = above ? interlock.highest : interlock.lowest;
    if (!std::isfinite(bound)) return;
    const double room = above ? bound - value : value - bound;
    if (nearest && nearest->room <= room) return;
    nearest = {.interlock = interlock.name, .bound = bound, .above = above, .room = room};
  };
  for (const bench::Interlock& interlock : bench.interlocks) {
    const bool judges_it = interlock.kind == bench::Interlock::Kind::bound &&
                           interlock.channel == channel && interlock.with.empty();
    if (!judges_it) continue;
    consider(interlock, true);
    consider(interlock, false);
  }
  return nearest;
}

json::array readings_json(const bench::Bench& bench, const station::LiveBins& bins,
                          std::span<const acquisition::LiveChannel> channels,
                          const std::map<std::string, double, std::less<>>& means) {
  const int level = bins.level_for(widest_bin_s);
  json::array readings;
  for (std::size_t i = 0; i < channels.size(); ++i) {
    const acquisition::LiveChannel& channel = channels[i];
    const auto mean = means.find(channel.name);
    const double value =
        mean == means.end() ? std::numeric_limits<double>::quiet_NaN() : mean->second;
    json::object reading{{"name", channel.name}, {"value", base::or_null(value)},
                         {"course", nullptr},    {"drift", nullptr},
                         {"seconds", nullptr},   {"bound", nullptr}};
    // A waveform's means about 0 say nothing of how it goes.
    if (!bench::is_alternating(channel.name)) {
      const Course course =
          course_of(newest_means(bins, level, i), bins.bin_s(level), channel.span);
      reading["course"] = course.name;
      reading["drift"] = course.drift;
      reading["seconds"] = course.seconds;
    }
    if (const auto near = nearest_bound(bench, channel.name, value);
        near && channel.calibrated && std::isfinite(value)) {
      reading["bound"] = json::object{{"interlock", near->interlock},
                                      {"value", near->bound},
                                      {"above", near->above},
                                      {"room", near->room}};
    }
    readings.push_back(std::move(reading));
  }
  return readings;
}

}  // namespace windwright::server
