// SPDX-License-Identifier: Apache-2.0
#include "bench/instrument_tables.h"

#include "base/settings.h"
#include "bench/mqtt_table.h"
#include "expect_refused.h"

#include <gtest/gtest.h>

#include <string>
#include <variant>

namespace windwright::bench {
namespace {

using base::Settings;

std::string bench_of(const std::string& device, const std::string& channel_a,
                     const std::string& channel_b, const std::string& actuator) {
  return "schema = 1\n[bench]\nsample_rate_hz = 100\n[device]\n" + device +
         "[[channel]]\ndevice = { " + channel_a + " }\n[[channel]]\ndevice = { " + channel_b +
         " }\n[[actuator]]\npositions = [\"none\", \"rheostat\"]\ndevice = { " + actuator +
         " }\n[[actuator]]\nmanual = true\n";
}

LinesDevice lines(const std::string& device, const std::string& channel_a = "column = \"a\"",
                  const std::string& channel_b = "column = 3",
                  const std::string& actuator = "command = \"LOAD {value}\"") {
  const Settings root =
      Settings::from_text(bench_of(device, channel_a, channel_b, actuator), "bench.toml");
  LinesDevice found = lines_device(root, root.table("device"));
  return found;
}

const std::string serial = "port = \"/dev/ttyACM0\"\ncolumn_names = [\"n\", \"a\", \"b\"]\n";

TEST(LinesTable, ReadsColumnsByNameAndByNumber) {
  const LinesDevice found = lines(serial + "counter_column = \"n\"\ntime_unit = \"ms\"\n");
  EXPECT_EQ(std::get<SerialPort>(found.endpoint).baud, 115200);
  EXPECT_EQ(found.columns, 3U);
  EXPECT_EQ(found.channels[0].index, 1U);
  EXPECT_EQ(found.channels[1].index, 2U);
  EXPECT_EQ(found.counter, 0U);
  EXPECT_FALSE(found.time);
  EXPECT_EQ(command_for(found.commands[0], 1.0), "LOAD 1");
  EXPECT_TRUE(found.commands[1].text.empty());
}

TEST(LinesTable, RefusesWhatCannotBe) {
  const auto refused = [](const std::string& device, const std::string& words) {
    expect_refused([&] { lines(device); }, words);
  };
  refused("column_names = [\"n\", \"a\", \"b\"]\n", "has neither a host nor a serial port");
  refused("host = \"h\"\ncolumns = 3\n", "port");
  refused(serial + "baud = 2400\n",
          "bench.toml:7: 2400 baud cannot carry 100 lines a second of 3 columns: at most 40");
  refused(serial + "counter_column = \"m\"\n", "no column is named 'm': n, a or b");
  refused(serial + "counter_column = \"a\"\n", "column 2 is read twice");
  refused(serial + "counter_column = 1\ntime_column = 1\n", "is the counter's column");
  refused(serial + "delimiter = \"5\"\n", "'5' cannot part numbers");
  refused(serial + "parity = \"some\"\n", "parity 'some' is not known: none, even or odd");
  refused(serial + "gives = \"bits\"\n", "gives 'bits' is not known");
  expect_refused([] { lines(serial, "column = 4"); }, "column");
  expect_refused([] { lines(serial, "column = 3"); }, "column 3 is read twice");
  expect_refused([] { lines(serial, "column = 2, volts_per_unit = 0"); }, "volts_per_unit is 0");
  expect_refused([] { lines(serial, "column = 2", "column = 3", "command = \"LOAD\""); },
                 "the command has no {value}");
  expect_refused(
      [] { lines(serial, "column = 2", "column = 3", "command = \"A {value}\\nFAN 100\""); },
      "command is not one line of text");
  expect_refused(
      [] {
        lines(serial, "column = 2", "column = 3", "command = \"LOAD {value}\", values = [\"OFF\"]");
      },
      "1 values for 2 positions");
}

TEST(ScpiTable, ChannelsWithOneQueryShareIt) {
  const auto scpi = [](const std::string& device, const std::string& a, const std::string& b) {
    const Settings root = Settings::from_text(
        bench_of(device, a, b, "command = \"OUTP {value}\", values = [\"OFF\", \"ON\"]"),
        "bench.toml");
    return scpi_device(root, root.table("device"));
  };
  const ScpiDevice shared = scpi("host = \"h\"\nquery = \"READ?\"\n", "item = 2", "item = 1");
  EXPECT_EQ(std::get<TcpAddress>(shared.endpoint).port, 5025);
  ASSERT_EQ(shared.queries.size(), 1U);
  EXPECT_EQ(shared.queries[0].items[0].index, 1U);
  EXPECT_EQ(shared.queries[0].items[1].channel, 1U);
  EXPECT_EQ(command_for(shared.commands[0], 1.0), "OUTP ON");
  EXPECT_EQ(shared.stop_command, "");
  const std::string able = "host = \"h\"\nquery = \"READ?\"\nstop_command = ";
  EXPECT_EQ(scpi(able + "\"*RST\"\n", "item = 2", "item = 1").stop_command, "*RST");
  expect_refused([&] { scpi(able + "\"*RST\\n*RST\"\n", "item = 2", "item = 1"); },
                 "stop_command is not one line");
  EXPECT_EQ(scpi("host = \"h\"\n", "query = \"A?\"", "query = \"B?\"").queries.size(), 2U);
  expect_refused([&] { scpi("host = \"h\"\n", "query = \"A?\"", "item = 1"); }, "query");
}

TEST(MqttTable, RefusesWildcardsAndWhatIsOldBeforeItIsLookedAt) {
  const auto mqtt = [](const std::string& device, const std::string& a) {
    const Settings root = Settings::from_text(
        bench_of(device, a, "topic = \"bench/b\", member = \"/x\"", "topic = \"bench/load\""),
        "bench.toml");
    return mqtt_device(root, root.table("device"), ".");
  };
  const std::string device = "host = \"h\"\nstale_s = 0.5\n";
  const MqttDevice found = mqtt(device, "topic = \"bench/a\"");
  EXPECT_EQ(found.broker.port, 1883);
  EXPECT_EQ(found.channels[1].member, "/x");
  EXPECT_EQ(found.commands[0].topic, "bench/load");
  EXPECT_EQ(command_for(found.commands[0].payload, 1.0), "1");
  EXPECT_TRUE(found.commands[1].topic.empty());
  for (const char* topic : {"bench/+", "#", "$SYS/broker"})
    expect_refused([&] { mqtt(device, "topic = \"" + std::string(topic) + "\""); },
                   "is not one topic");
  expect_refused([&] { mqtt(device, "topic = \"a\", member = \"x\""); },
                 "'x' is not a JSON pointer");
  expect_refused([&] { mqtt("host = \"h\"\nstale_s = 0.01\n", "topic = \"a\""); },
                 "is shorter than the time between two samples: at least 0.015 s");
  expect_refused([&] { mqtt(device + "password_file = \"p\"\n", "topic = \"a\""); },
                 "is there without a user");
  expect_refused([&] { mqtt(device + "user = \"u\"\npassword = \"p\"\n", "topic = \"a\""); },
                 "is a password in a file that is copied into every run");
  // A run is read where its broker's files are not: they are looked for when they are needed.
  const std::string named = "user = \"u\"\npassword_file = \"no-such\"\nca_file = \"no-ca\"\n";
  const MqttBroker broker = mqtt(device + named, "topic = \"a\"").broker;
  EXPECT_EQ(broker.port, 8883);
  expect_refused([&] { password_of(broker); }, "there is no file '");
  expect_refused([&] { require_ca_file(broker); }, "there is no file '");
}

}  // namespace
}  // namespace windwright::bench
