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
  std::int64_t samples = std::numeric_limits<std::int64_t>::max();

  std::size_t index_of(std::string_view channel) const;
  StreamReader& stream(std::string_view channel, const Window& window) const;
};

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
  file_->gaps = gaps_of(id, device, file);
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

double Recording::sample_rate_hz() const {
  return file_->layout.sample_rate_hz;
}

std::int64_t Recording::samples() const {
  return file_->samples;
}

const std::vector<Gap>& Recording::gaps() const {
  return file_->gaps;
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
  return stream.bins(window, bins);
}

}  // namespace windwright::recording
