// SPDX-License-Identifier: Apache-2.0
#include "recording/recording.h"

#include "base/errors.h"
#include "base/text.h"
#include "recording/layout.h"
#include "recording/level.h"
#include "recording/stream_reader.h"

#include <fmt/format.h>
#include <hdf5.h>

#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <iterator>
#include <limits>
#include <memory>
#include <stdexcept>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::recording {

struct Recording::File {
  std::filesystem::path path;
  Handle file;
  Layout layout;
  std::vector<std::string> channels;
  mutable std::vector<StreamReader> streams;  // (channels)
  std::vector<Gap> gaps;
  bool gaps_are_whole = true;
  std::vector<ClockPair> clock;
  std::int64_t samples = std::numeric_limits<std::int64_t>::max();

  std::size_t index_of(std::string_view channel) const;
  StreamReader& stream(std::string_view channel, const Window& window) const;
  std::int64_t known_from(std::int64_t every, std::int64_t sample) const;
  std::int64_t known_until(std::int64_t every, const Bin& bin) const;
};

std::int64_t Recording::File::known_from(std::int64_t every, std::int64_t sample) const {
  if (every == 1) return sample;
  const auto later = std::upper_bound(
      gaps.begin(), gaps.end(), sample,
      [](std::int64_t wanted, const Gap& gap) { return wanted < gap.before_sample; });
  const std::int64_t own = sample / every * every;
  const bool held_across = later != gaps.begin() && std::prev(later)->before_sample > own;
  return held_across ? own + every : sample;
}

// One past the last sample of a bin: it may hold the channel's last across a gap.
std::int64_t Recording::File::known_until(std::int64_t every, const Bin& bin) const {
  const std::int64_t end = bin.first + bin.samples;
  const std::int64_t from = std::max(bin.first, (end - 1) / every * every);
  const auto gap = std::upper_bound(
      gaps.begin(), gaps.end(), from,
      [](std::int64_t wanted, const Gap& each) { return wanted < each.before_sample; });
  return gap == gaps.end() ? end : std::min(end, gap->before_sample);
}

std::size_t Recording::File::index_of(std::string_view channel) const {
  const auto found = std::find(channels.begin(), channels.end(), channel);
  if (found != channels.end()) return static_cast<std::size_t>(found - channels.begin());
  throw base::BadInput(path.string() + ":1", fmt::format("has no channel '{}'", channel),
                       base::either_of(channels));
}

Recording::Recording(const std::filesystem::path& file) : file_(std::make_unique<File>()) {
  file_->path = file;
  file_->file = opened_for_reading(file);
  const hid_t id = file_->file.get();
  file_->layout = layout_of(id, file);
  const std::string& device = file_->layout.source.device;
  const Handle streams =
      owned(H5Gopen2(id, streams_path(device).c_str(), H5P_DEFAULT), file, "open the streams");
  const bool has_pyramid = H5Lexists(id, "pyramid", H5P_DEFAULT) > 0;
  for (const Stream& stream : file_->layout.streams) {
    file_->channels.push_back(stream.channel);
    Handle levels;
    if (has_pyramid) {
      levels =
          owned(H5Gopen2(id, (pyramid_path(device) + "/" + stream.channel).c_str(), H5P_DEFAULT),
                file, "open a pyramid");
    }
    file_->streams.emplace_back(streams.get(), std::move(levels), stream, file);
    file_->samples = std::min(file_->samples, file_->streams.back().samples());
  }
  GapList list = gaps_of(id, device, file);
  file_->gaps = std::move(list.gaps);
  file_->gaps_are_whole = list.whole;
  file_->clock = clock_of(id, device, file);
}

Recording::Recording(Recording&& other) noexcept = default;
Recording::~Recording() = default;

const std::string& Recording::device() const {
  return file_->layout.source.device;
}

base::UtcTime Recording::start() const {
  return file_->layout.source.start;
}

const std::vector<std::string>& Recording::channels() const {
  return file_->channels;
}

ChannelNote Recording::note(std::string_view channel) const {
  const Stream& stream = file_->layout.streams[file_->index_of(channel)];
  return {.unit = stream.unit,
          .long_name = stream.long_name,
          .certificate = stream.certificate,
          .converter = {.lower_V = stream.lower_V, .upper_V = stream.upper_V, .bits = stream.bits},
          .every = stream.every};
}

const Derivation& Recording::derivation() const {
  return file_->layout.derivation;
}

double Recording::sample_rate_hz() const {
  return file_->layout.sample_rate_hz;
}

std::int64_t Recording::samples() const {
  return file_->samples;
}

const std::vector<Gap>& Recording::gaps() const {
  return file_->gaps;
}

bool Recording::gaps_are_whole() const {
  return file_->gaps_are_whole;
}

const std::vector<ClockPair>& Recording::clock() const {
  return file_->clock;
}

StreamReader& Recording::File::stream(std::string_view channel, const Window& window) const {
  StreamReader& found = streams[index_of(channel)];
  if (window.first < 0 || window.count < 0 || window.first > samples ||
      window.count > samples - window.first) {
    throw base::BadInput(
        path.string() + ":1",
        fmt::format("does not hold samples {} to {}", window.first, window.first + window.count),
        fmt::format("0 to {}", samples));
  }
  return found;
}

std::vector<std::int32_t> Recording::counts(std::string_view channel, std::int64_t first,
                                            std::int64_t count) const {
  const Window window{.first = first, .count = count};
  StreamReader& stream = file_->stream(channel, window);
  std::vector<std::int32_t> counts(static_cast<std::size_t>(count));
  stream.counts(window, true, counts);
  return counts;
}

void Recording::counts(std::string_view channel, const Window& window,
                       std::span<std::int32_t> to) const {
  file_->stream(channel, window).counts(window, true, to);
}

std::vector<Bin> Recording::bins(std::string_view channel, const Window& window,
                                 std::int64_t bins) const {
  StreamReader& stream = file_->stream(channel, window);
  if (bins < 1) throw std::logic_error("a window in less than one bin");
  const std::int64_t every = stream.every();
  if (every == 1) return stream.bins(window, bins);
  const std::int64_t end = window.first + window.count;
  const std::int64_t first = std::min(file_->known_from(every, window.first), end);
  std::vector<Bin> known = stream.bins({.first = first, .count = end - first}, bins);
  for (Bin& bin : known)
    bin.samples = file_->known_until(every, bin) - bin.first;
  return known;
}

std::int64_t Recording::known_from(std::string_view channel, std::int64_t sample) const {
  return file_->known_from(file_->layout.streams[file_->index_of(channel)].every, sample);
}

}  // namespace windwright::recording
