// SPDX-License-Identifier: Apache-2.0
#include "bench/iio_table.h"

#include "base/settings.h"
#include "expect_refused.h"

#include <gtest/gtest.h>

#include <string>
#include <vector>

namespace windwright::bench {
namespace {

struct Texts {
  std::string device = "uri = \"ip:192.0.2.40\"\niio_name = \"adc0\"";
  std::string channel = "channel = \"voltage1\"";
  std::string fan =
      "device = { iio_name = \"dac0\", channel = \"voltage0\", counts_per_unit = 40 }";
};

IioDevice read(const Texts& texts) {
  const auto root = base::Settings::from_text(
      "schema = 1\n[bench]\nsample_rate_hz = 100\n[device]\n" + texts.device +
          "\n[[channel]]\ndevice = { channel = \"voltage0\" }\n[[channel]]\ndevice = { " +
          texts.channel + " }\n[[actuator]]\nlowest = 0\nhighest = 100\n" + texts.fan +
          "\n[[actuator]]\nmanual = true\n",
      "bench.toml");
  return iio_device(root, root.table("device"));
}

void expect_read_refused(const Texts& texts, const std::string& words) {
  expect_refused([&] { read(texts); }, words);
}

TEST(IioTable, TakesWhatIsSaidAndTheUsualForTheRest) {
  const IioDevice plain = read({});
  EXPECT_EQ(plain.uri, "ip:192.0.2.40");
  EXPECT_EQ(plain.channels, (std::vector<std::string>{"voltage0", "voltage1"}));
  EXPECT_EQ(plain.trigger, "");
  EXPECT_FALSE(plain.gaps_by_time);
  EXPECT_EQ(plain.timeout_s, 2.0);
  ASSERT_EQ(plain.outputs.size(), 2U);
  EXPECT_EQ(plain.outputs[0].device, "dac0");
  EXPECT_EQ(count_for(plain.outputs[0].counts, 60.0), 2400);
  EXPECT_TRUE(plain.outputs[1].device.empty());
  const IioDevice said =
      read({.device = "uri = \"local:\"\niio_name = \"adc0\"\ntrigger = \"timer0\"\n"
                      "gaps_by_time = true\ntimeout_s = 0.1"});
  EXPECT_EQ(said.trigger, "timer0");
  EXPECT_TRUE(said.gaps_by_time);
  EXPECT_EQ(said.timeout_s, 0.1);
}

TEST(IioTable, ARefusalNamesTheLine) {
  expect_read_refused({.channel = "channel = \"voltage0\""},
                      "bench.toml:10: channel 'voltage0' is read twice");
  expect_read_refused({.channel = "channel = \"volt age\""}, "bench.toml:10: channel 'volt age'");
  expect_read_refused({.device = "uri = \"ip:\"\niio_name = \"adc0\""},
                      "bench.toml:5: 'ip:' is no way to a converter");
  expect_read_refused({.device = "uri = \"local:\"\niio_name = \"adc0\"\ntimeout_s = 0.03"},
                      "bench.toml:7: timeout_s is 0.03, too short for a sample: at least 0.04 s");
  expect_read_refused({.fan = ""}, "does not know how to command this actuator");
}

}  // namespace
}  // namespace windwright::bench
