// SPDX-License-Identifier: Apache-2.0
// Inside the recording module only: what a new recording is to say before its first sample.
#pragma once

#include "bench/bench.h"
#include "recording/layout.h"
#include "recording/recording.h"

#include <vector>

namespace windwright::recording {

/// In the bench's order, each with the text of its certificate where that is there.
std::vector<NewChannel> channels_of(const bench::Bench& bench);

Layout layout_from(double sample_rate_hz, const std::vector<NewChannel>& channels,
                   const Source& source, bench::Compression compression);

}  // namespace windwright::recording
