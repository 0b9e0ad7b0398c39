// SPDX-License-Identifier: Apache-2.0
// Faults of sensors, actuators and blades, as the channels show them.
#include "base/errors.h"
#include "bench/bench.h"
#include "bench/device.h"
#include "demo_bench.h"
#include "twin/simulated_bench.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <string>
#include <vector>

namespace windwright::twin {
namespace {

/// A block of one channel's values, by the sensor's ideal transfer.
std::vector<double> values(SimulatedBench& device, const bench::Bench& bench,
                           const std::string& channel) {
  bench::SampleBlock block;
  device.read(block, 1000);
  const std::size_t i = bench.channel_index(channel);
  const bench::SimulatedSensor& sensor = *bench.channels[i].simulated;
  std::vector<double> all;
  for (const std::int32_t count : block.channel(i)) {
    all.push_back((bench::volts(bench.channels[i].converter, count) - sensor.offset_V) /
                  sensor.sensitivity_V);
  }
  return all;
}

double mean(const std::vector<double>& all) {
  double sum = 0.0;
  for (const double each : all)
    sum += each;
  return sum / static_cast<double>(all.size());
}

double deviation(const std::vector<double>& all) {
  const double centre = mean(all);
  double sum = 0.0;
  for (const double each : all)
    sum += (each - centre) * (each - centre);
  return std::sqrt(sum / static_cast<double>(all.size()));
}

struct Running {
  Running() {
    device.set("load_selector", 1.0);
    device.set("fan_pct", 60.0);
    device.advance(20.0);
  }
  bench::Bench bench = calm_bench();
  SimulatedBench device{bench, Pace::as_fast_as_possible};
};

TEST(FaultEffects, LostSensorShowsAnEndOfItsConverter) {
  Running running;
  bench::SampleBlock block;
  const std::size_t speed = running.bench.channel_index("rotor_speed_rad_s");
  for (const double end : {-1.0, 1.0}) {
    const Fault lost{.kind = FaultKind::lost_sensor, .channel = "rotor_speed_rad_s", .amount = end};
    running.device.start_fault(lost);
    running.device.read(block, 100);
    const std::int32_t wanted = end < 0.0 ? 0 : 65535;
    EXPECT_EQ(std::ranges::count(block.channel(speed), wanted), 100);
    running.device.end_fault(lost);
    running.device.read(block, 100);
    EXPECT_EQ(std::ranges::count(block.channel(speed), wanted), 0);
  }
}

TEST(FaultEffects, NoisySensorScattersAboutTheSameMean) {
  Running running;
  const auto before = values(running.device, running.bench, "rotor_speed_rad_s");
  // Through 100 Hz at 1000 samples/s some 0.55 of white noise's deviation is left.
  running.device.start_fault(
      {.kind = FaultKind::noisy_sensor, .channel = "rotor_speed_rad_s", .amount = 20.0});
  const auto after = values(running.device, running.bench, "rotor_speed_rad_s");
  EXPECT_NEAR(mean(after), mean(before), 2.0);
  EXPECT_LT(deviation(before), 0.5);
  EXPECT_GT(deviation(after), 6.0);
  EXPECT_LT(deviation(after), 20.0);
}

TEST(FaultEffects, ScaledSensorShowsItsFactorTimesTheTruth) {
  Running running;
  const double sound = mean(values(running.device, running.bench, "rotor_speed_rad_s"));
  running.device.start_fault(
      {.kind = FaultKind::scaled_sensor, .channel = "rotor_speed_rad_s", .amount = 0.5});
  static_cast<void>(values(running.device, running.bench, "rotor_speed_rad_s"));
  EXPECT_NEAR(mean(values(running.device, running.bench, "rotor_speed_rad_s")) / sound, 0.5, 0.01);
}

TEST(FaultEffects, StuckActuatorObeysNeitherACommandNorTheSafeState) {
  Running running;
  const Fault stuck{.kind = FaultKind::stuck_actuator, .actuator = "fan_pct"};
  running.device.start_fault(stuck);
  running.device.set("fan_pct", 20.0);
  running.device.stop();
  EXPECT_EQ(running.device.setting("fan_pct"), 60.0);
  running.device.set("rheostat_ohm", 20.0);
  EXPECT_EQ(running.device.setting("rheostat_ohm"), 20.0) << "the others obey";
  running.device.end_fault(stuck);
  running.device.stop();
  EXPECT_EQ(running.device.setting("fan_pct"), 0.0);
}

TEST(FaultEffects, DeadLimitsTakeWhatTheBenchDoesNotAllow) {
  bench::Bench careful = calm_bench();
  for (bench::Actuator& actuator : careful.actuators)
    if (actuator.name == "fan_pct") actuator.highest = 60.0;
  SimulatedBench device(careful, Pace::as_fast_as_possible);
  EXPECT_THROW(device.set("fan_pct", 90.0), base::DeviceFault);
  device.start_fault({.kind = FaultKind::dead_limits});
  device.set("fan_pct", 90.0);
  device.advance(15.0);
  EXPECT_NEAR(device.truth().at("air_speed_m_s"), 0.9 * 14.0, 0.1);
  EXPECT_THROW(device.set("fan_pct", std::numeric_limits<double>::quiet_NaN()), base::DeviceFault);
}

TEST(FaultEffects, LooseBladeShakesTheHub) {
  Running running;
  const double sound_m_s2 = running.device.truth().at("vibration_m_s2");
  running.device.start_fault({.kind = FaultKind::loose_blade, .amount = 0.005});
  const double loose_m_s2 = running.device.truth().at("vibration_m_s2");
  // From the bench's own 0.05 g at the tip to 5.05 g.
  EXPECT_NEAR(loose_m_s2 / sound_m_s2, 101.0, 1e-6);
  EXPECT_NEAR(mean(values(running.device, running.bench, "vibration_m_s2")), loose_m_s2, 0.2);
}

TEST(FaultEffects, SettingsAreReadBackAsCommanded) {
  Running running;
  running.device.set("rheostat_ohm", 33.0);
  EXPECT_EQ(running.device.setting("fan_pct"), 60.0);
  EXPECT_EQ(running.device.setting("load_selector"), 1.0);
  EXPECT_EQ(running.device.setting("rheostat_ohm"), 33.0);
  EXPECT_EQ(running.device.setting("blade_count"), 3.0);
  EXPECT_EQ(running.device.setting("nothing"), std::nullopt);
}

}  // namespace
}  // namespace windwright::twin
