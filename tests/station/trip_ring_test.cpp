// SPDX-License-Identifier: Apache-2.0
#include "station/trip_ring.h"

#include "bench/bench.h"
#include "counted_allocations.h"
#include "fresh_folder.h"
#include "recording/recording.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <chrono>
#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <memory>
#include <vector>

namespace windwright::station {
namespace {

namespace fs = std::filesystem;

bench::Bench demo_bench() {
  return bench::bench_from_file(fs::path(SOURCE_FOLDER) / "examples/saltmarsh-college/bench.toml");
}

// Every count is the number of its second, so that a stretch says where it is from.
bench::SampleBlock second(const bench::Bench& bench, std::int64_t number) {
  bench::SampleBlock block;
  block.samples = static_cast<std::size_t>(bench.sample_rate_hz);
  block.channels = bench.channels.size();
  block.first_sample = number * static_cast<std::int64_t>(block.samples);
  block.start = bench.simulation->start + std::chrono::seconds(number);
  block.gap_before = false;
  block.counts.assign(block.samples * block.channels, static_cast<std::int32_t>(number));
  return block;
}

TEST(TripRing, KeepsTheMinuteAroundATripAndBeginsAnew) {
  const bench::Bench bench = demo_bench();
  TripRing ring(bench, "bench");
  std::unique_ptr<const acquisition::Ring> kept;
  std::int64_t number = 0;
  for (; number < 100; ++number)
    ASSERT_EQ(ring.append(second(bench, number)), nullptr) << "nothing has tripped";
  ring.tripped();
  for (; !kept && number < 200; ++number) {
    if (number == 105) ring.tripped();  // does not put it off
    kept = ring.append(second(bench, number));
  }
  ASSERT_NE(kept, nullptr);
  EXPECT_EQ(number, 110) << "ten seconds behind the trip";
  EXPECT_EQ(ring.append(second(bench, number)), nullptr);

  const fs::path folder = fresh_folder();
  const recording::Window all{.first = kept->first(), .count = kept->end() - kept->first()};
  kept->save(folder / "trip-001.h5", all);
  const recording::Recording file(folder / "trip-001.h5");
  ASSERT_EQ(file.samples(), 60'000);
  const std::vector<std::int32_t> counts =
      file.counts(bench.channels.front().name, 0, file.samples());
  EXPECT_EQ(counts.front(), 50);
  EXPECT_EQ(counts.back(), 109);
  EXPECT_TRUE(std::is_sorted(counts.begin(), counts.end()));
}

// Whoever drives the bench does not make the next minute's memory: that is another thread's.
TEST(TripRing, MakesNoRingOnTheThreadThatDrives) {
  const bench::Bench bench = demo_bench();
  TripRing ring(bench, "bench");
  const bench::SampleBlock block = second(bench, 0);
  const std::size_t before = bytes_allocated_here;
  ring.tripped();
  std::unique_ptr<const acquisition::Ring> kept;
  while (!kept)
    kept = ring.append(block);
  EXPECT_LT(bytes_allocated_here - before, 4'096U);
}

TEST(TripRing, GivesWhatThereIsWhereTheDeviceIsLost) {
  const bench::Bench bench = demo_bench();
  TripRing ring(bench, "bench");
  EXPECT_EQ(ring.end(), nullptr);
  ring.append(second(bench, 0));
  EXPECT_EQ(ring.end(), nullptr) << "nothing has tripped";
  ring.tripped();
  const auto kept = ring.end();
  ASSERT_NE(kept, nullptr);
  EXPECT_EQ(kept->end(), 1000);
}

}  // namespace
}  // namespace windwright::station
