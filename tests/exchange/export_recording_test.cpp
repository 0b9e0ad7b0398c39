// SPDX-License-Identifier: Apache-2.0
#include "exchange/export_recording.h"

#include "base/errors.h"
#include "base/files.h"
#include "base/text.h"
#include "bench/device.h"
#include "fresh_folder.h"
#include "recording/recording.h"

#include <fmt/format.h>
#include <gtest/gtest.h>

#include <chrono>
#include <cstdint>
#include <filesystem>
#include <string>
#include <vector>

namespace windwright::exchange {
namespace {

namespace fs = std::filesystem;

recording::NewChannel channel(const std::string& name, std::int64_t every) {
  return {.name = name,
          .note = {.unit = "V",
                   .long_name = name,
                   .certificate = {},
                   .converter = {.lower_V = -0.5, .upper_V = 65535.5, .bits = 16},
                   .every = every}};
}

/// 1000 samples a second, each its own number, for `seconds` after the device's `first`.
bench::SampleBlock block_from(std::int64_t first, std::size_t samples, std::size_t channels = 2) {
  bench::SampleBlock block;
  block.first_sample = first;
  block.channels = channels;
  block.samples = samples;
  for (std::size_t c = 0; c < channels; ++c) {
    for (std::size_t i = 0; i < samples; ++i)
      block.counts.push_back(static_cast<std::int32_t>(first) + static_cast<std::int32_t>(i));
  }
  return block;
}

std::vector<std::string> lines_of(const fs::path& file) {
  return base::split(base::text_of_file(file), '\n');
}

// Of the slow channel only what was measured: nothing held, and nothing across a gap.
TEST(Export, HasASlowChannelAtItsOwnSamplesOnly) {
  const fs::path folder = fresh_folder();
  {
    auto recorder = recording::Recorder::create(folder / "all.h5", 1000.0,
                                                {channel("quick_V", 1), channel("slow_V", 10)},
                                                {.device = "d", .start = {}});
    recorder.append(block_from(0, 25));
    bench::SampleBlock later = block_from(103, 20);
    later.gap_before = true;
    recorder.append(later);
  }
  const Exported exported =
      export_recording({.file = folder / "all.h5", .into = folder / "all.csv"});
  EXPECT_EQ(exported.rows, 45);
  int values = 0;
  bool said = false;
  for (const std::string& line : lines_of(folder / "all.csv")) {
    said = said || line.find("# slow_reading_V: a value every 10 rows") == 0;
    const auto cells = base::split(line, ',');
    if (cells.size() != 3 || cells[0] == "time_s" || line[0] == '#') continue;
    if (cells[2].empty()) continue;
    ++values;
    // The first alone; the mean of ten, rounded; after the gap the mean of 103 to 108.
    const std::string wanted = cells[0] == "0"       ? "0"
                               : cells[0] == "0.01"  ? "6"
                               : cells[0] == "0.02"  ? "16"
                               : cells[0] == "0.108" ? "106"
                               : cells[0] == "0.118" ? "114"
                                                     : "nothing";
    EXPECT_EQ(cells[2], wanted) << line;
  }
  EXPECT_EQ(values, 5);
  EXPECT_TRUE(said);
}

// MATLAB's namelengthmax is 63: two longer names might be one when they are cut.
TEST(Export, RefusesANameThatAMatFileCannotHold) {
  const fs::path folder = fresh_folder();
  // Both become ..._reading_V without a certificate.
  const auto made = [&](std::size_t letters) {
    const fs::path file = folder / fmt::format("{}.h5", letters);
    recording::Recorder::create(file, 1000.0, {channel(std::string(letters, 'n') + "_V", 1)},
                                {.device = "d", .start = {}})
        .append(block_from(0, 10, 1));
    return file;
  };
  export_recording({.file = made(53), .into = folder / "all.mat"});
  EXPECT_TRUE(fs::exists(folder / "all.mat"));
  try {
    export_recording({.file = made(54), .into = folder / "none.mat"});
    FAIL();
  } catch (const base::BadInput& refused) {
    EXPECT_NE(std::string(refused.what()).find("64 characters"), std::string::npos)
        << refused.what();
  }
  EXPECT_FALSE(fs::exists(folder / "none.mat"));
}

TEST(Export, SaysHowTheClocksRan) {
  const fs::path folder = fresh_folder();
  const base::UtcTime start{std::chrono::hours(24 * 365 * 50)};
  {
    auto recorder = recording::Recorder::create(folder / "all.h5", 1000.0,
                                                {channel("quick_V", 1), channel("slow_V", 10)},
                                                {.device = "d", .start = start});
    for (std::int64_t first = 0; first < 40'000; first += 100) {
      bench::SampleBlock block = block_from(first % 60'000, 100);
      // A thousandth slow, and under way for some microseconds.
      block.received =
          start + std::chrono::nanoseconds((first + 99) * 1'001'000 + first % 700 * 10);
      recorder.append(block);
    }
  }
  const Exported exported =
      export_recording({.file = folder / "all.h5", .into = folder / "all.csv"});
  EXPECT_EQ(exported.clock.find("the device's clock ran 999.0"), 0U) << exported.clock;
  bool said = false;
  for (const std::string& line : lines_of(folder / "all.csv"))
    said = said || line == "# clock: " + exported.clock;
  EXPECT_TRUE(said);
}

}  // namespace
}  // namespace windwright::exchange
