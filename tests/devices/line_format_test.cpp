// SPDX-License-Identifier: Apache-2.0
#include "devices/line_format.h"

#include "devices/instrument_bench.h"

#include <fmt/format.h>
#include <gtest/gtest.h>

#include <array>
#include <cmath>
#include <cstdint>
#include <random>
#include <string>
#include <vector>

namespace windwright::devices {
namespace {

std::vector<std::string> lines_of(LineSplitter& splitter) {
  std::vector<std::string> lines;
  while (const auto line = splitter.next())
    lines.push_back(line->whole ? std::string(line->text) : "(too long)");
  return lines;
}

TEST(LineSplitter, PartsBytesHoweverTheyAreCut) {
  const std::string bytes = "1,2\r\n3,4\n\n" + std::string(5000, 'x') + "\n5,6\n7";
  for (std::size_t piece : {1U, 2U, 3U, 7U, 4096U, 100000U}) {
    LineSplitter splitter(false);
    std::vector<std::string> all;
    for (std::size_t at = 0; at < bytes.size(); at += piece) {
      splitter.take(std::string_view(bytes).substr(at, piece));
      for (std::string& line : lines_of(splitter))
        all.push_back(std::move(line));
    }
    EXPECT_EQ(all, (std::vector<std::string>{"1,2", "3,4", "", "(too long)", "5,6"})) << piece;
  }
}

TEST(LineSplitter, PassesOverTheEndOfALineThatItBeginsInside) {
  LineSplitter splitter(true);
  splitter.take("2.5,7\n1,2,3\n");
  EXPECT_EQ(lines_of(splitter), std::vector<std::string>{"1,2,3"});
}

struct Read {
  LineFormat::Kind kind;
  LineStamp stamp;
  std::array<std::int32_t, 2> counts{};
};

Read read(const bench::LinesDevice& described, const std::string& line) {
  static const bench::Bench bench = instrument_bench();
  Read result{};
  result.kind = LineFormat(bench, described).read(line, result.stamp, result.counts);
  return result;
}

TEST(LineFormat, ReadsCounterAndCounts) {
  const Read found = read(counted_lines(), " 17 ,\t123, 65535");
  EXPECT_EQ(found.kind, LineFormat::Kind::sample);
  EXPECT_EQ(found.stamp.counter, 17U);
  EXPECT_EQ(found.counts, (std::array<std::int32_t, 2>{123, 65535}));
  EXPECT_EQ(read(counted_lines(), "n,a,b").kind, LineFormat::Kind::names);
}

TEST(LineFormat, RefusesWhatIsNoSample) {
  for (const char* line :
       {"", "1", "1,2", "1,2,3,4", "1,2,", "1,nan,3", "1,inf,3", "1,2,x", "1,2,3x", "-1,2,3",
        "1.5,2,3", "4294967296,2,3", "1,2.5,3", "1,65536,3", "1,-1,3", "1,0x10,3", "a,n,b"})
    EXPECT_EQ(read(counted_lines(), line).kind, LineFormat::Kind::bad) << line;
}

// volts = lower + (counts + 1/2) (upper - lower) / 2^bits, so a count's step begins at its lower
// end: 5 V of 0 to 10 V are count 32768 of 65536. Outside the range a converter saturates.
TEST(LineFormat, TurnsVoltsIntoTheConvertersCounts) {
  bench::LinesDevice volts = counted_lines();
  volts.channels[0].meaning = {};
  volts.channels[1].meaning = {.volts_per_unit = 0.01};
  EXPECT_EQ(read(volts, "1,5,500").counts, (std::array<std::int32_t, 2>{32768, 32768}));
  EXPECT_EQ(read(volts, "1,4.99999,0").counts, (std::array<std::int32_t, 2>{32767, 0}));
  EXPECT_EQ(read(volts, "1,-3,2e3").counts, (std::array<std::int32_t, 2>{0, 65535}));
  volts.channels[0].meaning.gives = bench::NumberMeaning::Gives::signed_counts;
  EXPECT_EQ(read(volts, "1,-32768,0").counts[0], 0);
  EXPECT_EQ(read(volts, "1,0,0").counts[0], 32768);
  EXPECT_EQ(read(volts, "1,32768,0").kind, LineFormat::Kind::bad);
}

TEST(LineFormat, PartsColumnsAtRunsOfBlanks) {
  bench::LinesDevice blanks = counted_lines();
  blanks.delimiter = ' ';
  const Read found = read(blanks, "  7   100\t \t200 ");
  EXPECT_EQ(found.kind, LineFormat::Kind::sample);
  EXPECT_EQ(found.counts, (std::array<std::int32_t, 2>{100, 200}));
  EXPECT_EQ(read(blanks, "7 100 200 300").kind, LineFormat::Kind::bad);
}

// The XOR of the bytes of "1,2,3" is 0x31 ^ 0x2c ^ 0x32 ^ 0x2c ^ 0x33 = 0x30, by hand.
TEST(LineFormat, ChecksTheSum) {
  bench::LinesDevice summed = counted_lines();
  summed.checksum = true;
  EXPECT_EQ(read(summed, "1,2,3*30").kind, LineFormat::Kind::sample);
  for (const char* line : {"1,2,3", "1,2,3*31", "1,2,4*30", "1,2,3*3", "1,2,3*300", "1,2,3*zz"})
    EXPECT_EQ(read(summed, line).kind, LineFormat::Kind::bad) << line;
}

// No bytes whatever stop it, and a good line between them is still found.
TEST(LineFormat, FindsTheGoodLinesAmongRandomBytes) {
  std::mt19937 random(5);
  const bench::Bench bench = instrument_bench();
  const bench::LinesDevice described = counted_lines();
  const LineFormat format(bench, described);
  LineSplitter splitter(true);
  int good = 0;
  for (int i = 0; i < 2000; ++i) {
    std::string bytes;
    const std::size_t length = random() % 300;
    const char digits[] = "0123456789,.\n\r-+enaif* \t";
    for (std::size_t k = 0; k < length; ++k)
      bytes += i % 2 == 0 ? static_cast<char>(random()) : digits[random() % (sizeof digits - 1)];
    splitter.take(bytes + fmt::format("\n{},77,88\n", i));
    std::array<std::int32_t, 2> counts{};
    LineStamp stamp;
    while (const auto line = splitter.next()) {
      if (!line->whole || format.read(line->text, stamp, counts) != LineFormat::Kind::sample)
        continue;
      for (const std::int32_t count : counts) {
        ASSERT_GE(count, 0);
        ASSERT_LT(count, 65536);
      }
      if (stamp.counter == static_cast<std::uint64_t>(i) && counts[0] == 77) ++good;
    }
  }
  EXPECT_EQ(good, 2000);
}

}  // namespace
}  // namespace windwright::devices
