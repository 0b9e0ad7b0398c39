// SPDX-License-Identifier: Apache-2.0
#include "station/station.h"

#include "campaign/guard_logbook.h"
#include "station/driver.h"
#include "station/refusal.h"

#include <functional>
#include <memory>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::station {

Station::Station(const StationOptions& options, StationListener listener)
    : driver_(std::make_unique<Driver>(options, std::move(listener))) {}

Station::~Station() = default;

const std::string& Station::id() const {
  return driver_->options().id;
}
const bench::Bench& Station::bench() const {
  return driver_->bench();
}
Snapshot Station::snapshot() const {
  return driver_->snapshot();
}
std::vector<acquisition::LiveChannel> Station::channels() const {
  return driver_->channels();
}
std::vector<acquisition::Figures> Station::newest() const {
  return driver_->newest();
}
LiveMeans Station::means() const {
  return driver_->means();
}
std::vector<double> Station::tail(std::size_t channel) const {
  return driver_->tail(channel);
}
void Station::look(const std::function<void(const Seen&)>& look) const {
  driver_->look(look);
}
void Station::stop(int category, std::string_view person) {
  driver_->stop_bench(category, person);
}
void Station::close() {
  driver_->close();
}
void Station::trip(const guard::Trip& trip) {
  driver_->trip_bench(trip);
}
void Station::command(const Command& command, std::string_view person,
                      const std::function<void()>& may) {
  // By value: what is carried out late outlives whoever waited for it.
  driver_->call(
      [driver = driver_.get(), command, who = std::string(person), may](HeardDevice& device) {
        may();
        driver->command(device, command, who);
      });
}
void Station::reset(const std::string& reason, bool at_bench, std::string_view person) {
  if (at_bench && !campaign::unreset_trip(bench()).empty()) {
    const std::string refused = campaign::reset_trip(bench(), reason, std::string(person));
    if (!refused.empty()) {
      throw Refusal(409, "the guard process does not reset the trip: " + refused,
                    "find and remove the cause at the bench, then reset it there")
          .as("not_reset");
    }
    if (!snapshot().tripped) return;
  }
  driver_->call([driver = driver_.get(), reason, at_bench, who = std::string(person)](
                    HeardDevice&) { driver->reset(reason, at_bench, who); });
}
void Station::begin(Task task) {
  driver_->begin(std::move(task));
}
void Station::end_task() {
  driver_->end_task();
}
guard::OtherLayer Station::guard_process() {
  return driver_->guard_process();
}
void Station::answer(int number) {
  driver_->answer(number);
}
void Station::certificates_changed() {
  driver_->call([driver = driver_.get()](HeardDevice&) { driver->make_laws(); });
}

}  // namespace windwright::station
