// SPDX-License-Identifier: Apache-2.0
// Benches of docs/devices.md, recorded through peers that are not of this project: socat's serial
// pairs between the program and an instrument that a script plays.
#include "base/json.h"
#include "end_to_end/program.h"

#include <boost/json.hpp>
#include <gtest/gtest.h>

#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <sstream>
#include <string>

namespace windwright::end_to_end {
namespace {

namespace fs = std::filesystem;
namespace json = boost::json;

bool has(const std::string& command) {
  return std::system(("command -v " + command + " > /dev/null 2>&1").c_str()) == 0;
}

void replace(std::string& text, const std::string& old, const std::string& by) {
  const auto at = text.find(old);
  ASSERT_NE(at, std::string::npos) << old;
  text.replace(at, old.size(), by);
}

/// The example of docs/devices.md that holds this line.
std::string example(const std::string& wanted) {
  std::istringstream page(text_of(fs::path(SOURCE_FOLDER) / "docs/devices.md"));
  std::string block;
  bool inside = false;
  for (std::string line; std::getline(page, line);) {
    if (line.starts_with("```")) {
      if (inside && block.find(wanted) != std::string::npos) return block;
      inside = line == "```toml";
      block.clear();
    } else if (inside) {
      block += line + '\n';
    }
  }
  ADD_FAILURE() << "docs/devices.md has no example with " << wanted;
  return {};
}

// What the page's instruments do not have, with the interlocks on it: tables end at a blank line.
std::string without_chain_and_tower(std::string bench) {
  for (const char* channel : {"winding_temperature_C", "vibration_m_s2", "emergency_stop_loop_V",
                              "cover_loop_V", "fuse_loop_V"}) {
    for (const std::string key : {"name", "channel"}) {
      const auto at = bench.find("\n" + key + " = \"" + channel + "\"");
      EXPECT_NE(at, std::string::npos) << channel;
      const auto table = bench.rfind("[[", at);
      bench.erase(table, bench.find("\n\n", at) + 2 - table);
    }
  }
  return bench;
}

/// The demo bench with [device] and the `device` of every channel and actuator from the page.
fs::path bench_with(const std::string& folder_name, const std::string& kind) {
  fs::path folder = bench_folder(folder_name);
  std::string bench = without_chain_and_tower(text_of(folder / "bench.toml"));
  std::istringstream block(example("kind = \"" + kind + "\""));
  std::string name;
  std::string table;
  for (std::string line; std::getline(block, line);) {
    if (line.starts_with("name = ")) name = line + '\n';
    if (line.starts_with("device = ")) replace(bench, name, name + line + '\n');
    if (name.empty()) table += line + '\n';
  }
  table.erase(table.find("[[channel]]"));
  replace(bench, "sample_rate_hz = 1000", "sample_rate_hz = 100");
  write_text(folder / "bench.toml", bench + '\n' + table);
  return folder;
}

void edit(const fs::path& file, const std::string& old, const std::string& by) {
  std::string text = text_of(file);
  replace(text, old, by);
  write_text(file, text);
}

/// Runs `windwright` with socat between the serial port of the bench and a script.
json::value recorded(const fs::path& folder, const std::string& script,
                     const std::string& arguments, int exit_code) {
  const std::string port = (folder / "port").string();
  const fs::path peer = fs::path(SOURCE_FOLDER) / "tests/peers" / script;
  write_text(folder / "run.sh",
             "socat PTY,link=" + port + ",raw,echo=0 EXEC:'python3 " + peer.string() + " " +
                 (folder / "commands").string() + "' 2> socat.err &\npeer=$!\n" +
                 "for i in $(seq 500); do [ -e " + port + " ] && break; sleep 0.02; done\n" +
                 PROGRAM + " record bench.toml " + arguments + " --json > out.json 2> err\n" +
                 "code=$?\nkill $peer\nexit $code\n");
  const int status =
      std::system(("cd '" + folder.string() + "' && timeout 60 bash run.sh").c_str());
  EXPECT_EQ(status, exit_code * 256) << text_of(folder / "err");
  return exit_code == 3 ? json::value{}
                        : base::json_from_text(text_of(folder / "out.json"), "stdout");
}

TEST(Instruments, LinesOverASerialPort) {
  if (!has("socat") || !has("python3")) GTEST_SKIP() << "needs the packages socat and python3";
  const fs::path folder = bench_with("instruments-lines", "lines");
  edit(folder / "bench.toml", "/dev/ttyACM0", (folder / "port").string());
  const json::value told =
      recorded(folder, "line_peer.py",
               "--seconds 1.5 --into all.h5 --reason test --set load_selector=lamps "
               "--set fan_pct=12.5",
               0);
  EXPECT_EQ(told.at("samples").to_number<int>(), 150);
  EXPECT_TRUE(told.at("remarks").as_array().empty()) << json::serialize(told);
  EXPECT_EQ(text_of(folder / "commands"), "LOAD LAMPS\nFAN 12.5\nFAN 0\nFAN 0\n");
  // Column k of the peer is k times its counter: the slope of a5 is three times that of a2.
  const auto slope = [&](const char* channel) {
    const Ended ended =
        windwright({"view", "all.h5", "--channel", channel, "--bins", "1000", "--json"}, folder);
    const auto bins = base::json_from_text(ended.out, "stdout").at("bins").as_array();
    return (bins[50].at("mean").to_number<double>() - bins[10].at("mean").to_number<double>());
  };
  const double unit = slope("air_temperature_C");  // 40 counts of 10 V / 65536
  EXPECT_NEAR(unit, 40.0 * 10.0 / 65536.0, 1e-9);
  EXPECT_NEAR(slope("dc_voltage_V") / unit, 6.0, 1e-6);
}

TEST(Instruments, ScpiOverASerialPort) {
  if (!has("socat") || !has("python3")) GTEST_SKIP() << "needs the packages socat and python3";
  const fs::path folder = bench_with("instruments-scpi", "scpi");
  edit(folder / "bench.toml", "host = \"192.0.2.17\"",
       "port = \"" + (folder / "port").string() + "\"");
  edit(folder / "bench.toml", "sample_rate_hz = 100", "sample_rate_hz = 20");
  const json::value told =
      recorded(folder, "scpi_peer.py",
               "--seconds 1 --into all.h5 --reason test --set load_selector=rheostat "
               "--set fan_pct=30",
               0);
  EXPECT_EQ(told.at("samples").to_number<int>(), 20);
  EXPECT_EQ(text_of(folder / "commands"),
            "ROUT:CLOS (@2)\nSOUR:VOLT 30\nSOUR:VOLT 0\nSOUR:VOLT 0\n");
  const auto mean = [&](const char* channel) {
    const Ended ended =
        windwright({"view", "all.h5", "--channel", channel, "--bins", "1", "--json"}, folder);
    return base::json_from_text(ended.out, "stdout").at("window").at("mean").to_number<double>();
  };
  EXPECT_NEAR(mean("air_temperature_C"), 1.0, 10.0 / 65536.0);
  EXPECT_NEAR(mean("ac_voltage_V"), 8.0, 20.0 / 65536.0);
  EXPECT_NEAR(mean("ac_current_A"), -2.5, 20.0 / 65536.0);

  fs::remove(folder / "all.h5");
  recorded(folder, "scpi_peer.py", "--seconds 1 --into all.h5 --reason test --set rheostat_ohm=95",
           3);
  EXPECT_NE(text_of(folder / "err").find("refused 'RES 95': -222,\"Data out of range\""),
            std::string::npos)
      << text_of(folder / "err");
}

TEST(Instruments, LiveValuesFromABroker) {
  if (!has("mosquitto_pub") || !fs::exists("/usr/sbin/mosquitto"))
    GTEST_SKIP() << "needs the packages mosquitto and mosquitto-clients";
  const fs::path folder = bench_with("instruments-mqtt", "mqtt");
  edit(folder / "bench.toml", "host = \"192.0.2.30\"", "host = \"127.0.0.1\"\nport = PORT");
  edit(folder / "bench.toml", "sample_rate_hz = 100", "sample_rate_hz = 20");
  const std::string publish = "mosquitto_pub -h 127.0.0.1 -p $port -t bench7/";
  write_text(
      folder / "run.sh",
      "port=$(python3 -c 'import socket; s = socket.socket(); s.bind((\"127.0.0.1\", 0)); "
      "print(s.getsockname()[1])')\n"
      "sed -i \"s/PORT/$port/\" bench.toml\n"
      "/usr/sbin/mosquitto -p $port 2> broker.err &\nbroker=$!\n"
      "for i in $(seq 500); do " +
          publish + "set/ready -m 1 -r 2> /dev/null && break; sleep 0.02; done\n" +
          "mosquitto_sub -h 127.0.0.1 -p $port -t 'bench7/set/#' -t bench7/driver -v > heard &\n"
          "ear=$!\nfor i in $(seq 500); do [ -s heard ] && break; sleep 0.02; done\n"
          "while :; do " +
          publish + "air -m '{\"temperature\": 4, \"pressure\": 5, \"humidity\": 6}'\n" +
          "for t in tunnel/speed rotor/speed dc/voltage dc/current ac/voltage ac/current; do " +
          publish + "$t -m 2.5; done; done &\nsensors=$!\n" + PROGRAM +
          " record bench.toml --seconds 1 --into all.h5 --reason test --set load_selector=rheostat "
          "--set fan_pct=30 --json > out.json 2> err\ncode=$?\n"
          "kill $sensors\nkill $ear\nkill $broker\nexit $code\n");
  EXPECT_EQ(std::system(("cd '" + folder.string() + "' && timeout 60 bash run.sh").c_str()), 0)
      << text_of(folder / "err");
  const std::string heard = text_of(folder / "heard");
  EXPECT_NE(heard.find("bench7/set/load load rheostat\nbench7/set/fan 30\n"), std::string::npos)
      << heard;
  EXPECT_NE(heard.find("bench7/set/fan 0\n"), std::string::npos) << heard;
  const auto mean = [&](const char* channel) {
    const Ended ended =
        windwright({"view", "all.h5", "--channel", channel, "--bins", "1", "--json"}, folder);
    return base::json_from_text(ended.out, "stdout").at("window").at("mean").to_number<double>();
  };
  EXPECT_NEAR(mean("air_humidity_pct"), 6.0, 10.0 / 65536.0);
  EXPECT_NEAR(mean("ac_current_A"), 2.5, 20.0 / 65536.0);
}

/// Runs `windwright record` beside a server that writes its port into the file `port`.
/// @param arguments  of record; `server` is run in the folder
int recorded_beside(const fs::path& folder, const std::string& server,
                    const std::string& arguments) {
  write_text(
      folder / "run.sh",
      server + " 2> server.err > server.out &\nserver=$!\n" +
          "for i in $(seq 500); do [ -e port ] && break; sleep 0.02; done\n" +
          "for i in $(seq 500); do (: < /dev/tcp/127.0.0.1/$(cat port)) 2> tcp.err && break; "
          "sleep 0.02; done\n"
          "sed -i \"s/PORT/$(cat port)/\" bench.toml\n" +
          PROGRAM + " record bench.toml --into all.h5 --json " + arguments +
          " > out.json 2> err\ncode=$?\nkill $server\nexit $code\n");
  return std::system(("cd '" + folder.string() + "' && timeout 60 bash run.sh").c_str()) / 256;
}

TEST(Instruments, IndustrialIoOverTheNetwork) {
  if (!has("python3")) GTEST_SKIP() << "needs the package python3";
  const fs::path folder = bench_with("instruments-iio", "iio");
  edit(folder / "bench.toml", "ip:192.0.2.40", "ip:127.0.0.1:PORT");
  const fs::path peer = fs::path(SOURCE_FOLDER) / "tests/peers/iiod_peer.py";
  const int code =
      recorded_beside(folder, "python3 " + peer.string() + " port commands",
                      "--seconds 1.5 --reason test --set load_selector=lamps --set fan_pct=12.5");
  ASSERT_EQ(code, 0) << text_of(folder / "err") << text_of(folder / "server.err");
  const json::value told = base::json_from_text(text_of(folder / "out.json"), "stdout");
  EXPECT_EQ(told.at("samples").to_number<int>(), 150);
  EXPECT_TRUE(told.at("remarks").as_array().empty()) << json::serialize(told);
  EXPECT_EQ(text_of(folder / "commands"), "voltage1 2730\nvoltage0 512\nvoltage0 0\nvoltage0 0\n");
  // Channel k of the peer is k + 1 times its counter.
  const auto rise = [&](const char* channel) {
    const Ended ended =
        windwright({"view", "all.h5", "--channel", channel, "--bins", "1000", "--json"}, folder);
    const auto bins = base::json_from_text(ended.out, "stdout").at("bins").as_array();
    return bins[50].at("mean").to_number<double>() - bins[10].at("mean").to_number<double>();
  };
  EXPECT_NEAR(rise("air_temperature_C"), 40.0 * 10.0 / 65536.0, 1e-9);
  EXPECT_NEAR(rise("dc_voltage_V"), 6.0 * 40.0 * 10.0 / 65536.0, 1e-9);
}

// Debian's own server shows a converter that a file describes, which has no samples to give.
TEST(Instruments, IndustrialIoThroughTheServerOfDebian) {
  if (!fs::exists("/usr/sbin/iiod")) GTEST_SKIP() << "needs the package iiod";
  const fs::path folder = bench_with("instruments-iiod", "iio");
  edit(folder / "bench.toml", "ip:192.0.2.40", "ip:127.0.0.1:PORT\"\nlongest_outage_s = 1.0\n#");
  const std::string server =
      "[ -e port ] || python3 -c 'import socket; s = socket.socket(); s.bind((\"127.0.0.1\", 0)); "
      "print(s.getsockname()[1])' > port\n"
      "python3 " +
      (fs::path(SOURCE_FOLDER) / "tests/peers/iiod_peer.py").string() +
      " --context > context.xml\n/usr/sbin/iiod -u xml:context.xml -p $(cat port)";
  EXPECT_EQ(recorded_beside(folder, server, "--seconds 1"), 3);
  EXPECT_NE(text_of(folder / "err").find("it does not begin to sample"), std::string::npos)
      << text_of(folder / "err");
  fs::remove(folder / "all.h5");
  edit(folder / "bench.toml", "device = { channel = \"voltage8\" }",
       "device = { channel = \"voltage9\" }");
  EXPECT_EQ(recorded_beside(folder, server, "--seconds 1"), 3);
  EXPECT_NE(text_of(folder / "err")
                .find("it has no scan channel 'voltage9': the names there are: "
                      "voltage0, voltage1,"),
            std::string::npos)
      << text_of(folder / "err");
}

TEST(Instruments, WithoutABoardItSaysWhatToDo) {
  const fs::path folder = bench_with("instruments-comedi", "comedi");
  edit(folder / "bench.toml", "/dev/comedi0", "/dev/comedi-not-there");
  const Ended ended =
      windwright({"record", "bench.toml", "--seconds", "1", "--into", "all.h5"}, folder);
  EXPECT_EQ(ended.exit_code, 3);
  EXPECT_NE(ended.err.find("there is no /dev/comedi-not-there; load the board's kernel module"),
            std::string::npos)
      << ended.err;
  EXPECT_FALSE(fs::exists(folder / "all.h5"));
}

}  // namespace
}  // namespace windwright::end_to_end
