// SPDX-License-Identifier: Apache-2.0
#include "end_to_end/fault_world.h"

#include "base/errors.h"
#include "bench/certificates.h"
#include "bench/safe_state.h"
#include "devices/modbus_registers.h"
#include "devices/travel_limit.h"
#include "guard/configuration.h"
#include "guard/stop_logic.h"
#include "guard/stop_sequence.h"
#include "signal/statistics.h"

#include <fmt/format.h>
#include <sys/mman.h>
#include <unistd.h>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <fstream>
#include <functional>
#include <map>
#include <memory>
#include <optional>
#include <regex>
#include <set>
#include <stdexcept>
#include <string>
#include <string_view>
#include <system_error>
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
constexpr double no_limit = 600.0;  // as much as a register holds
constexpr auto look_every = std::chrono::milliseconds(5);

std::vector<metrology::Certificate> all_certificates(const bench::Bench& bench) {
  std::vector<metrology::Certificate> all;
  for (const auto& one : bench::certificates_there_are(bench))
    all.push_back(one.value());
  return all;
}

// What is answered where it is asked for.
guard::Command at_once(std::function<std::optional<std::string>()> action) {
  auto outcome = std::make_shared<guard::Outcome>();  // shared: both functions know it
  return {.ask =
              [outcome, action = std::move(action)] {
                outcome->failure = action();
                return ++outcome->number;
              },
          .outcome = [outcome] { return *outcome; }};
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

FaultBench::FaultBench(const std::filesystem::path& of)
    : folder(of),
      bench(bench::bench_from_file(of / "bench.toml")),
      certificates(all_certificates(bench)),
      plant(bench, twin::Pace::as_fast_as_possible),
      fresh(plant.bookmark()) {}

FaultWorld::FaultWorld(FaultBench& of, const Drive& drive, double watchdog_s)
    : bench_(of.bench),
      acquisition_own_(bench_),
      guard_own_(bench_),
      certificates_(of.certificates),
      device_(std::make_unique<Plant>(of)),
      served_(std::make_unique<devices::ServedBench>(
          bench_, *device_, devices::ServedBench::Options{.watchdog_s = watchdog_s})),
      driver_(devices::with_travel_limits(acquisition_own_,
                                          std::make_unique<Link>(acquisition_own_, *this))) {
  guard::Tap::remove(guard::tap_name(bench_));
  acquisition_interlocks_ = std::make_unique<guard::Interlocks>(
      acquisition_own_, certificates_,
      guard::Interlocks::Options{.also = {rotor_speed}, .folder = of.folder});
  std::optional<guard::Tap> tap =
      guard::Tap::open(guard::tap_name(bench_), guard::tap_shape(bench_), guard::Side::guard,
                       guard::configuration_of(bench_));
  guard_ = std::make_unique<guard::GuardWatch>(
      std::move(tap.value()),
      guard::GuardOptions{.silence_s = bench_.guard.silence_s,
                          .configuration = guard::configuration_of(bench_)},
      [this] { return guard_judge(); },
      guard::OwnWay{.make_safe = at_once([this] { return command_safe_state(guard_cut_); }),
                    .feed = at_once([this]() -> std::optional<std::string> {
                      if (guard_cut_) return "no connection";
                      const std::uint16_t word = ++beat_;
                      served_->write(served_->map().guard_heartbeat_address, std::span(&word, 1));
                      return std::nullopt;
                    })},
      [this](std::string_view event, const std::string& text) {
        if (event == "trip") notice("guard", text);
      });
  const std::string tap_of_bench = guard::tap_name(bench_);
  const Held before = held_of(tap_of_bench);
  watch_ = std::make_unique<guard::AcquisitionWatch>(acquisition_own_);
  watch_holds_ = held_of(tap_of_bench);
  for (const int descriptor : before.descriptors)
    watch_holds_.descriptors.erase(descriptor);
  for (const auto& [place, bytes] : before.mappings)
    watch_holds_.mappings.erase(place);
  if (watch_holds_.descriptors.size() != 1 || watch_holds_.mappings.size() != 1)
    throw std::logic_error("what the acquisition holds of the tap is not known");
  start(of, drive);
}

FaultWorld::Held FaultWorld::held_of(const std::string& tap) {
  Held held;
  for (const auto& entry : std::filesystem::directory_iterator("/proc/self/fd")) {
    std::error_code gone;  // the listing's own
    const std::string file = std::filesystem::read_symlink(entry, gone).string();
    if (file.find(tap) == std::string::npos) continue;
    held.descriptors.insert(std::stoi(entry.path().filename().string()));
  }
  std::ifstream maps("/proc/self/maps");
  for (std::string line; std::getline(maps, line);) {
    if (line.find(tap) == std::string::npos) continue;
    constexpr int hexadecimal = 16;
    const std::uintptr_t first = std::stoull(line, nullptr, hexadecimal);
    const std::uintptr_t end = std::stoull(line.substr(line.find('-') + 1), nullptr, hexadecimal);
    held.mappings[first] = end - first;
  }
  return held;
}

FaultWorld::~FaultWorld() {
  guard_.reset();
  if (acquisition_dead_) watch_.release();  // what it held is gone: nothing to tidy up
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

void FaultWorld::start(FaultBench& of, const Drive& drive) {
  guard_->look(now_);
  watch_->begin(now_);
  layer_ = std::make_unique<guard::AcquisitionLayer>(
      acquisition_own_, *driver_,
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
  for (double t = 0.0; t < acquisition_own_.actuator(fan).full_travel_s; t += step_s)
    driver_->read(unread_);
  const bool known = of.driven_to == drive;
  if (!known) device_->plant.advance(run_up_s);
  layer_->set("rheostat_ohm", drive.rheostat_ohm);
  if (known) return device_->plant.return_to(of.driven);
  device_->plant.advance(settling_s);
  of.driven_to = drive;
  of.driven = device_->plant.bookmark();
}

void FaultWorld::notice(const std::string& who, const std::string& cause) {
  if (first_cause_.empty()) first_cause_ = who + ": " + cause;
}

void FaultWorld::step() {
  served_->pass();
  if (served_->tripped()) notice("watchdog", served_->trip_cause());
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
  driver_->read(unread_);  // moves what travels; the samples are the device's last
  std::optional<guard::Trip> trip = acquisition_interlocks_->judge(block);
  if (acquisition_blind_) trip.reset();
  const double speed = signal::mean(acquisition_interlocks_->values(rotor_speed));
  const auto told = layer_->look(block, trip, speed);
  if (told.trip) notice("acquisition", told.trip->cause);
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
  const std::uint16_t stop = 1;
  served_->write(served_->map().stop_address, std::span(&stop, 1));
  for (std::size_t i = 0; i < bench_.actuators.size(); ++i) {
    const bench::Actuator& actuator = bench_.actuators[i];
    if (bench::is_switched_off(actuator.name)) write(i, 0.0);
    if (actuator.name == bench::load_selector) write(i, bench::loaded_position(actuator));
  }
  return std::nullopt;
}

void FaultWorld::kill_acquisition() {
  // The lock by which it lives goes with the last of both.
  for (const int descriptor : watch_holds_.descriptors)
    ::close(descriptor);
  for (const auto& [place, bytes] : watch_holds_.mappings)
    ::munmap(reinterpret_cast<void*>(place), bytes);
  acquisition_dead_ = true;
}

void FaultWorld::fill_disk() {
  for (bench::Interlock& interlock : acquisition_own_.interlocks) {
    if (interlock.kind == bench::Interlock::Kind::disk) interlock.lowest = 1e15;
  }
}

void FaultWorld::kill_limits() {
  device_->plant.start_fault({.kind = twin::FaultKind::dead_limits});
  for (bench::Bench* each : {&bench_, &acquisition_own_}) {
    for (bench::Actuator& actuator : each->actuators) {
      if (actuator.positions.empty() && !actuator.manual) actuator.highest = no_limit;
    }
  }
}

void FaultWorld::kill_all_software() {
  all_dead_ = true;
  acquisition_frozen_ = true;
  guard_frozen_ = true;
  kill_limits();
}

void FaultWorld::blow_fuse() {
  device_->plant.start_fault({.kind = twin::FaultKind::blown_fuse});
  fuse_blown_ = true;
}

bool FaultWorld::lose_load() {
  if (!truth().fan_power) return false;
  const double none = bench_.actuator(bench::load_selector).position("none").value_or(0.0);
  device_->plant.set(bench::load_selector, none);
  return device_->plant.setting(bench::load_selector) == none;
}

bool FaultWorld::drive_on_without_load(double fan_pct) {
  if (!lose_load()) return false;
  device_->plant.set(fan, fan_pct);
  return true;
}

bool FaultWorld::ask_for(const std::string& actuator, double value) {
  if (all_dead_) {
    device_->plant.set(actuator, value);
    return true;
  }
  const bool there = !acquisition_dead_ && !acquisition_frozen_ && !acquisition_cut_;
  if (!there || !guard::permits_fan(layer_->state())) return false;
  try {
    layer_->set(actuator, value);
  } catch (const base::DeviceFault& refused) {  // as a run ends by it
    driver_->stop();
    layer_->lose_device(refused.what());
    notice("limits", refused.what());
  }
  return true;
}

void FaultWorld::blow(double peak_m_s, double duration_s) {
  const double now_m_s = device_->plant.truth().at("air_speed_m_s");
  device_->plant.start_gust({.shape = physics::GustShape::one_minus_cosine,
                             .duration_s = duration_s,
                             .amplitude_m_s = std::max(0.0, peak_m_s - now_m_s)});
}

void FaultWorld::heat_winding(double winding_K) {
  std::string mark = device_->plant.bookmark();
  for (const char* part : {"winding_K", "frame_K"}) {
    mark = std::regex_replace(mark, std::regex(fmt::format(R"("{}":[^,}}]*)", part)),
                              fmt::format(R"("{}":"{}")", part, winding_K));
  }
  device_->plant.return_to(mark);
}

bool FaultWorld::is_stopping() const {
  return !acquisition_dead_ && !acquisition_frozen_ && !acquisition_cut_ && layer_->is_stopping();
}

FaultWorld::Truth FaultWorld::truth() const {
  const std::map<std::string, double> all = device_->plant.truth();
  const auto is = [&](const char* what) { return all.at(what) != 0.0; };
  const bool contactor_in = is("fan_contactor");
  const double fan_at = device_->plant.setting(fan).value_or(1.0);
  const double load = device_->plant.setting(bench::load_selector).value_or(0.0);
  const double speed_rad_s = all.at(rotor_speed);
  const bool violates =
      std::any_of(bench_.interlocks.begin(), bench_.interlocks.end(), [&](const auto& interlock) {
        const bool of_truth = interlock.kind == bench::Interlock::Kind::bound &&
                              interlock.with.empty() && std::isfinite(interlock.highest);
        return of_truth && all.at(interlock.channel) > interlock.highest;
      });
  return {.of_speed_limit = speed_rad_s / rotor_limit_rad_s,
          .fan_power = contactor_in && fan_at > 0.0,
          .loaded = !contactor_in || (load != 0.0 && !fuse_blown_),
          .stands = speed_rad_s < guard::standstill_rad_s,
          .violates = violates};
}

}  // namespace windwright::end_to_end
