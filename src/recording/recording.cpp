// SPDX-License-Identifier: Apache-2.0
#include "recording/recording.h"

#include "base/errors.h"
#include "base/text.h"
#include "recording/layout.h"

#include <fmt/format.h>
#include <hdf5.h>

#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <limits>
#include <memory>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::recording {

struct Recording::File {
  std::filesystem::path path;
  Handle file;
  Layout layout;
  std::vector<std::string> channels;
  std::vector<Handle> streams;  // (channels)
  std::vector<Gap> gaps;
  std::int64_t samples = std::numeric_limits<std::int64_t>::max();

  std::size_t index_of(std::string_view channel) const;
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
  for (const Stream& stream : file_->layout.streams) {
    file_->channels.push_back(stream.channel);
    const std::string name = streams_path(device) + "/" + stream.channel;
    file_->streams.push_back(owned(H5Dopen2(id, name.c_str(), H5P_DEFAULT), file, "open a stream"));
    file_->samples = std::min(file_->samples, length_of(file_->streams.back().get(), file));
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
          .converter = {.lower_V = stream.lower_V, .upper_V = stream.upper_V, .bits = stream.bits}};
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

std::vector<std::int32_t> Recording::counts(std::string_view channel, std::int64_t first,
                                            std::int64_t count) const {
  const std::size_t index = file_->index_of(channel);
  if (first < 0 || count < 0 || first > file_->samples || count > file_->samples - first) {
    throw base::BadInput(file_->path.string() + ":1",
                         fmt::format("does not hold samples {} to {}", first, first + count),
                         fmt::format("0 to {}", file_->samples));
  }
  return counts_of(file_->streams[index].get(), {.first = first, .count = count}, file_->path);
}

}  // namespace windwright::recording
