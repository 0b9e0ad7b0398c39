// SPDX-License-Identifier: Apache-2.0
// What a driver does with blocks, commands and trips, on the device's thread.
#include "bench/safe_state.h"
#include "campaign/proof.h"
#include "guard/standstill.h"
#include "station/driver.h"
#include "station/refusal.h"

#include <boost/json.hpp>
#include <fmt/format.h>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <mutex>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::station {

namespace {

std::chrono::nanoseconds length(std::size_t samples, double rate_hz) {
  return std::chrono::duration_cast<std::chrono::nanoseconds>(
      std::chrono::duration<double>(static_cast<double>(samples) / rate_hz));
}

}  // namespace

bool Driver::heard(const bench::SampleBlock& block) {
  bool stop_now = false;
  {
    const std::scoped_lock lock(mutex_);
    live_->take(block);
    bins_->begin(block.first_sample, block.start, block.samples);
    tail_->begin(!block.gap_before && block.first_sample == next_sample_, block.samples);
    next_sample_ = block.first_sample + static_cast<std::int64_t>(block.samples);
    figures_.resize(live_->channels().size());
    for (std::size_t i = 0; i < figures_.size(); ++i) {
      bins_->take(i, live_->values(i));
      tail_->take(i, live_->values(i));
      figures_[i] = live_->figures(i);
      newest_[i] = static_cast<float>(figures_[i].mean);
    }
    if (std::optional<LiveMeans> means = running_means_->take(block, *live_, figures_)) {
      means->number = means_.number + 1;
      means_ = std::move(*means);
    }
    shown_.device_time = block.start + length(block.samples, bench_.sample_rate_hz);
    shown_.host_time = base::host_now();
    shown_.samples += static_cast<std::int64_t>(block.samples);
    if (block.gap_before) ++shown_.gaps;
    stop_now = stop_wanted_ == 0;
  }
  keep(trip_ring_->append(block));
  if (listener_.on_block) listener_.on_block();
  return stop_now;
}

// By the bench's own blocks, as the interlocks are described.
void Driver::judge(const bench::SampleBlock& block) {
  seen_ = interlocks_ ? interlocks_->judge(block) : std::nullopt;
  const std::size_t speed = bench_.channel_index("rotor_speed_rad_s");
  const std::size_t voltage = bench_.channel_index("dc_voltage_V");
  const std::scoped_lock lock(mutex_);
  rotor_speed_rad_s_ = live_->channels()[speed].calibrated ? figures_[speed].mean : 1e9;
  const acquisition::LiveChannel& seen = live_->channels()[voltage];
  const bool still = seen.calibrated &&
                     guard::is_seen_to_stand(rotor_speed_rad_s_, figures_[voltage].mean, seen.span);
  stands_for_s_ =
      still ? stands_for_s_ + static_cast<double>(block.samples) / bench_.sample_rate_hz : 0.0;
}

void Driver::latch(const guard::Trip& trip) {
  if (trip_) return;
  trip_ = trip;
  // A run has it all in its own recording.
  if (trip_ring_ && !(in_task_ && task_drives_)) trip_ring_->tripped();
  tell("trip", {{"text", in_words(trip)},
                {"interlock", trip.interlock},
                {"stop_category", trip.stop_category},
                {"device_time", base::utc_text(trip.time)}});
}

bool Driver::whole(const bench::SampleBlock& block) {
  // A known input on a sensor says nothing about the bench, which stands still meanwhile.
  if (known_input_ || (in_task_ && !task_drives_)) {
    seen_.reset();
    stands_for_s_ = 0.0;
    return false;
  }
  judge(block);
  // A campaign's own layer of the guard sees the same block and does what is to be done.
  if (in_task_ && seen_) latch(*seen_);
  show();
  return false;
}

void Driver::carry_out_stop(HeardDevice& device) {
  std::optional<int> wanted;
  std::optional<guard::Trip> trip;
  {
    const std::scoped_lock lock(mutex_);
    wanted = stop_wanted_;
    trip = trip_wanted_;
    trip_wanted_.reset();
  }
  if (trip) {
    layer_->take(guard::violation_event(trip->stop_category), *trip);
    latch(*trip);
  }
  if (!wanted) return;
  if (layer_->state() == guard::State::running) layer_->ask_end();
  // Whatever was driven or not: the safe state, unless it is to come down under control.
  if (*wanted == 0 || layer_->state() == guard::State::safe) {
    device.stop();
    layer_->take_over({});  // what the device makes of that is its own
  }
  show();
  const std::scoped_lock lock(mutex_);
  stop_wanted_.reset();
  changed_.notify_all();
}

// Between two blocks, while no task has the device.
void Driver::after_block(HeardDevice& device, const bench::SampleBlock& block) {
  const guard::AcquisitionLayer::Step step = layer_->look(block, seen_, rotor_speed_rad_s_);
  if (step.trip) latch(*step.trip);
  carry_out_stop(device);
  show();
}

void Driver::commanded(std::string_view actuator, double value) {
  {
    const std::scoped_lock lock(mutex_);
    shown_.commanded[std::string(actuator)] = value;
  }
  if (!in_task_) return;
  // A stop is commanded again until it is seen to be done: told once.
  const auto [place, is_new] = told_.try_emplace(std::string(actuator), value);
  if (is_new || std::exchange(place->second, value) != value)
    tell("command", {{"actuator", actuator}, {"value", value}});
}

void Driver::stopped() {
  const std::scoped_lock lock(mutex_);
  for (const bench::Actuator& actuator : bench_.actuators) {
    if (bench::is_switched_off(actuator.name)) shown_.commanded[actuator.name] = 0.0;
    const auto selected = shown_.commanded.find(actuator.name);
    if (actuator.name == bench::load_selector && !actuator.manual &&
        selected != shown_.commanded.end() && selected->second == 0.0) {
      selected->second = bench::loaded_position(actuator);
    }
  }
}

void Driver::known_input(std::string_view channel, std::optional<double> value) {
  known_input_ = value.has_value();
  boost::json::object members{{"channel", channel}};
  members["value"] = value ? boost::json::value(*value) : boost::json::value(nullptr);
  tell("known_input", std::move(members));
}

// As for a recording that drives: proved interlocks, or a reason that is kept.
void Driver::require_proof(const HeardDevice& device, const std::string& reason,
                           const std::string& person) const {
  const std::string remark = campaign::proof_remark(bench_, device.name(), device.now());
  if (remark.empty()) return;
  if (reason.empty()) {
    Refusal refusal(409, "the interlocks are not proved: " + remark,
                    "prove them, or give a reason, which is noted");
    refusal.where = "reason";
    refusal.code = "unproved";
    throw refusal;
  }
  campaign::note_unproved(bench_, device.now(), {.remark = remark, .reason = reason, .by = person});
}

void Driver::command(HeardDevice& device, const Station::Command& command,
                     const std::string& person) {
  const auto& [actuator, value, reason] = command;
  const bench::Actuator& known = bench_.actuator(actuator);
  if (!std::isfinite(value) || value < known.lowest || value > known.highest) {
    Refusal refusal(422, fmt::format("{} is to be {:g}", actuator, value),
                    fmt::format("{:g} to {:g}", known.lowest, known.highest));
    refusal.where = "value";
    throw refusal;
  }
  if (layer_->is_tripped() || layer_->is_stopping()) {
    throw Refusal(409, fmt::format("the bench is {}", guard::name(layer_->state())),
                  layer_->is_tripped() ? "reset the trip first" : "wait until it stands still")
        .as(layer_->is_tripped() ? "tripped" : "stopping");
  }
  const bool drives = bench::is_switched_off(actuator) && value != 0.0;
  if ((drives || known.manual) && !interlocks_) {
    throw Refusal(409, "a channel has no certificate, so no interlock can judge",
                  "calibrate every channel first")
        .as("uncalibrated");
  }
  if (known.manual &&
      (layer_->state() != guard::State::safe || stands_for_s_ < guard::shortest_rest_s)) {
    throw Refusal(
        409, fmt::format("{} is changed by hand, and the bench is not seen to stand", actuator),
        "switch off what is on, and wait until the rotor has stood for a second")
        .as("turns");
  }
  if (drives && layer_->state() == guard::State::safe) {
    require_no_trip_elsewhere();
    require_proof(device, reason, person);
    begin_watch();
    if (const auto why = layer_->start(interlocks_->standing())) {
      throw Refusal(409, "the bench may not be driven: " + *why, "put that right first")
          .as("not_driven");
    }
    // The guard's consent may take its time.
    const std::scoped_lock lock(mutex_);
    if (stop_wanted_) {
      throw Refusal(409, "a stop is on its way", "wait until the bench stands still")
          .as("stopping");
    }
  }
  layer_->set(actuator, value);
  tell("command", {{"actuator", actuator}, {"value", value}, {"person", person}});
  const bool off =
      std::all_of(bench_.actuators.begin(), bench_.actuators.end(), [&](const auto& each) {
        return !bench::is_switched_off(each.name) ||
               layer_->commanded(each.name).value_or(0.0) == 0.0;
      });
  if (off && layer_->state() == guard::State::running) layer_->ask_end();
  show();
}

void Driver::reset(const std::string& reason, bool at_bench, const std::string& person) {
  if (!trip_ && !layer_->is_tripped()) {
    throw Refusal(409, "nothing has tripped", "a reset after a trip").as("not_tripped");
  }
  const std::vector<std::string> standing =
      interlocks_ ? interlocks_->standing() : std::vector<std::string>();
  if (const auto why = layer_->reset(standing, at_bench)) {
    throw Refusal(409, "the trip is not reset: " + *why,
                  "find and remove the cause at the bench, then reset it there")
        .as("not_reset");
  }
  if (interlocks_) interlocks_->reset();
  tell("reset",
       {{"text", reason}, {"person", person}, {"of", trip_ ? trip_->interlock : std::string("?")}});
  trip_.reset();
  show();
}

}  // namespace windwright::station
