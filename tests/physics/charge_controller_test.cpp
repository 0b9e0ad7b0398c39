// SPDX-License-Identifier: Apache-2.0
#include "physics/charge_controller.h"

#include "base/errors.h"
#include "physics/charging_in_test.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <string>
#include <utility>
#include <vector>

namespace windwright::physics {
namespace {

ChargingBench bench_with(SourceControl source, DumpControl dump = DumpControl::none) {
  const BatteryKind kind = BatteryKind::flooded;
  ChargingBench bench{.battery = typical_battery(kind, 6, 100.0 * hour_s),
                      .controller = {.cells = 6,
                                     .set_points = common_set_points(kind),
                                     .source = source,
                                     .dump = dump,
                                     .rated_current_A = 20.0,
                                     .dump_current_A = 15.0,
                                     .absorption_end_current_A = 2.0},
                      .source_A = 10.0};
  if (dump != DumpControl::none) bench.dump_ohm = 14.58 / 15.0;
  return bench;
}

Charging from(const ChargingBench& bench, double charge) {
  return {.run = {.state = rested_state(bench.battery, charge, room_K), .sums = {}},
          .state = {},
          .points = {}};
}

std::vector<ChargeStage> stages_of(const Charging& charging) {
  std::vector<ChargeStage> stages = {ChargeStage::bulk};
  for (const ChargingPoint& point : charging.points) {
    if (point.output.stage != stages.back()) stages.push_back(point.output.stage);
  }
  return stages;
}

// Bulk, absorption, float in this order and once each; in absorption the voltage stays at its
// target and the current falls (within 1 %); float settles. By every way of holding the voltage
// that is continuous.
class FullCharge : public testing::TestWithParam<std::pair<SourceControl, DumpControl>> {};

TEST_P(FullCharge, GoesThroughItsStagesWithACurrentThatTailsOff) {
  const ChargingBench bench = bench_with(GetParam().first, GetParam().second);
  const Charging charging = charged(bench, from(bench, 0.4), 24.0);
  const std::vector<ChargeStage> expected = {ChargeStage::bulk, ChargeStage::absorption,
                                             ChargeStage::float_charge};
  EXPECT_EQ(stages_of(charging), expected);
  EXPECT_GT(state_of_charge(bench.battery, charging.run.state), 0.95);
  const double band_V = 6.0 * (0.005 + (GetParam().second == DumpControl::pwm ? 0.03 : 0.0));
  double in_absorption_s = 0.0;
  double lowest_A = bench.source_A;
  for (const ChargingPoint& point : charging.points) {
    if (point.output.stage == ChargeStage::bulk) {
      EXPECT_GT(point.charging_A, 0.97 * bench.source_A);
    }
    if (point.output.stage != ChargeStage::absorption) continue;
    in_absorption_s += 1.0;
    if (in_absorption_s < 900.0) continue;  // the controller has taken hold
    EXPECT_NEAR(point.voltage_V, point.output.target_V, band_V) << point.time_s;
    EXPECT_LE(point.charging_A, 1.01 * lowest_A) << point.time_s;
    lowest_A = std::min(lowest_A, point.charging_A);
  }
  EXPECT_GT(in_absorption_s, 1800.0);
  EXPECT_LT(lowest_A, 3.0);
  const ChargingPoint& last = charging.points.back();
  EXPECT_NEAR(last.voltage_V, last.output.target_V, band_V);
  EXPECT_LT(last.charging_A, 1.0);
  EXPECT_EQ(charging.state.source_switchings, 0);
  EXPECT_EQ(charging.state.dump_switchings, 0);
  EXPECT_EQ(charging.state.load_switchings, 0);
}

INSTANTIATE_TEST_SUITE_P(Controls, FullCharge,
                         testing::Values(std::pair(SourceControl::series_pwm, DumpControl::none),
                                         std::pair(SourceControl::shunt_pwm, DumpControl::none),
                                         std::pair(SourceControl::tracker, DumpControl::none),
                                         std::pair(SourceControl::always_on, DumpControl::pwm)));

TEST(ChargeController, TooSmallADeadbandChattersAndTheCountShowsIt) {
  const auto switchings = [](double deadband_V) {
    ChargingBench bench = bench_with(SourceControl::series_on_off);
    bench.controller.on_off_deadband_V = deadband_V;
    bench.controller.absorption_time_s = 1e6;
    bench.controller.absorption_end_current_A = 0.0;
    return charged(bench, from(bench, 0.9), 6.0).state.source_switchings;
  };
  const auto common = switchings(0.08);
  const auto small = switchings(0.001);
  RecordProperty("switchings_in_6_h_default", std::to_string(common));
  RecordProperty("switchings_in_6_h_small", std::to_string(small));
  EXPECT_GT(common, 0);
  EXPECT_LT(common, 6 * 120);  // less than two a minute
  EXPECT_GT(small, 10 * common);
}

TEST(ChargeController, DumpLoadWithADeadbandHoldsTheVoltageDown) {
  ChargingBench bench = bench_with(SourceControl::always_on, DumpControl::on_off);
  const auto run = [&](double deadband_V) {
    bench.controller.dump_deadband_V = deadband_V;
    return charged(bench, from(bench, 0.9), 4.0);
  };
  const Charging common = run(bench.controller.dump_deadband_V);
  const Charging small = run(0.001);
  double highest_V = 0.0;
  for (const ChargingPoint& point : common.points)
    highest_V = std::max(highest_V, point.voltage_V);
  EXPECT_LT(highest_V, 6.0 * (2.43 + 0.03 + 0.01));
  EXPECT_GT(common.state.dump_switchings, 0);
  EXPECT_GT(small.state.dump_switchings, 5 * common.state.dump_switchings);
}

// A full battery takes next to nothing: nearly all of the source goes into the dump load.
TEST(ChargeController, PulsedDumpLoadHoldsAFullBatteryWithin30s) {
  for (const auto kind : {BatteryKind::flooded, BatteryKind::agm}) {
    for (const double source_A : {0.3, 3.0, 7.0}) {
      ChargingBench bench = bench_with(SourceControl::always_on, DumpControl::pwm);
      bench.battery = typical_battery(kind, 6, 4.0 * hour_s);
      bench.controller.set_points = common_set_points(kind);
      bench.controller.dump_current_A = 8.0;
      bench.dump_ohm = 6.0 * bench.controller.set_points.absorption_V / 8.0;
      bench.source_A = source_A;
      const Charging charging = charged(bench, from(bench, 1.0), 0.07);
      double worst_V = 0.0;
      for (const ChargingPoint& point : charging.points) {
        if (point.time_s > 30.0)
          worst_V = std::max(worst_V, std::abs(point.voltage_V - point.output.target_V) / 6.0);
      }
      EXPECT_LT(worst_V, 0.1) << source_A;
    }
  }
}

TEST(ChargeController, ShuntShortCircuitsTheSourceWhenSeriesOpensIt) {
  const ControllerInput high{.battery_voltage_V = 15.0,
                             .battery_temperature_K = room_K,
                             .charging_current_A = 10.0,
                             .source = {}};
  const auto output = [&](SourceControl source) {
    return controller_step(bench_with(source).controller, {}, high).output;
  };
  EXPECT_EQ(output(SourceControl::series_on_off).source_share, 0.0);
  EXPECT_EQ(output(SourceControl::series_on_off).short_circuited_share, 0.0);
  EXPECT_EQ(output(SourceControl::shunt_on_off).short_circuited_share, 1.0);
  const ControllerOutput pulsed = output(SourceControl::shunt_pwm);
  EXPECT_GT(pulsed.short_circuited_share, 0.0);
  EXPECT_DOUBLE_EQ(pulsed.short_circuited_share + pulsed.source_share, 1.0);
}

TEST(ChargeController, LowVoltageTakesTheLoadsOffUntilTheBatteryHasRecovered) {
  ChargingBench bench = bench_with(SourceControl::series_pwm);
  bench.source_A = 0.0;
  bench.load_A = 10.0;
  Charging charging = charged(bench, from(bench, 0.3), 6.0);
  EXPECT_FALSE(charging.state.loads_connected);
  EXPECT_EQ(charging.state.load_switchings, 1);  // recovery at rest stays below the reconnect
  bench.source_A = 10.0;
  charging = charged(bench, charging, 6.0);
  EXPECT_TRUE(charging.state.loads_connected);
  EXPECT_EQ(charging.state.load_switchings, 2);
}

TEST(ChargeController, ReconnectTooNearTheDisconnectSwitchesTheLoadsOnAndOff) {
  ChargingBench bench = bench_with(SourceControl::series_pwm);
  bench.source_A = 0.0;
  bench.load_A = 10.0;
  bench.controller.set_points.low_voltage_reconnect_V =
      bench.controller.set_points.low_voltage_disconnect_V + 0.005;
  EXPECT_GT(charged(bench, from(bench, 0.3), 6.0).state.load_switchings, 10);
}

TEST(ChargeController, EqualisesWhenItIsDueAndOnlyWhatMayBe) {
  ChargingBench bench = bench_with(SourceControl::series_pwm);
  Charging charging = from(bench, 0.9);
  charging.state.since_equalise_s = bench.controller.equalise_interval_s;
  const std::vector<ChargeStage> with = {ChargeStage::bulk, ChargeStage::absorption,
                                         ChargeStage::equalise, ChargeStage::float_charge};
  const Charging flooded = charged(bench, charging, 10.0);
  EXPECT_EQ(stages_of(flooded), with);
  EXPECT_LT(flooded.state.since_equalise_s, 10.0 * hour_s);
  bench.controller.set_points = common_set_points(BatteryKind::gel);
  EXPECT_EQ(stages_of(charged(bench, charging, 10.0)).size(), 3U);
}

TEST(ChargeController, GoesBackToBulkAfterADeepDrawOnly) {
  ChargingBench bench = bench_with(SourceControl::series_pwm);
  Charging charging = charged(bench, from(bench, 0.9), 8.0);
  ASSERT_EQ(charging.state.stage, ChargeStage::float_charge);
  bench.load_A = 40.0;
  charging = charged(bench, charging, 0.1);  // shorter than the delay
  EXPECT_EQ(charging.state.stage, ChargeStage::float_charge);
  charging = charged(bench, charging, 1.0);
  EXPECT_EQ(charging.state.stage, ChargeStage::bulk);
}

TEST(ChargeController, CompensatesForTheBatterysTemperature) {
  const ChargeController controller = bench_with(SourceControl::series_pwm).controller;
  const double warm_V = target_V(controller, ChargeStage::absorption, room_K + 20.0);
  const double cold_V = target_V(controller, ChargeStage::absorption, room_K - 20.0);
  EXPECT_NEAR(cold_V - warm_V, 40.0 * 6.0 * 0.004, 1e-12);
  EXPECT_EQ(target_V(controller, ChargeStage::absorption, 200.0),
            target_V(controller, ChargeStage::absorption, 263.15));
}

TEST(ChargeController, DoesNotChargeLithiumBelowFreezing) {
  ChargingBench bench = bench_with(SourceControl::series_pwm, DumpControl::pwm);
  bench.controller.cells = 4;
  bench.controller.set_points = common_set_points(BatteryKind::lithium_iron_phosphate);
  ControllerInput cold{.battery_voltage_V = 13.2,
                       .battery_temperature_K = 272.0,
                       .charging_current_A = 0.0,
                       .source = {}};
  ControllerOutput output = controller_step(bench.controller, {}, cold).output;
  EXPECT_FALSE(output.charging_allowed);
  EXPECT_EQ(output.source_share, 0.0);
  EXPECT_EQ(output.dump_share, 1.0);
  bench.controller.source = SourceControl::tracker;
  EXPECT_EQ(controller_step(bench.controller, {}, cold).output.output_current_limit_A, 0.0);
  bench.controller.source = SourceControl::shunt_pwm;
  EXPECT_EQ(controller_step(bench.controller, {}, cold).output.short_circuited_share, 1.0);
  cold.battery_temperature_K = 274.0;
  output = controller_step(bench.controller, {}, cold).output;
  EXPECT_TRUE(output.charging_allowed);
}

TEST(ChargeController, SaysWhatIsWrong) {
  ChargeController controller = bench_with(SourceControl::series_pwm).controller;
  controller.set_points.low_voltage_reconnect_V = 1.8;
  try {
    require_controller(controller);
    FAIL();
  } catch (const base::BadInput& error) {
    EXPECT_EQ(std::string(error.what()),
              "charge controller: the low-voltage reconnect is 1.8: above the disconnect");
  }
  controller = bench_with(SourceControl::series_pwm).controller;
  EXPECT_THROW(controller_step(controller, {},
                               {.battery_voltage_V = NAN,
                                .battery_temperature_K = room_K,
                                .charging_current_A = 0.0,
                                .source = {}}),
               base::BadInput);
}

}  // namespace
}  // namespace windwright::physics
