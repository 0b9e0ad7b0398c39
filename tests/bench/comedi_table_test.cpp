// SPDX-License-Identifier: Apache-2.0
#include "bench/comedi_table.h"

#include "base/settings.h"
#include "expect_refused.h"

#include <gtest/gtest.h>

#include <string>

namespace windwright::bench {
namespace {

struct Texts {
  std::string device = "reference = \"differential\"";
  std::string channel = "channel = 3, range = 2, reference = \"ground\"";
  std::string load = "subdevice = 2, first_line = 4, lines = 2, counts = [0, 3]";
};

ComediDevice read(const Texts& texts) {
  const auto root = base::Settings::from_text(
      "schema = 1\n[device]\n" + texts.device +
          "\n[[channel]]\ndevice = { channel = 0 }\n[[channel]]\ndevice = { " + texts.channel +
          " }\n[[actuator]]\npositions = [\"none\", \"rheostat\"]\ndevice = { " + texts.load +
          " }\n[[actuator]]\nlowest = 0\nhighest = 100\n"
          "device = { subdevice = 1, channel = 0, range = 1, counts_per_unit = 40.95 }\n"
          "[[actuator]]\nmanual = true\n",
      "bench.toml");
  return comedi_device(root, root.table("device"));
}

void expect_read_refused(const Texts& texts, const std::string& words) {
  expect_refused([&] { read(texts); }, words);
}

TEST(ComediTable, TakesWhatIsSaidAndTheUsualForTheRest) {
  using Reference = ComediDevice::Reference;
  using Kind = ComediDevice::Output::Kind;
  const ComediDevice board = read({});
  EXPECT_EQ(board.file, "/dev/comedi0");
  EXPECT_FALSE(board.subdevice);
  ASSERT_EQ(board.channels.size(), 2U);
  EXPECT_FALSE(board.channels[0].range);
  EXPECT_EQ(board.channels[0].reference, Reference::differential);
  EXPECT_EQ(board.channels[1].range, 2U);
  EXPECT_EQ(board.channels[1].reference, Reference::ground);
  ASSERT_EQ(board.outputs.size(), 3U);
  EXPECT_EQ(board.outputs[0].kind, Kind::digital);
  EXPECT_EQ(board.outputs[0].channel, 4U);
  EXPECT_EQ(board.outputs[0].lines, 2U);
  EXPECT_EQ(count_for(board.outputs[0].counts, 1.0), 3);
  EXPECT_EQ(board.outputs[1].kind, Kind::analog);
  EXPECT_EQ(board.outputs[1].range, 1U);
  EXPECT_EQ(board.outputs[2].kind, Kind::by_hand);
}

TEST(ComediTable, ARefusalNamesTheLine) {
  expect_read_refused(
      {.device = "reference = \"earth\""},
      "bench.toml:3: reference 'earth' is not known: common, differential, ground or "
      "other");
  expect_read_refused({.device = "file = \"comedi0\""},
                      "bench.toml:3: 'comedi0' is no device file");
  expect_read_refused({.channel = "channel = -1"}, "bench.toml:7: channel is -1");
  expect_read_refused({.load = "subdevice = 2, first_line = 4, lines = 2, counts = [0, 4]"},
                      "bench.toml:10: 2 lines cannot show 4: counts below 4, or more lines");
}

}  // namespace
}  // namespace windwright::bench
