// SPDX-License-Identifier: Apache-2.0
#include "end_to_end/fault_world.h"

#include "bench/certificates.h"
#include "bench/safe_state.h"
#include "devices/modbus_registers.h"
#include "guard/configuration.h"
#include "guard/stop_logic.h"
#include "signal/statistics.h"

#include <unistd.h>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <memory>
#include <optional>
#include <set>
#include <stdexcept>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::end_to_end {

namespace {

constexpr const char* rotor_speed = "rotor_speed_rad_s";
constexpr const char* fan = "fan_pct";
// Under a heavy load a rotor stalls instead of starting.
constexpr double run_up_ohm = 60.0;
constexpr double run_up_s = 6.0;
constexpr double settling_s = 2.5;
constexpr auto look_every = std::chrono::milliseconds(5);

std::vector<metrology::Certificate> all_certificates(const bench::Bench& bench) {
  std::vector<metrology::Certificate> all;
  for (const auto& one : bench::certificates_there_are(bench))
    all.push_back(one.value());
  return all;
}

std::set<int> open_descriptors() {
  std::set<int> all;
  for (const auto& entry : std::filesystem::directory_iterator("/proc/self/fd"))
    all.insert(std::stoi(entry.path().filename().string()));
  return all;
}

double limit_of(const bench::Bench& bench) {
  for (const bench::Interlock& interlock : bench.interlocks) {
    if (interlock.channel == rotor_speed && interlock.kind == bench::Interlock::Kind::bound)
      return interlock.highest;
  }
  throw std::logic_error("no overspeed interlock");
}

}  // namespace

void FaultWorld::Plant::read(bench::SampleBlock& block) {
  plant.read(block);
  block.start += std::chrono::nanoseconds(std::llround(1e9 * clock_step_s));
  last = block;
}

void FaultWorld::Link::set(std::string_view actuator, double value) {
  if (world_.acquisition_cut_) return;
  for (std::size_t i = 0; i < bench_.actuators.size(); ++i) {
    if (bench_.actuators[i].name == actuator) world_.write(i, value);
  }
}

FaultWorld::FaultWorld(const std::filesystem::path& folder, const Drive& drive, double watchdog_s)
    : bench_(bench::bench_from_file(folder / "bench.toml")),
      acquisition_own_(bench_),
      guard_own_(bench_),
      certificates_(all_certificates(bench_)),
      limit_rad_s_(limit_of(bench_)),
      device_(std::make_unique<Plant>(bench_)),
      served_(std::make_unique<devices::ServedBench>(
          bench_, *device_, devices::ServedBench::Options{.watchdog_s = watchdog_s})),
      link_(acquisition_own_, *this) {
  guard::Tap::remove(guard::tap_name(bench_));
  acquisition_interlocks_ = std::make_unique<guard::Interlocks>(
      acquisition_own_, certificates_,
      guard::Interlocks::Options{.also = {rotor_speed}, .folder = folder});
  std::optional<guard::Tap> tap =
      guard::Tap::open(guard::tap_name(bench_), guard::tap_shape(bench_), guard::Side::guard,
                       guard::configuration_of(bench_));
  guard_ = std::make_unique<guard::GuardWatch>(
      std::move(tap.value()),
      guard::GuardOptions{.silence_s = bench_.guard.silence_s,
                          .configuration = guard::configuration_of(bench_)},
      [this] { return guard_judge(); },
      guard::OwnWay{.make_safe = [this] { return command_safe_state(guard_cut_); },
                    .feed = [this]() -> std::optional<std::string> {
                      if (guard_cut_) return "no connection";
                      const std::uint16_t word = ++beat_;
                      served_->write(served_->map().guard_heartbeat_address, std::span(&word, 1));
                      return std::nullopt;
                    }},
      [this](std::string_view event, const std::string& text) {
        if (event == "trip" && first_cause_.empty()) first_cause_ = "guard: " + text;
      });
  const std::set<int> before = open_descriptors();
  watch_ = std::make_unique<guard::AcquisitionWatch>(acquisition_own_);
  for (const int descriptor : open_descriptors()) {
    if (!before.contains(descriptor)) watch_descriptors_.push_back(descriptor);
  }
  start(drive);
}

FaultWorld::~FaultWorld() {
  guard_.reset();
  if (acquisition_dead_) watch_.release();  // its descriptors are closed: what a process leaves
  guard::Tap::remove(guard::tap_name(bench_));
}

guard::Judge FaultWorld::guard_judge() {
  guard_interlocks_ = std::make_unique<guard::Interlocks>(
      guard_own_, certificates_, guard::Interlocks::Options{.also = {rotor_speed}});
  return {
      .judge = [this](const bench::SampleBlock& block) -> std::optional<guard::Trip> {
        return guard_blind_ ? std::nullopt : guard_interlocks_->judge(block);
      },
      .standing = [this] { return guard_interlocks_->standing(); },
      .rotor_speed_rad_s = [this] { return signal::mean(guard_interlocks_->values(rotor_speed)); }};
}

void FaultWorld::start(const Drive& drive) {
  guard_->look(now_);
  watch_->begin(now_);
  layer_ = std::make_unique<guard::AcquisitionLayer>(
      acquisition_own_, link_,
      guard::AcquisitionLayer::Options{
          .other = {.ask_to_run = [this](const guard::Words& own) -> std::optional<std::string> {
                      for (int tries = 0; tries < 100; ++tries) {
                        watch_->tell(own, {}, now_);
                        if (!watch_->runs_not(now_)) return std::nullopt;
                        now_ += look_every;
                        guard_->look(now_);
                      }
                      return watch_->runs_not(now_);
                    },
                    .look =
                        [this](const bench::SampleBlock& block, const guard::Words& own,
                               const std::string& cause) {
                          return watch_->look(block, own, cause, now_);
                        },
                    .tell = [this](const guard::Words& own,
                                   const std::string& cause) { watch_->tell(own, cause, now_); }}});
  for (int blocks = 0; blocks < 5; ++blocks)
    step();
  if (const auto why = layer_->start(acquisition_interlocks_->standing()))
    throw std::logic_error("does not start: " + *why);
  layer_->set("rheostat_ohm", run_up_ohm);
  layer_->set("load_selector", bench_.actuator("load_selector").position("rheostat").value_or(1.0));
  layer_->set(fan, drive.fan_pct);
  device_->plant.advance(run_up_s);
  layer_->set("rheostat_ohm", drive.rheostat_ohm);
  device_->plant.advance(settling_s);
}

void FaultWorld::step() {
  served_->pass();
  now_ += look_every;
  run_guard();
  run_acquisition();
  now_ += look_every;
  run_guard();
}

void FaultWorld::run_acquisition() {
  // A client whose link is cut waits for it.
  if (acquisition_dead_ || acquisition_frozen_ || acquisition_cut_ || !layer_) return;
  const bench::SampleBlock& block = device_->last;
  std::optional<guard::Trip> trip = acquisition_interlocks_->judge(block);
  if (acquisition_blind_) trip.reset();
  const double speed = signal::mean(acquisition_interlocks_->values(rotor_speed));
  const auto told = layer_->look(block, trip, speed);
  if (told.trip && first_cause_.empty()) first_cause_ = "acquisition: " + told.trip->cause;
  if (!guard::feeds_watchdog(layer_->state())) return;
  const std::uint16_t word = ++beat_;
  served_->write(served_->map().heartbeat_address, std::span(&word, 1));
}

void FaultWorld::run_guard() {
  if (guard_ && !guard_frozen_) guard_->look(now_);
}

void FaultWorld::write(std::size_t actuator, double value) {
  const bench::ModbusActuator& placed = served_->map().actuators[actuator];
  const std::vector<std::uint16_t> words =
      devices::registers_of(value * placed.scale, placed.place);
  served_->write(placed.place.address, words);
}

std::optional<std::string> FaultWorld::command_safe_state(bool cut) {
  if (cut) return "no connection";
  for (std::size_t i = 0; i < bench_.actuators.size(); ++i) {
    const bench::Actuator& actuator = bench_.actuators[i];
    if (bench::is_switched_off(actuator.name)) write(i, 0.0);
    if (actuator.name == bench::load_selector) write(i, bench::loaded_position(actuator));
  }
  return std::nullopt;
}

void FaultWorld::kill_acquisition() {
  for (const int descriptor : watch_descriptors_)
    ::close(descriptor);
  acquisition_dead_ = true;
}

void FaultWorld::fill_disk() {
  for (bench::Interlock& interlock : acquisition_own_.interlocks) {
    if (interlock.kind == bench::Interlock::Kind::disk) interlock.lowest = 1e15;
  }
}

bool FaultWorld::lose_load() {
  const double none = bench_.actuator(bench::load_selector).position("none").value_or(0.0);
  device_->plant.set(bench::load_selector, none);
  return device_->plant.setting(bench::load_selector) == none;
}

double FaultWorld::rotor_speed_rad_s() const {
  return device_->plant.truth().at("rotor_speed_rad_s");
}

bool FaultWorld::has_fan_power() const {
  return device_->plant.truth().at("fan_contactor") != 0.0 &&
         device_->plant.setting(fan).value_or(1.0) > 0.0;
}

}  // namespace windwright::end_to_end
