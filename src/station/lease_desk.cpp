// SPDX-License-Identifier: Apache-2.0
#include "station/lease_desk.h"

#include "base/clock.h"
#include "station/refusal.h"
#include "station/station.h"

#include <boost/json.hpp>

#include <chrono>
#include <functional>
#include <mutex>
#include <string>
#include <utility>
#include <vector>

namespace windwright::station {

namespace json = boost::json;

LeaseDesk::LeaseDesk(Station& station,
                     std::function<void(std::string_view, const std::string&)> tell)
    : station_(station), tell_(std::move(tell)) {}

guard::Moment LeaseDesk::moment() const {
  const Snapshot now = station_.snapshot();
  return {
      .now = std::chrono::steady_clock::now(), .driven = now.attended, .stopping = now.stopping};
}

// What the lease asks for comes before what it answers.
void LeaseDesk::settle(const guard::Answer& answer, std::unique_lock<std::mutex>& lock) {
  const std::vector<guard::Occurrence> happened = lease_.look(moment());
  const std::string holder = lease_.holder_name();
  lock.unlock();
  for (const guard::Occurrence& each : happened) {
    if (each.stop == guard::Event::violation_1 || each.stop == guard::Event::violation_0) {
      station_.trip({.interlock = "operator",
                     .stop_category = each.stop == guard::Event::violation_1 ? 1 : 0,
                     .cause = each.text,
                     .check = {},
                     .time = base::host_now()});
    } else if (each.stop) {
      station_.stop(1, each.text);
    }
    tell_(guard::name(each.what), each.text);
  }
  if (answer.granted()) return;
  Refusal refusal(409, answer.words, "");
  refusal.code = guard::name(answer.refusal);
  refusal.holder = holder;
  throw refusal;
}

void LeaseDesk::take(const guard::Person& person) {
  std::unique_lock lock(mutex_);
  const guard::Answer answer = lease_.take(person, moment());
  if (answer.granted()) holder_session_ = person.session;
  settle(answer, lock);
}

void LeaseDesk::keep(const guard::Person& person) {
  std::unique_lock lock(mutex_);
  settle(lease_.keep(person.session, moment()), lock);
}

void LeaseDesk::offer(const guard::Person& person, const guard::Person& to) {
  std::unique_lock lock(mutex_);
  settle(lease_.offer(person.session, to, moment()), lock);
}

void LeaseDesk::release(const guard::Person& person) {
  std::unique_lock lock(mutex_);
  settle(lease_.release(person.session, moment()), lock);
}

void LeaseDesk::give_consent(const guard::Person& by, const guard::Lease::Consent& consent) {
  std::unique_lock lock(mutex_);
  settle(lease_.give_consent(by, consent, moment()), lock);
}

void LeaseDesk::withdraw_consent(const guard::Person& by) {
  std::unique_lock lock(mutex_);
  settle(lease_.withdraw_consent(by, moment()), lock);
}

void LeaseDesk::require_may_drive(const guard::Person& person) {
  std::unique_lock lock(mutex_);
  settle(lease_.may_drive(person.session, moment()), lock);
}

// What follows from the time that has passed is done by the next look, on another thread: a stop
// waits for the bench's.
void LeaseDesk::require_still_may_drive(const guard::Person& person) {
  const std::scoped_lock lock(mutex_);
  const guard::Answer answer = lease_.may_drive(person.session, moment());
  if (!answer.granted()) throw Refusal(409, answer.words, "").as(guard::name(answer.refusal));
}

void LeaseDesk::require_holds(const guard::Person& person) {
  std::unique_lock lock(mutex_);
  settle(lease_.keep(person.session, moment()), lock);  // whoever acts is there
}

void LeaseDesk::run_ended() {
  std::unique_lock lock(mutex_);
  lease_.run_ended(moment());
  settle({}, lock);
}

void LeaseDesk::look() {
  std::unique_lock lock(mutex_);
  settle({}, lock);
}

bool LeaseDesk::is_holder(const std::string& session) const {
  const std::scoped_lock lock(mutex_);
  return !lease_.holder_name().empty() && holder_session_ == session;
}

bool LeaseDesk::is_offered_to(const std::string& name) const {
  const std::scoped_lock lock(mutex_);
  return lease_.view(moment()).offered_to == name;
}

json::object LeaseDesk::document() const {
  const std::scoped_lock lock(mutex_);
  const guard::LeaseView view = lease_.view(moment());
  json::object document{{"holder", nullptr},     {"mine", false},
                        {"place", "afar"},       {"keep_within_s", guard::Lease::Options{}.lapse_s},
                        {"offered_to", nullptr}, {"consent", nullptr}};
  if (view.holder) {
    document["holder"] = json::object{{"name", view.holder->name},
                                      {"place", guard::name(view.holder->place)},
                                      {"held_s", view.holder->held_s},
                                      {"lapses_in_s", view.holder->lapses_in_s}};
  }
  if (!view.offered_to.empty()) document["offered_to"] = view.offered_to;
  if (view.consent) {
    document["consent"] = json::object{{"by", view.consent->by},
                                       {"to", view.consent->to},
                                       {"one_run", view.consent->one_run},
                                       {"expires_in_s", view.consent->expires_in_s}};
  }
  return document;
}

}  // namespace windwright::station
