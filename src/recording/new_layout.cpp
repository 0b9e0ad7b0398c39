// SPDX-License-Identifier: Apache-2.0
#include "recording/new_layout.h"

#include "base/files.h"
#include "bench/bench.h"
#include "recording/layout.h"
#include "recording/recording.h"

#include <algorithm>
#include <filesystem>
#include <string>
#include <vector>

namespace windwright::recording {

std::vector<NewChannel> channels_of(const bench::Bench& bench) {
  std::vector<NewChannel> channels;
  for (const bench::Channel& channel : bench.channels) {
    const bool certified = std::filesystem::is_regular_file(channel.certificate);
    channels.push_back({.name = channel.name,
                        .note = {.unit = channel.unit,
                                 .long_name = channel.long_name,
                                 .certificate = certified ? base::text_of_file(channel.certificate)
                                                          : std::string(),
                                 .converter = channel.converter,
                                 .every = channel.every}});
  }
  return channels;
}

Layout layout_from(double sample_rate_hz, const std::vector<NewChannel>& channels,
                   const Source& source, bench::Compression compression) {
  Layout layout{.source = source, .sample_rate_hz = sample_rate_hz, .streams = {}};
  std::replace(layout.source.device.begin(), layout.source.device.end(), '/', '-');
  for (const NewChannel& channel : channels) {
    layout.streams.push_back(
        {.channel = channel.name,
         .unit = channel.note.unit,
         .long_name = channel.note.long_name,
         .certificate = channel.note.certificate,
         .lower_V = channel.note.converter.lower_V,
         .upper_V = channel.note.converter.upper_V,
         .bits = channel.note.converter.bits,
         .every = channel.note.every,
         .packed = compression == bench::Compression::deflate &&
                   can_be_packed(sample_rate_hz / static_cast<double>(channel.note.every))});
  }
  return layout;
}

}  // namespace windwright::recording
