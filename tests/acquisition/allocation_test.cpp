// SPDX-License-Identifier: Apache-2.0
// From the device into the file nothing is allocated per block once all blocks have gone round.
#include "acquisition/pipeline.h"
#include "counted_allocations.h"
#include "counting_device.h"
#include "fresh_folder.h"
#include "recording/recording.h"

#include <gtest/gtest.h>

#include <cstdint>

namespace windwright::acquisition {
namespace {

TEST(Pipeline, AllocatesNothingOnceItRuns) {
  bench::Bench bench = bench_of(4, 10'000.0);
  bench.channels[2].every = 100;
  CountingDevice device(bench);
  device.gap_at = 150'000;
  auto recorder = recording::Recorder::create(fresh_folder() / "recording.h5", bench,
                                              {.device = "counting", .start = {}});
  // Counted between two blocks, on the thread that records; the other one goes on meanwhile.
  constexpr std::int64_t from = 100'000;
  constexpr std::int64_t to = 300'000;
  std::int64_t before = -1;
  std::int64_t after = -1;
  record({.device = device,
          .recorder = recorder,
          .look =
              [&](const bench::SampleBlock& block) {
                if (block.first_sample <= from) before = allocations;
                if (block.first_sample <= to) after = allocations;
              }},
         {.samples = 400'000, .queue = {.blocks = 4}}, {});
  EXPECT_GT(before, 0);
  EXPECT_EQ(after, before);
}

}  // namespace
}  // namespace windwright::acquisition
