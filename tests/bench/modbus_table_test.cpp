// SPDX-License-Identifier: Apache-2.0
#include "bench/modbus_table.h"

#include "base/errors.h"
#include "base/files.h"
#include "base/settings.h"
#include "base/text.h"
#include "bench/bench.h"
#include "bench/device_table.h"

#include <fmt/format.h>
#include <gtest/gtest.h>

#include <string>
#include <variant>
#include <vector>

namespace windwright::bench {
namespace {

/// Two channels, three actuators, the last set by a person.
Bench small_bench() {
  Bench bench{};
  bench.file = "/benches/bench.toml";
  for (const auto& [name, bits] : {std::pair("air_speed_m_s", 16), std::pair("dc_voltage_V", 24)}) {
    Channel channel{};
    channel.name = name;
    channel.converter = {.lower_V = 0.0, .upper_V = 10.0, .bits = bits};
    bench.channels.push_back(channel);
  }
  Actuator fan{};
  fan.name = "fan_pct";
  fan.highest = 100.0;
  Actuator pitch{};
  pitch.name = "pitch_deg";
  pitch.lowest = -5.0;
  pitch.highest = 20.0;
  Actuator blades{};
  blades.name = "blade_count";
  blades.manual = true;
  bench.actuators = {fan, pitch, blades};
  return bench;
}

const std::string whole = R"(schema = 1
[device]
kind = "modbus_tcp"
host = "192.0.2.7"
[[channel]]
name = "air_speed_m_s"
[channel.device]
address = 3
[[channel]]
name = "dc_voltage_V"
[channel.device]
address = 10
table = "holding"
type = "float32"
word_order = "low_first"
[[actuator]]
name = "fan_pct"
[actuator.device]
address = 0
scale = 100
[[actuator]]
name = "pitch_deg"
[actuator.device]
address = 1
type = "int16"
scale = 100
[[actuator]]
name = "blade_count"
)";

std::string with(const std::string& old, const std::string& changed, std::string text = whole) {
  const auto at = text.find(old);
  EXPECT_NE(at, std::string::npos) << old;
  return text.replace(at, old.size(), changed);
}

DeviceDescription described(const std::string& text) {
  return device_from_tables(base::Settings::from_text(text, "bench.toml"), small_bench());
}

std::string complaint(const std::string& text) {
  try {
    described(text);
  } catch (const base::BadInput& error) {
    return error.what();
  }
  return "no complaint";
}

TEST(ModbusTable, ReadsWhatItNames) {
  const DeviceDescription read = described(whole);
  const auto& device = std::get<ModbusTcpDevice>(read);
  EXPECT_EQ(device.host, "192.0.2.7");
  EXPECT_EQ(device.port, 502);
  EXPECT_EQ(device.unit.unit, 255);
  EXPECT_EQ(device.unit.timeout_s, 0.5);
  EXPECT_EQ(device.unit.longest_outage_s, 10.0);
  EXPECT_FALSE(device.unit.heartbeat_address);
  ASSERT_EQ(device.unit.channels.size(), 2U);
  EXPECT_EQ(device.unit.channels[0].address, 3);
  EXPECT_EQ(device.unit.channels[0].table, RegisterTable::input);
  EXPECT_EQ(device.unit.channels[0].type, RegisterType::uint16);
  EXPECT_EQ(device.unit.channels[1].table, RegisterTable::holding);
  EXPECT_EQ(device.unit.channels[1].type, RegisterType::float32);
  EXPECT_EQ(device.unit.channels[1].order, WordOrder::low_first);
  ASSERT_EQ(device.unit.actuators.size(), 3U);
  EXPECT_EQ(device.unit.actuators[0]->scale, 100.0);
  EXPECT_EQ(device.unit.actuators[1]->place.type, RegisterType::int16);
  EXPECT_FALSE(device.unit.actuators[2]);
}

TEST(ModbusTable, ASerialLineHasElevenBitsACharacter) {
  const std::string serial = with("kind = \"modbus_tcp\"\nhost = \"192.0.2.7\"",
                                  "kind = \"modbus_rtu\"\nport = \"/dev/ttyUSB0\"\nunit = 3");
  const DeviceDescription read = described(serial);
  const auto& device = std::get<ModbusRtuDevice>(read);
  EXPECT_EQ(device.port, "/dev/ttyUSB0");
  EXPECT_EQ(device.baud, 19200);
  EXPECT_EQ(device.parity, 'E');
  EXPECT_EQ(device.stop_bits, 1);
  EXPECT_EQ(device.unit.unit, 3);
  const DeviceDescription bare = described(with("unit = 3", "unit = 3\nparity = \"none\"", serial));
  EXPECT_EQ(std::get<ModbusRtuDevice>(bare).stop_bits, 2);
  EXPECT_EQ(complaint(with("\nunit = 3", "", serial)),
            "bench.toml:2: key 'unit' is missing in [device]: unit = a whole number");
}

TEST(ModbusTable, SaysWhatIsWrongAndWhere) {
  EXPECT_EQ(complaint(with("host = \"192.0.2.7\"", "")),
            "bench.toml:2: key 'host' is missing in [device]: host = \"...\"");
  EXPECT_EQ(complaint(with("[channel.device]\naddress = 3\n", "")),
            "bench.toml:5: 'air_speed_m_s' names no register: [channel.device] address = N below "
            "it");
  EXPECT_EQ(complaint(with("[actuator.device]\naddress = 0\nscale = 100\n", "")),
            "bench.toml:16: 'fan_pct' names no register: [actuator.device] address = N below it");
  EXPECT_EQ(complaint(with("name = \"blade_count\"\n",
                           "name = \"blade_count\"\n[actuator.device]\naddress = 7\n")),
            "bench.toml:29: 'blade_count' is set by a person: manual = false, or no "
            "[actuator.device]");
  EXPECT_EQ(complaint(with("address = 3", "address = 65536")),
            "bench.toml:8: address is 65536: a number at least 0 and at most 65535");
  EXPECT_EQ(complaint(with("address = 10", "address = 65535")),
            "bench.toml:12: the second register lies behind the last: at most 65534");
  EXPECT_EQ(complaint(with("\"float32\"\nword_order = \"low_first\"", "\"uint16\"")),
            "bench.toml:14: counts of 24 bits do not go into 16: uint32, int32 or float32");
  EXPECT_EQ(complaint(with("address = 3", "address = 3\nword_order = \"low_first\"")),
            "bench.toml:9: one register has no order of words: left out, or a type of 32 bits");
  EXPECT_EQ(complaint(with("\"float32\"", "\"double\"")),
            "bench.toml:14: type is 'double': uint16, int16, uint32, int32 or float32");
  EXPECT_EQ(complaint(with("scale = 100\n[[actuator]]\nname = \"pitch",
                           "scale = 1000\n"
                           "[[actuator]]\nname = \"pitch")),
            "bench.toml:20: fan_pct at its limit 100 would be 100000 in the register: 0 to 65535, "
            "or another type");
  EXPECT_EQ(complaint(with("type = \"int16\"\n", "")),
            "bench.toml:25: pitch_deg at its limit -5 would be -500 in the register: 0 to 65535, "
            "or another type");
  EXPECT_EQ(complaint(with("modbus_tcp", "modbus")).substr(0, 47),
            "bench.toml:3: device kind 'modbus' is not known");
}

TEST(ModbusTable, EachRegisterHasOneMeaning) {
  EXPECT_EQ(complaint(with("address = 3\n", "address = 11\ntable = \"holding\"\n")),
            "bench.toml:13: air_speed_m_s and dc_voltage_V share the register at address 11: a "
            "register of its own for each");
  EXPECT_EQ(complaint(with("address = 1\n", "address = 0\n", with("address = 10", "address = 20"))),
            "bench.toml:24: fan_pct and pitch_deg share the register at address 0: a register of "
            "its own for each");
  EXPECT_EQ(complaint(with("host =", "heartbeat_address = 1\nhost =")),
            "bench.toml:4: pitch_deg and heartbeat_address share the register at address 1: a "
            "register of its own for each");
  // The same address in the other table is another register.
  EXPECT_EQ(complaint(with("address = 3", "address = 10")), "no complaint");
}

/// The block of docs/devices.md that holds this text.
std::string shown(const std::string& text) {
  const std::string page = base::text_of_file(SOURCE_FOLDER "/docs/devices.md");
  const std::string begin = "```toml\n";
  for (auto at = page.find(begin); at != std::string::npos; at = page.find(begin, at + 1)) {
    const auto end = page.find("```", at + begin.size());
    const std::string block = page.substr(at + begin.size(), end - at - begin.size());
    if (block.find(text) != std::string::npos) return block;
  }
  ADD_FAILURE() << "docs/devices.md does not show " << text;
  return "";
}

TEST(ModbusTable, ReadsWhatThePageShows) {
  const std::string wiring = "[[channel]]\n" + shown("table = \"input\"") +
                             "[[channel]]\n[channel.device]\naddress = 4\ntype = \"uint32\"\n" +
                             "[[actuator]]\n" + shown("scale = 100") +
                             "[[actuator]]\n[actuator.device]\naddress = 1\ntype = \"int16\"\n" +
                             "[[actuator]]\n";
  const DeviceDescription tcp = described("schema = 1\n" + shown("modbus_tcp") + wiring);
  EXPECT_EQ(std::get<ModbusTcpDevice>(tcp).unit.reset_address, 101);
  EXPECT_EQ(std::get<ModbusTcpDevice>(tcp).unit.stop_address, 103);
  EXPECT_EQ(std::get<ModbusTcpDevice>(tcp).unit.channels[0].address, 3);
  const DeviceDescription rtu = described("schema = 1\n" + shown("modbus_rtu") + wiring);
  EXPECT_EQ(std::get<ModbusRtuDevice>(rtu).unit.unit, 17);
}

std::string refusal(const std::string& text) {
  try {
    described(text);
    return "not refused";
  } catch (const base::BadInput& error) {
    return error.what();
  }
}

// One word more makes the bench a simulated one; its wiring stays in the file, and is checked.
TEST(ModbusTable, AStandInSaysForWhichInstrument) {
  const std::string kind = "kind = \"modbus_tcp\"";
  for (const std::string stand_in : {"simulated", "replay\"\nrecording = \"a.h5"}) {
    const std::string text = with(kind, "kind = \"" + stand_in + "\"\ninstead_of = \"modbus_tcp\"");
    const auto root = base::Settings::from_text(text, "bench.toml");
    const DeviceDescription found = device_from_tables(root, small_bench());
    EXPECT_EQ(std::holds_alternative<SimulatedDevice>(found), stand_in == "simulated");
    for (const auto& part : {"channel", "actuator"}) {
      for (const auto& entry : root.tables(part))
        static_cast<void>(entry.has("name"));
    }
    EXPECT_NO_THROW(root.refuse_unread_keys());
    EXPECT_NE(refusal(with("address = 0\nscale = 100", "address = 99999\nscale = 100", text))
                  .find("99999"),
              std::string::npos);
    EXPECT_NE(refusal(with("instead_of = \"modbus_tcp\"", "instead_of = \"replay\"", text))
                  .find("'replay' is no kind of instrument: modbus_tcp, modbus_rtu, lines"),
              std::string::npos);
    const std::string bare = refusal(with(kind, "kind = \"" + stand_in + "\""));
    EXPECT_NE(bare.find("channel.device wires an instrument, but [device] names none: its kind in "
                        "[device]; or, where something stands in for it, instead_of = "
                        "\"modbus_tcp\" (its kind) beside kind"),
              std::string::npos)
        << bare;
  }
}

}  // namespace
}  // namespace windwright::bench
