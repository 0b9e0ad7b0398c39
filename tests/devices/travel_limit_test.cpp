// SPDX-License-Identifier: Apache-2.0
#include "devices/travel_limit.h"

#include "base/errors.h"
#include "bench/bench.h"
#include "bench/device.h"

#include <gtest/gtest.h>

#include <memory>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::devices {
namespace {

using Commands = std::vector<std::pair<std::string, double>>;

class NotingDevice final : public bench::Device {
 public:
  explicit NotingDevice(Commands& commands) : commands_(commands) {}
  const std::string& name() const override { return name_; }
  double sample_rate_hz() const override { return 100.0; }
  base::UtcTime now() const override { return {}; }
  void set(std::string_view actuator, double value) override {
    commands_.emplace_back(actuator, value);
  }
  void apply_known_input(std::string_view, double) override {}
  void remove_known_input() override {}
  void read(bench::SampleBlock&) override {}
  void stop() noexcept override { commands_.emplace_back("stop", 0.0); }
  std::string bookmark() const override { return "here"; }
  void return_to(std::string_view bookmark) override { EXPECT_EQ(bookmark, "here"); }

 private:
  Commands& commands_;
  std::string name_ = "noting";
};

bench::Bench bench_with_travel(double full_travel_s) {
  bench::Bench bench{};
  bench.block_s = 0.5;
  for (const char* name : {"fan_pct", "rheostat_ohm"}) {
    bench::Actuator actuator{};
    actuator.name = name;
    actuator.lowest = 0.0;
    actuator.highest = 100.0;
    actuator.full_travel_s = std::string(name) == "fan_pct" ? full_travel_s : 0.0;
    bench.actuators.push_back(actuator);
  }
  return bench;
}

TEST(TravelLimit, MovesNoFasterThanItMay) {
  const bench::Bench bench = bench_with_travel(10.0);
  Commands commands;
  const auto device = with_travel_limits(bench, std::make_unique<NotingDevice>(commands));
  bench::SampleBlock block;
  device->set("fan_pct", 12.0);
  device->set("rheostat_ohm", 30.0);
  EXPECT_EQ(commands, (Commands{{"rheostat_ohm", 30.0}}));
  commands.clear();
  for (int i = 0; i < 5; ++i)
    device->read(block);
  EXPECT_EQ(commands, (Commands{{"fan_pct", 5.0}, {"fan_pct", 10.0}, {"fan_pct", 12.0}}));
  commands.clear();
  device->set("fan_pct", 4.0);
  for (int i = 0; i < 5; ++i)
    device->read(block);
  EXPECT_EQ(commands, (Commands{{"fan_pct", 7.0}, {"fan_pct", 4.0}}));
}

TEST(TravelLimit, NeverHoldsUpTheSafeState) {
  const bench::Bench bench = bench_with_travel(10.0);
  Commands commands;
  const auto device = with_travel_limits(bench, std::make_unique<NotingDevice>(commands));
  bench::SampleBlock block;
  device->set("fan_pct", 50.0);
  device->read(block);
  device->stop();
  device->read(block);
  EXPECT_EQ(commands, (Commands{{"fan_pct", 5.0}, {"stop", 0.0}}));
}

TEST(TravelLimit, SaysAgainWhatItIsAtAlready) {
  const bench::Bench bench = bench_with_travel(1.0);
  Commands commands;
  const auto device = with_travel_limits(bench, std::make_unique<NotingDevice>(commands));
  bench::SampleBlock block;
  device->set("fan_pct", 40.0);
  device->set("fan_pct", 40.0);
  EXPECT_TRUE(commands.empty()) << "on its way there";
  device->read(block);
  device->set("fan_pct", 40.0);
  EXPECT_EQ(commands, (Commands{{"fan_pct", 40.0}, {"fan_pct", 40.0}}));
}

TEST(TravelLimit, RefusesWhatIsOutsideTheLimits) {
  const bench::Bench bench = bench_with_travel(10.0);
  Commands commands;
  const auto device = with_travel_limits(bench, std::make_unique<NotingDevice>(commands));
  EXPECT_THROW(device->set("fan_pct", 100.5), base::DeviceFault);
  EXPECT_THROW(device->set("rheostat_ohm", -1.0), base::DeviceFault);
  EXPECT_TRUE(commands.empty());
}

TEST(TravelLimit, GoesOnAtABookmark) {
  const bench::Bench bench = bench_with_travel(10.0);
  Commands commands;
  bench::SampleBlock block;
  std::string bookmark;
  {
    const auto device = with_travel_limits(bench, std::make_unique<NotingDevice>(commands));
    device->set("fan_pct", 12.0);
    device->read(block);
    bookmark = device->bookmark();
  }
  commands.clear();
  const auto device = with_travel_limits(bench, std::make_unique<NotingDevice>(commands));
  device->return_to(bookmark);
  device->read(block);
  EXPECT_EQ(commands, (Commands{{"fan_pct", 10.0}}));
  EXPECT_THROW(device->return_to("{\"travels\": []}"), base::BadInput);
}

TEST(TravelLimit, IsNotThereWhereNothingTravels) {
  const bench::Bench bench = bench_with_travel(0.0);
  Commands commands;
  auto inner = std::make_unique<NotingDevice>(commands);
  const bench::Device* same = inner.get();
  EXPECT_EQ(with_travel_limits(bench, std::move(inner)).get(), same);
}

}  // namespace
}  // namespace windwright::devices
