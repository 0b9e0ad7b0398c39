// SPDX-License-Identifier: Apache-2.0
#include "acquisition/capture.h"

#include "base/errors.h"
#include "base/text.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <string>
#include <vector>

namespace windwright::acquisition {
namespace {

std::size_t index_of(const LiveValues& live, const std::string& channel) {
  std::vector<std::string> names;
  for (const LiveChannel& each : live.channels())
    names.push_back(each.name);
  const auto found = std::find(names.begin(), names.end(), channel);
  if (found == names.end()) {
    throw base::BadInput("trigger", fmt::format("there is no channel '{}'", channel),
                         base::either_of(names));
  }
  return static_cast<std::size_t>(found - names.begin());
}

}  // namespace

Capture::Capture(const bench::Bench& bench, const std::string& device, LiveValues& live,
                 const CaptureOptions& options)
    : live_(live),
      watch_(options.trigger),
      channel_(index_of(live, options.trigger.channel)),
      before_(std::llround(options.before_s * bench.sample_rate_hz)),
      after_(std::llround(options.after_s * bench.sample_rate_hz)),
      // A block may end anywhere behind the last sample wanted.
      ring_(bench, device, options.before_s + options.after_s + 4.0 * bench.block_s) {}

bool Capture::take(const bench::SampleBlock& block) {
  live_.take(block);
  const std::int64_t first = ring_.end();
  ring_.append(block);
  if (!at_) {
    if (block.gap_before) watch_.forget();
    if (const auto found = watch_.look(live_.values(channel_)))
      at_ = first + static_cast<std::int64_t>(*found);
  }
  return at_ && ring_.end() >= *at_ + after_;
}

recording::Window Capture::save(const std::filesystem::path& file) const {
  return ring_.save(file, {.first = *at_ - before_, .count = before_ + after_});
}

}  // namespace windwright::acquisition
