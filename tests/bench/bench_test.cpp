// SPDX-License-Identifier: Apache-2.0
#include "bench/bench.h"

#include "base/errors.h"
#include "base/files.h"
#include "bench/overspeed.h"

#include <fmt/format.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <string>
#include <vector>

namespace windwright::bench {
namespace {

const std::filesystem::path demo = SOURCE_FOLDER "/examples/saltmarsh-college";

// A copy of the demo's bench folder, so that one line of it can be spoilt.
std::filesystem::path scratch_bench() {
  const auto folder =
      std::filesystem::path(BUILD_FOLDER) / "scratch" /
      fmt::format("bench_{}", testing::UnitTest::GetInstance()->current_test_info()->name());
  std::filesystem::remove_all(folder);
  std::filesystem::create_directories(folder);
  std::filesystem::copy(demo, folder, std::filesystem::copy_options::recursive);
  return folder / "bench.toml";
}

std::string complaint_about(const std::filesystem::path& file, const std::string& text) {
  base::write_whole(file, text);
  try {
    bench_from_file(file);
  } catch (const base::BadInput& error) {
    return error.what();
  }
  return "no complaint";
}

TEST(Bench, TheDemoReadsAsItIsWritten) {
  const Bench bench = bench_from_file(demo / "bench.toml");
  EXPECT_EQ(bench.channels.size(), 14U);
  EXPECT_EQ(bench.actuators.size(), 5U);
  EXPECT_EQ(bench.interlocks.size(), 14U);
  EXPECT_EQ(bench.sample_rate_hz, 1000.0);
  EXPECT_DOUBLE_EQ(bench.tunnel.turbulence_intensity, 0.01);
  EXPECT_EQ(bench.generator.pole_pairs, 6);
  EXPECT_DOUBLE_EQ(bench.u_loss_relative, 0.05);
  EXPECT_DOUBLE_EQ(bench.simulation->u_loss_relative, 0.05);  // left out: as [generator] says
  EXPECT_DOUBLE_EQ(bench.simulation->air.temperature_K, 21.0 + 273.15);
  EXPECT_DOUBLE_EQ(bench.simulation->air.pressure_Pa, 100800.0);
  EXPECT_EQ(bench.text, base::text_of_file(demo / "bench.toml"));
  EXPECT_EQ(bench.rotor_text, base::text_of_file(demo / "rotor.toml"));
  const Channel& air = bench.channels[bench.channel_index("air_speed_m_s")];
  EXPECT_EQ(air.unit, "m s-1");
  EXPECT_DOUBLE_EQ(air.calibration.u_standard_relative, 0.004);
  EXPECT_EQ(air.certificate,
            std::filesystem::weakly_canonical(demo / "certificates/air_speed_m_s.json"));
  EXPECT_TRUE(bench.actuator("pitch_deg").manual);
  EXPECT_FALSE(bench.actuator("fan_pct").manual);
  EXPECT_EQ(bench.actuator("load_selector").highest, 3.0);
}

TEST(Bench, VoltsAreInTheMiddleOfAStep) {
  const Converter converter{.lower_V = -10.0, .upper_V = 10.0, .bits = 8};
  const double step = 20.0 / 256.0;
  EXPECT_DOUBLE_EQ(volts(converter, 0.0), -10.0 + 0.5 * step);
  EXPECT_DOUBLE_EQ(volts(converter, 255.0), 10.0 - 0.5 * step);
}

TEST(Bench, UnknownNamesAreAnsweredWithTheKnownOnes) {
  const Bench bench = bench_from_file(demo / "bench.toml");
  try {
    static_cast<void>(bench.channel_index("airspeed"));
    FAIL();
  } catch (const base::BadInput& error) {
    EXPECT_NE(std::string(error.what()).find("air_speed_m_s"), std::string::npos);
  }
  EXPECT_THROW(static_cast<void>(bench.actuator("fan")), base::BadInput);
}

TEST(Bench, ASensorWithoutBandwidthFollowsAtOnce) {
  const auto file = scratch_bench();
  std::string text = base::text_of_file(file);
  const auto at = text.find("bandwidth_Hz");
  text.erase(at, text.find('\n', at) - at);
  base::write_whole(file, text);
  EXPECT_TRUE(std::isinf(bench_from_file(file).channels[0].simulated->bandwidth_Hz));
}

struct Spoilt {
  std::string before;     // first occurrence is replaced
  std::string after;      // in the same line
  std::string complaint;  // part of it
};

// Each names the line that was spoilt, says what is wrong and what would be right.
TEST(Bench, EverySpoiltLineIsFoundAndNamed) {
  const std::vector<Spoilt> cases{
      {"sample_rate_hz = 1000", "sample_rate_hz = nan", "sample_rate_hz is nan"},
      {"block_s = 0.1", "block_s = 0.0105", "10.5 samples"},
      {"rotor = \"rotor.toml\"", "rotor = \"../rotor.toml\"", "leads outside"},
      {"rotor = \"rotor.toml\"", "rotor = \"/etc/passwd\"", "not relative"},
      {"u_tip_radius_m = 0.0005", "u_tip_radius_m = -0.1", "at least 0"},
      {"blade_inertia_kg_m2 = 8.0e-4", "blade_inertia_kg_m2 = 0", "above 0"},
      {"time_constant_s = 1.5", "time_constant_s = \"slow\"", "the text 'slow'"},
      {"position_factor = 1.0", "position_factor = 3.0", "at most 2"},
      {"pole_pairs = 6", "pole_pairs = 6.5", "a whole number"},
      {"flux_linkage_V_s = 0.0165", "flux_linkage_Vs = 0.0165", "'flux_linkage_V_s' is missing"},
      {"u_loss_pct = 5.0", "u_loss_pct = 60", "at most 50"},
      {"rheostat_highest_ohm = 100.0", "rheostat_highest_ohm = 1.0", "not above"},
      {"lamps = 2", "lamps = 0", "no lamps to select"},
      {"name = \"fan_pct\"", "name = \"fan\"", "'fan' is not known"},
      {"name = \"fan_pct\"", "manual = true\nname = \"fan_pct\"",
       "no program could switch fan_pct off in a stop"},
      {"highest = 100", "highest = 120", "at most 100"},
      {"lowest = 2", "lowest = 1", "at least 2"},
      {"\"none\", ", "\"off\", ", "'off' is not known"},
      {"\"none\", ", "\"lamps\", ", "twice"},
      {"manual = true", "manual = 1", "true or false"},
      {"name = \"air_pressure_hPa\"", "name = \"air_temperature_C\"", "there twice"},
      {"name = \"ac_current_A\"", "name = \"ac_currents_A\"", "is not known"},
      {"range_V = [0, 10]", "range_V = [10, 0]", "not a range"},
      {"range_V = [0, 10]", "range_V = [0, 5]", "gives 6 V"},
      {"bits = 16", "bits = 32", "at most 24"},
      {"bits = 16", "sample_rate_hz = 300\nbits = 16", "such as 250 or 333"},
      {"bits = 16", "sample_rate_hz = 2000\nbits = 16", "at most 1000"},
      {"long_name = \"voltage at the DC", "sample_rate_hz = 10\nlong_name = \"voltage at the DC",
       "multiplied sample by sample"},
      {"\"certificates/air_temperature_C.json\"", "\"../../elsewhere.json\"", "leads outside"},
      {"model = \"line\"", "model = \"polynomial:0\"", "'polynomial:0' is not known"},
      {"[5, 10, 15, 20, 25, 30, 35, 40]", "[5, 40]", "too few"},
      {"[5, 10, 15, 20, 25, 30, 35, 40]", "[]", "empty list"},
      {"repeats = 3", "repeats = 0", "at least 1"},
      {"valid_days = 365", "valid_days = 0", "at least 1"},
      {"value = 22", "value = 20", "also a calibration reference"},
      {"value = 22", "value = 90", "outside the calibration"},
      {"sensitivity_V = 0.2", "sensitivity_V = 0", "not 0"},
      {"bandwidth_Hz = 2", "bandwidth_Hz = -2", "at least"},
      {"channel = \"rotor_speed_rad_s\"", "channel = \"torque_N_m\"", "not on this bench"},
      {"highest = 75", "highest = 750", "never trip"},
      {"highest = 420", "highest = 4200", "the blades are safe up to"},
      {"highest = 420", "highest = \"fast\"", "highest is 'fast'"},
      {"seed = 20260302", "seed = -1", "at least 0"},
      {"start = \"2026-03-02T09:00:00Z\"", "start = \"yesterday\"", "yesterday"},
      {"air_humidity_pct = 48.0", "air_humidity_pct = 148.0", "at most 100"},
      {"air_temperature_drift_K_h", "air_temperature_drfit_K_h", "'air_temperature_drift_K_h'"},
  };
  const auto file = scratch_bench();
  const std::string good = base::text_of_file(file);
  for (const Spoilt& spoilt : cases) {
    const auto at = good.find(spoilt.before);
    ASSERT_NE(at, std::string::npos) << spoilt.before;
    std::string text = good;
    text.replace(at, spoilt.before.size(), spoilt.after);
    const std::string said = complaint_about(file, text);
    EXPECT_NE(said.find(spoilt.complaint), std::string::npos) << spoilt.after << "\n" << said;
    EXPECT_EQ(said.find('\n'), std::string::npos) << said;
    const auto line = 1 + std::count(good.begin(), good.begin() + static_cast<long>(at), '\n');
    const bool by_table = said.find("missing") != std::string::npos ||  // named by its table
                          spoilt.after == "lamps = 0";                  // by who wants them
    if (!by_table) {
      EXPECT_TRUE(said.starts_with(fmt::format("{}:{}: ", file.string(), line))) << said;
    }
  }
}

TEST(Bench, MissingChannelsAndActuatorsAreNamed) {
  const auto file = scratch_bench();
  const std::string good = base::text_of_file(file);
  const auto without = [&](const std::string& kind, const std::string& name) {
    const auto begin = good.find("[[" + kind + "]]\nname = \"" + name + "\"");
    const auto end = good.find("\n[[", begin + 1);
    return good.substr(0, begin) + good.substr(end);
  };
  EXPECT_NE(complaint_about(file, without("channel", "dc_current_A")).find("'dc_current_A'"),
            std::string::npos);
  EXPECT_NE(complaint_about(file, without("actuator", "fan_pct")).find("'fan_pct'"),
            std::string::npos);
  EXPECT_EQ(complaint_about(file, without("channel", "ac_voltage_V")), "no complaint");
}

// The interlock's bound and the blades' own must not be two truths.
TEST(Bench, TheOverspeedInterlockCanTakeTheBladesLimit) {
  const auto file = scratch_bench();
  std::string text = base::text_of_file(file);
  text.replace(text.find("highest = 420"), 13, "highest = \"blades\"");
  base::write_whole(file, text);
  const Bench bench = bench_from_file(file);
  const auto safe = safe_speed(bench);
  ASSERT_TRUE(safe.has_value());
  const auto overspeed =
      std::ranges::find(bench.interlocks, std::string("rotor overspeed"), &Interlock::name);
  ASSERT_NE(overspeed, bench.interlocks.end());
  EXPECT_EQ(overspeed->highest, std::floor(safe->rotor_speed_rad_s));
  EXPECT_GT(safe->rotor_speed_rad_s, 420.0);
  // Without [blade] there is no limit to take, and none to check a number against.
  std::string rotor = base::text_of_file(file.parent_path() / "rotor.toml");
  const auto from = rotor.find("[blade]");
  rotor.erase(from, rotor.find("[[station]]") - from);
  base::write_whole(file.parent_path() / "rotor.toml", rotor);
  EXPECT_NE(complaint_about(file, text).find("does not say what the blades are made of"),
            std::string::npos);
}

TEST(Bench, BladesWithALimitNeedAnOverspeedInterlock) {
  const auto file = scratch_bench();
  std::string text = base::text_of_file(file);
  const auto from = text.find("[[interlock]]\nname = \"rotor overspeed\"");
  text.erase(from, text.find("[[interlock]]", from + 5) - from);
  EXPECT_NE(complaint_about(file, text).find("no interlock watches rotor_speed_rad_s"),
            std::string::npos);
}

// The fastest air, both ends of the pitch and the fewest blades of the demo.
TEST(Bench, TheBladesAreJudgedByAllTheBenchCanDo) {
  const physics::LoadEnvelope envelope = load_envelope(bench_from_file(demo / "bench.toml"));
  EXPECT_DOUBLE_EQ(envelope.highest_air_speed_m_s, 14.0 * 1.03);
  EXPECT_EQ(envelope.blades, 2);
  ASSERT_EQ(envelope.pitches_rad.size(), 3U);
  EXPECT_NEAR(envelope.pitches_rad[2], 20.0 * 0.0174532925, 1e-9);
}

}  // namespace
}  // namespace windwright::bench
