// SPDX-License-Identifier: Apache-2.0
#include "recording/recording.h"

#include "base/errors.h"
#include "base/text.h"
#include "recording/layout.h"

#include <fmt/format.h>
#include <hdf5.h>

#include <algorithm>
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
};

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
  const auto found = std::find(file_->channels.begin(), file_->channels.end(), channel);
  if (found == file_->channels.end()) {
    throw base::BadInput(file_->path.string() + ":1", fmt::format("has no channel '{}'", channel),
                         base::either_of(file_->channels));
  }
  if (first < 0 || count < 0 || first > file_->samples || count > file_->samples - first) {
    throw base::BadInput(file_->path.string() + ":1",
                         fmt::format("does not hold samples {} to {}", first, first + count),
                         fmt::format("0 to {}", file_->samples));
  }
  const auto index = static_cast<std::size_t>(found - file_->channels.begin());
  return counts_of(file_->streams[index].get(), {.first = first, .count = count}, file_->path);
}

}  // namespace windwright::recording
