// SPDX-License-Identifier: Apache-2.0
#include "guard/lease.h"

#include "guard/stop_logic.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <chrono>
#include <cstddef>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::guard {
namespace {

constexpr int stop_of_a_lost_operator = 1;

double seconds(Instant::duration passed) {
  return std::chrono::duration<double>(passed).count();
}

Instant::duration of_seconds(double passed_s) {
  return std::chrono::duration_cast<Instant::duration>(std::chrono::duration<double>(passed_s));
}

std::string in_words(const Person& person) {
  return fmt::format("{} ({})", person.name,
                     person.place == Place::afar ? "from afar" : "at the bench");
}

}  // namespace

bool Lease::holds(std::string_view session) const {
  return holder_ && holder_->person.session == session;
}

bool Lease::drives_afar(Moment moment) const {
  return moment.driven && holder_ && holder_->person.place == Place::afar;
}

void Lease::tell(LeaseEvent what, std::string text, std::optional<Event> stop) {
  happened_.push_back({.what = what, .stop = stop, .text = std::move(text)});
}

Answer Lease::not_the_holder() const {
  return {.refusal = Refusal::not_the_holder,
          .words = holder_ ? fmt::format("{} commands this bench: ask for a hand-over",
                                         in_words(holder_->person))
                           : "nobody commands this bench: take it first"};
}

// What time alone does; every call begins with it, so that nothing that is over is still good.
void Lease::pass_time(Moment moment) {
  if (consent_ && moment.now >= consent_->expires) {
    end_consent(LeaseEvent::consent_expired,
                fmt::format("consent of {} to {}", consent_->by, consent_->to.name), moment);
  }
  if (!holder_) return;
  const double silent_s = seconds(moment.now - holder_->kept);
  if (silent_s <= options_.lapse_s) return;
  const std::string text =
      fmt::format("{} has not been heard for {:.1f} s", in_words(holder_->person), silent_s);
  end_holding();
  if (moment.driven) {
    tell(LeaseEvent::operator_lost, text, violation_event(stop_of_a_lost_operator));
  } else {
    tell(LeaseEvent::lapsed, text);
  }
}

void Lease::begin(const Person& person, Moment moment) {
  holder_ = {.person = person, .since = moment.now, .kept = moment.now};
  offered_to_.reset();
}

// A consent to this operator ends with it; the stop that belongs to that is the caller's.
void Lease::end_holding() {
  if (consent_ && holds(consent_->to.session)) consent_.reset();
  holder_.reset();
  offered_to_.reset();
}

void Lease::end_consent(LeaseEvent how, const std::string& text, Moment moment) {
  const bool drives = drives_afar(moment) && holds(consent_->to.session);
  consent_.reset();
  tell(how, text, drives ? std::optional(Event::end_asked) : std::nullopt);
}

Answer Lease::consent_for(const Person& person) const {
  if (person.place == Place::at_the_bench) return {};
  if (consent_ && consent_->to.session == person.session) return {};
  return {.refusal = Refusal::no_consent,
          .words = consent_ ? fmt::format("the consent of {} is to {}, not to {}", consent_->by,
                                          consent_->to.name, person.name)
                            : "from afar the bench is driven only with the consent of a person who "
                              "is there: ask for it"};
}

Answer Lease::take(const Person& person, Moment moment) {
  pass_time(moment);
  if (holds(person.session)) return keep(person.session, moment);
  const bool offered = offered_to_ && offered_to_->session == person.session;
  if (holder_ && !offered) {
    return {.refusal = Refusal::held_by_another, .words = not_the_holder().words};
  }
  if (!holder_ && moment.driven) {
    return {.refusal = Refusal::being_stopped,
            .words = "nobody commands this bench and it still moves: wait until it stands"};
  }
  if (moment.driven) {
    if (Answer missing = consent_for(person); !missing.granted()) return missing;
  }
  if (holder_) {
    const std::string from = in_words(holder_->person);
    end_holding();
    tell(LeaseEvent::handed_over, fmt::format("from {} to {}", from, in_words(person)));
  } else {
    tell(LeaseEvent::taken, in_words(person));
  }
  begin(person, moment);
  return {};
}

Answer Lease::keep(std::string_view session, Moment moment) {
  pass_time(moment);
  if (!holds(session)) return not_the_holder();
  holder_->kept = moment.now;
  return {};
}

Answer Lease::offer(std::string_view session, const Person& to, Moment moment) {
  pass_time(moment);
  if (!holds(session)) return not_the_holder();
  if (to.session == session) {
    return {.refusal = Refusal::nobody_there, .words = "a hand-over is to somebody else"};
  }
  offered_to_ = to;
  holder_->kept = moment.now;
  return {};
}

Answer Lease::release(std::string_view session, Moment moment) {
  pass_time(moment);
  if (!holds(session)) return not_the_holder();
  const std::string who = in_words(holder_->person);
  end_holding();
  tell(LeaseEvent::released, who, moment.driven ? std::optional(Event::end_asked) : std::nullopt);
  return {};
}

Answer Lease::stop(const Person& person, Moment moment) {
  pass_time(moment);
  tell(LeaseEvent::stop_asked, in_words(person), Event::end_asked);
  return {};
}

Answer Lease::give_consent(const Person& by, const Consent& consent, Moment moment) {
  pass_time(moment);
  if (by.place != Place::at_the_bench || by.session == consent.to.session) {
    return {.refusal = Refusal::not_at_the_bench,
            .words = "consent is given at the bench, by a person who stays there"};
  }
  if (!(consent.valid_s > 0.0 && consent.valid_s <= options_.longest_consent_s)) {
    return {.refusal = Refusal::bad_time,
            .words = fmt::format("a consent has an end: above 0, up to {:g} s",
                                 options_.longest_consent_s)};
  }
  // One at a time: who is driving on an earlier one to somebody else may not go on without.
  if (consent_ && consent_->to.session != consent.to.session) {
    end_consent(
        LeaseEvent::consent_withdrawn,
        fmt::format("consent of {} to {}, for another one", consent_->by, consent_->to.name),
        moment);
  }
  consent_ = {.by = by.name,
              .to = consent.to,
              .expires = moment.now + of_seconds(consent.valid_s),
              .one_run = consent.one_run};
  tell(LeaseEvent::consent_given,
       fmt::format("by {} to {} for {:g} s{}", by.name, consent.to.name, consent.valid_s,
                   consent.one_run ? ", for one run" : ""));
  return {};
}

Answer Lease::withdraw_consent(const Person& by, Moment moment) {
  pass_time(moment);
  if (!consent_) {
    return {.refusal = Refusal::nobody_there, .words = "there is no consent to withdraw"};
  }
  end_consent(
      LeaseEvent::consent_withdrawn,
      fmt::format("consent of {} to {}, by {}", consent_->by, consent_->to.name, in_words(by)),
      moment);
  return {};
}

void Lease::run_ended(Moment moment) {
  pass_time(moment);
  if (!consent_ || !consent_->one_run) return;
  end_consent(LeaseEvent::consent_expired,
              fmt::format("consent of {} to {}: the run is over", consent_->by, consent_->to.name),
              moment);
}

Answer Lease::may_drive(std::string_view session, Moment moment) {
  pass_time(moment);
  return holds(session) ? consent_for(holder_->person) : not_the_holder();
}

bool Lease::somebody_may_drive() const {
  return holder_ && consent_for(holder_->person).granted();
}

std::vector<Occurrence> Lease::look(Moment moment) {
  pass_time(moment);
  const bool asked = std::any_of(happened_.begin(), happened_.end(),
                                 [](const Occurrence& each) { return each.stop.has_value(); });
  if (moment.driven && !moment.stopping && !asked && !somebody_may_drive()) {
    tell(LeaseEvent::stop_asked, "the bench is driven and nobody may drive it", Event::end_asked);
  }
  return std::exchange(happened_, {});
}

LeaseView Lease::view(Moment moment) const {
  LeaseView view;
  if (holder_) {
    view.holder = {.name = holder_->person.name,
                   .place = holder_->person.place,
                   .held_s = seconds(moment.now - holder_->since),
                   .lapses_in_s = options_.lapse_s - seconds(moment.now - holder_->kept)};
  }
  if (offered_to_) view.offered_to = offered_to_->name;
  if (consent_) {
    view.consent = {.by = consent_->by,
                    .to = consent_->to.name,
                    .one_run = consent_->one_run,
                    .expires_in_s = seconds(consent_->expires - moment.now)};
  }
  return view;
}

std::string_view name(Place place) {
  return place == Place::afar ? "afar" : "at_the_bench";
}

std::string_view name(Refusal refusal) {
  constexpr std::array<std::string_view, 8> names{
      "none",       "held_by_another", "not_the_holder", "being_stopped", "not_at_the_bench",
      "no_consent", "nobody_there",    "bad_time"};
  return names[static_cast<std::size_t>(refusal)];
}

std::string_view name(LeaseEvent event) {
  constexpr std::array<std::string_view, 9> names{
      "taken",      "handed_over",   "released",          "lapsed",         "operator_lost",
      "stop_asked", "consent_given", "consent_withdrawn", "consent_expired"};
  return names[static_cast<std::size_t>(event)];
}

}  // namespace windwright::guard
