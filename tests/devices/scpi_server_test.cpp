// SPDX-License-Identifier: Apache-2.0
#include "devices/scpi_server.h"

#include "bench/bench.h"
#include "devices/served_bench.h"
#include "devices/served_scpi.h"
#include "twin/simulated_bench.h"

#include <gtest/gtest.h>

#include <cstddef>
#include <filesystem>
#include <memory>
#include <optional>
#include <random>
#include <string>
#include <vector>

namespace windwright::devices {
namespace {

/// An instrument that remembers what it was told.
class Scpi : public testing::Test {
 protected:
  Scpi() {
    session_.add("MEASure:VOLTage[:DC]?", [this](const ScpiCommand& command) {
      told_.push_back(command.parameters.empty() ? "" : command.parameters[0]);
      return std::optional<std::string>("1.5");
    });
    session_.add("MEASure:CURRent?",
                 [](const ScpiCommand&) { return std::optional<std::string>("2.5"); });
    session_.add("SOURce#:LEVel", [this](const ScpiCommand& command) -> std::optional<std::string> {
      told_.push_back(std::to_string(command.suffix) + "=" + command.parameters.at(0));
      return {};
    });
  }
  std::string ask(std::string_view message) { return session_.answer(message); }

  int resets_ = 0;
  std::vector<std::string> told_;
  ScpiSession session_{{"Maker, Ltd", "model", "0", "1.0"}, [this] { ++resets_; }};
};

// SCPI-1999 volume 1, 6.2.1: long and short form, any case; 5.1 and 6.2.4: nodes that may be left
// out.
TEST_F(Scpi, TakesLongAndShortHeaders) {
  for (const char* message :
       {"MEASURE:VOLTAGE:DC?", "meas:volt?", ":Meas:Voltage?", " MEAS:VOLT:DC? "})
    EXPECT_EQ(ask(message), "1.5\n") << message;
  for (const char* message : {"MEASU:VOLT?", "MEAS:VOLT", "MEAS?", "MEAS:VOLT:DC:DC?", "VOLT?"}) {
    EXPECT_EQ(ask(message), "") << message;
    EXPECT_TRUE(ask("SYST:ERR?").starts_with("-113,\"Undefined header")) << message;
  }
}

// IEEE 488.2-1992, 8.4.1: answers of one message are separated by semicolons; SCPI-1999 volume 1,
// 6.2.4: a header goes on where the one before it was, and common commands change nothing.
TEST_F(Scpi, AnswersAMessageOfSeveralCommandsInOneLine) {
  EXPECT_EQ(ask("MEAS:VOLT?;CURR?"), "1.5;2.5\n");
  EXPECT_EQ(ask("MEAS:VOLT?;*OPC?;CURR?"), "1.5;1;2.5\n");
  EXPECT_EQ(ask("MEAS:VOLT?;:MEAS:CURR?"), "1.5;2.5\n");
  EXPECT_EQ(ask("MEAS:VOLT?;MEAS:CURR?"), "1.5\n");
  EXPECT_EQ(ask("SOUR2:LEV 3.5;:SOURCE:LEVEL 4"), "");
  EXPECT_EQ(told_.back(), "1=4");
  EXPECT_EQ(ask("MEAS:VOLT? (@1,2;3)"), "1.5\n");  // within parentheses nothing separates
  EXPECT_EQ(told_.back(), "(@1,2;3)");
}

// Our rule, for safety: the load is asked for wrongly, so the fan behind it does not start.
TEST_F(Scpi, CarriesOutNoCommandBehindAnError) {
  EXPECT_EQ(ask("SOUR2:LEVL 1;:SOUR1:LEV 60;:MEAS:CURR?;*RST"), "2.5\n");
  EXPECT_TRUE(told_.empty());
  EXPECT_EQ(resets_, 1);
  ask("SOUR1:LEV 60");
  EXPECT_EQ(told_.back(), "1=60");
}

// IEEE 488.2-1992, section 10: the common commands that every device has.
TEST_F(Scpi, HasTheCommonCommands) {
  EXPECT_EQ(ask("*IDN?"), "Maker  Ltd,model,0,1.0\n");
  EXPECT_EQ(ask("*TST?"), "0\n");
  EXPECT_EQ(ask("*OPC?"), "1\n");
  EXPECT_EQ(ask("*WAI"), "");
  EXPECT_EQ(ask("*RST"), "");
  EXPECT_EQ(resets_, 1);
  EXPECT_EQ(ask("SYST:VERS?"), "1999.0\n");
  EXPECT_EQ(ask("*XYZ?"), "");
  EXPECT_EQ(ask("SYST:ERR:COUN?"), "1\n");
}

// IEEE 488.2-1992, 11.5.1: bits of the standard event status register (power on 7, command error 5,
// execution error 4, operation complete 0) and 11.2: what they do to the status byte.
TEST_F(Scpi, KeepsTheStatusRegisters) {
  EXPECT_EQ(ask("*ESR?"), "128\n");
  EXPECT_EQ(ask("*ESR?"), "0\n");
  ask("*ESE 32;*SRE 255");
  EXPECT_EQ(ask("*ESE?;*SRE?"), "32;191\n");
  EXPECT_EQ(ask("*STB?"), "0\n");
  ask("NONE");
  EXPECT_EQ(ask("*STB?"), "100\n");  // error queue 4, event 32, request 64
  EXPECT_EQ(ask("*ESR?"), "32\n");
  ask("*ESE 300");
  EXPECT_EQ(ask("*ESR?"), "16\n");
  ask("*OPC");
  EXPECT_EQ(ask("*ESR?"), "1\n");
  ask("*CLS");
  EXPECT_EQ(ask("*STB?;SYST:ERR?"), "0;0,\"No error\"\n");
}

// SCPI-1999 volume 2, 21.8: first in, first out; the last of too many says that some are missing.
TEST_F(Scpi, QueuesErrors) {
  ask("*ESE many");
  ask("*IDN? 1");
  ask("*ESE");
  EXPECT_EQ(ask("SYST:ERR?"), "-104,\"Data type error;a decimal number\"\n");
  EXPECT_EQ(ask("SYST:ERR:NEXT?"), "-108,\"Parameter not allowed\"\n");
  EXPECT_EQ(ask("SYST:ERR?"), "-109,\"Missing parameter\"\n");
  EXPECT_EQ(ask("SYST:ERR?"), "0,\"No error\"\n");
  for (int i = 0; i < 30; ++i)
    ask("NONE");
  for (int i = 0; i < 19; ++i)
    EXPECT_TRUE(ask("SYST:ERR?").starts_with("-113"));
  EXPECT_EQ(ask("SYST:ERR?"), "-350,\"Queue overflow\"\n");
  EXPECT_EQ(ask("SYST:ERR?"), "0,\"No error\"\n");
}

// SCPI-1999 volume 1, 8.3.2: channel lists.
TEST(ScpiText, ReadsChannelLists) {
  EXPECT_EQ(channel_list("(@1)", 9), (std::vector<int>{1}));
  EXPECT_EQ(channel_list("(@ 1, 3:5 )", 9), (std::vector<int>{1, 3, 4, 5}));
  EXPECT_EQ(channel_list("(@5:3)", 9), (std::vector<int>{5, 4, 3}));
  for (const char* wrong :
       {"1", "(@)", "(@0)", "(@10)", "(@1:2:3)", "(@1.5)", "(@a)", "(@1", "(@nan)"})
    EXPECT_THROW(channel_list(wrong, 9), ScpiError) << wrong;
}

TEST_F(Scpi, WhateverComesItAnswersInWholeLines) {
  std::mt19937 random(5);
  const std::string letters = "MEAS:VOLT?*IDN;,()@\"' 0123#\x01\xff\n";
  std::string all;
  for (int i = 0; i < 200'000; ++i)
    all += letters[random() % letters.size()];
  std::size_t used = 0;
  std::string out;
  while (const auto taken = session_.converse(std::string_view(all).substr(used), out)) {
    if (*taken == 0) break;
    used += *taken;
  }
  EXPECT_GT(used, all.size() - 2000);
  EXPECT_TRUE(out.empty() || out.ends_with('\n'));
  EXPECT_EQ(out.find("\n\n"), std::string::npos);
  EXPECT_EQ(session_.converse(std::string(3000, 'x'), out), std::nullopt);
}

/// The demo's bench, one sample a measurement.
class ServedScpi : public testing::Test {
 protected:
  static bench::Bench stepping() {
    bench::Bench bench =
        bench::bench_from_file(SOURCE_FOLDER "/examples/saltmarsh-college/bench.toml");
    bench.block_s = 0.01;
    return bench;
  }
  std::string ask(std::string_view message) { return session_->answer(message); }

  bench::Bench bench_ = stepping();
  twin::SimulatedBench device_{bench_, twin::Pace::as_fast_as_possible};
  ServedBench served_{bench_, device_, {.watchdog_s = 2.0, .passes_with_requests = true}};
  std::unique_ptr<ScpiSession> session_ = scpi_session(bench_, served_, "0.1.0");
};

TEST_F(ServedScpi, MeasuresVoltsOfOneSample) {
  EXPECT_EQ(ask("*IDN?"), "Windwright,Saltmarsh College wind bench,0,0.1.0\n");
  EXPECT_TRUE(ask("CHAN:CAT?").starts_with("\"air_temperature_C\",\"air_pressure_hPa\""));
  bench::SampleBlock block;
  twin::SimulatedBench same(bench_, twin::Pace::as_fast_as_possible);
  same.read(block);  // what the served bench began with
  same.read(block);
  const std::string answer = ask("MEAS:VOLT? (@1,4)");
  const auto comma = answer.find(',');
  ASSERT_NE(comma, std::string::npos) << answer;
  const auto expected = [&](std::size_t channel) {
    return bench::volts(bench_.channels[channel].converter, block.channel(channel).back());
  };
  EXPECT_NEAR(std::stod(answer), expected(0), 1e-7);
  EXPECT_NEAR(std::stod(answer.substr(comma + 1)), expected(3), 1e-7);
  ask("MEAS:VOLT? (@15)");
  EXPECT_EQ(ask("SYST:ERR?"), "-222,\"Data out of range;channels 1 to 14\"\n");
}

TEST_F(ServedScpi, DrivesTheBenchAndTripsWhenNobodyIsHeard) {
  EXPECT_EQ(ask("SOUR2:LEV RHEOSTAT"), "");
  EXPECT_EQ(ask("SOUR1:LEV 60;:SOUR1:LEV?;:SOUR2:LEV?"), "60;1\n");
  for (int i = 0; i < 150; ++i)
    ask("MEAS:VOLT? (@4)");
  ask("SYST:HEAR");
  for (int i = 0; i < 150; ++i)
    ask("MEAS:VOLT? (@4)");
  EXPECT_EQ(ask("OUTP:PROT:TRIP?"), "0\n");
  for (int i = 0; i < 60; ++i)
    ask("MEAS:VOLT? (@4)");
  EXPECT_EQ(ask("OUTP:PROT:TRIP?;:SOUR:LEV?"), "1;0\n");
  ask("SOUR:LEV 60");
  EXPECT_EQ(ask("SYST:ERR?"),
            "-221,\"Settings conflict;tripped, OUTPut:PROTection:CLEar takes it back\"\n");
  ask("OUTP:PROT:CLE;:SOUR:LEV 60");
  EXPECT_EQ(ask("SYST:ERR?;:SOUR:LEV?"), "0,\"No error\";60\n");
  ask("*RST");
  EXPECT_EQ(ask("SOUR:LEV?;:OUTP:PROT:TRIP?"), "0;0\n");
  for (const char* message : {"SOUR:LEV 101", "SOUR6:LEV 1", "SOUR2:LEV soup", "SOUR2:LEV 0.5"})
    ask(message);
  EXPECT_EQ(ask("SYST:ERR?"), "-222,\"Data out of range;fan_pct 0 to 100\"\n");
  EXPECT_EQ(ask("SYST:ERR?"), "-114,\"Header suffix out of range;SOURce1 to SOURce5\"\n");
  EXPECT_EQ(ask("SYST:ERR?"),
            "-224,\"Illegal parameter value;none, rheostat, lamps or rheostat_and_lamps\"\n");
  EXPECT_EQ(ask("SYST:ERR?"), "-224,\"Illegal parameter value;load_selector in whole numbers\"\n");
}

}  // namespace
}  // namespace windwright::devices
