// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "guard/stop_logic.h"
#include "guard/tap.h"

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::guard {

enum class Place : std::uint8_t { at_the_bench, afar };

/// Whoever is logged in somewhere. The caller knows who is at the bench: it is what consent rests
/// on, so that nobody may say it of themselves from afar.
struct Person {
  std::string session;  // tells one login from another; as hard to guess as the caller makes it
  std::string name;     // for people and logbook
  Place place;
};

/// When, and whether the bench is driven: a start was permitted, or asked for and not yet carried
/// out, and its stop is not over.
struct Moment {
  Instant now;
  bool driven;
  bool stopping = false;  // that stop has begun
};

enum class Refusal : std::uint8_t {
  none,
  held_by_another,
  not_the_holder,
  being_stopped,     // nobody commands it, and it still moves: wait
  not_at_the_bench,  // what only a person there may do
  no_consent,
  nobody_there,  // to hand over to, or no consent to withdraw
  bad_time,      // a consent without an end, or longer than the longest
};

struct Answer {
  Refusal refusal = Refusal::none;
  std::string words = {};  // why, and what would be right; empty where granted
  bool granted() const { return refusal == Refusal::none; }
};

enum class LeaseEvent : std::uint8_t {
  taken,
  handed_over,
  released,
  lapsed,         // with nothing driven
  operator_lost,  // the same while the bench is driven: a trip, stop category 1
  stop_asked,
  consent_given,
  consent_withdrawn,
  consent_expired,
};

/// What has happened, for the logbook; and for the stop logic, where it asks for a stop.
struct Occurrence {
  LeaseEvent what;
  std::optional<Event> stop;  // give it to the stop logic, whatever state that is in
  std::string text;           // who, and why
};

/// What there is to be seen: names only, no session.
struct LeaseView {
  struct Holder {
    std::string name;
    Place place;
    double held_s;
    double lapses_in_s;
  };
  struct Consent {
    std::string by;
    std::string to;
    bool one_run;
    double expires_in_s;
  };
  std::optional<Holder> holder;
  std::string offered_to;  // empty: to nobody
  std::optional<Consent> consent;
};

/// Who commands a bench: one operator at a time, as long as a heartbeat says that they are there.
/// Pure: time is passed in. One thread.
///
/// - STOP is anybody's, always, from anywhere, with or without the lease.
/// - A lapse while the bench is driven is `operator_lost`: stop category 1, and it latches. A
///   release while it is driven is a stop that was asked for.
/// - An operator afar drives only with the consent of a person at the bench: given there, by name,
///   to one operator, for a time, for one run if so said. It ends with that operator's lease, and
///   is withdrawn by anybody at any time; if it ends while they drive, the bench is stopped.
/// - Nobody takes a bench that still moves, but by hand-over from whoever commands it.
/// - A bench that is driven while nobody may drive it, however that came about, is asked to stop
///   at every look until its stop has begun.
///
/// It says who may ask for a start; what else a start needs is the stop logic's and the
/// interlocks'.
class Lease {
 public:
  struct Options {
    /// Without a heartbeat; common practice, no source: five heartbeats of two seconds.
    double lapse_s = 10.0;
    /// Of a consent: a working day and not the next one.
    double longest_consent_s = 8 * 3600.0;
  };
  Lease() : Lease(Options{}) {}
  explicit Lease(const Options& options) : options_(options) {}

  /// Takes a lease that is free, or accepts one that was offered. For the holder a heartbeat.
  Answer take(const Person& person, Moment moment);
  /// The holder's heartbeat. One that comes too late revives nothing.
  Answer keep(std::string_view session, Moment moment);
  /// The holder offers the lease; it is handed over when the other one takes it.
  Answer offer(std::string_view session, const Person& to, Moment moment);
  Answer release(std::string_view session, Moment moment);

  /// Always granted.
  Answer stop(const Person& person, Moment moment);

  struct Consent {
    Person to;
    double valid_s;
    bool one_run = false;  // ends with the run, see run_ended
  };
  Answer give_consent(const Person& by, const Consent& consent, Moment moment);
  /// By anybody: it leads to a stop and no further.
  Answer withdraw_consent(const Person& by, Moment moment);
  /// A run is over, however it ended.
  void run_ended(Moment moment);

  /// Whether this person may ask for a start, and for any setting of what is driven.
  Answer may_drive(std::string_view session, Moment moment);

  /// What has happened since the last call, in order. Call it after every other call and at least
  /// five times in `lapse_s`.
  std::vector<Occurrence> look(Moment moment);

  LeaseView view(Moment moment) const;
  /// Empty: nobody.
  std::string holder_name() const { return holder_ ? holder_->person.name : std::string(); }

 private:
  struct Holder {
    Person person;
    Instant since;
    Instant kept;
  };
  struct Given {
    std::string by;
    Person to;
    Instant expires;
    bool one_run;
  };
  bool holds(std::string_view session) const;
  bool drives_afar(Moment moment) const;
  bool somebody_may_drive() const;
  void pass_time(Moment moment);
  void begin(const Person& person, Moment moment);
  void end_holding();
  void end_consent(LeaseEvent how, const std::string& text, Moment moment);
  void tell(LeaseEvent what, std::string text, std::optional<Event> stop = std::nullopt);
  Answer not_the_holder() const;
  Answer consent_for(const Person& person) const;

  Options options_;
  std::optional<Holder> holder_;
  std::optional<Person> offered_to_;
  std::optional<Given> consent_;
  std::vector<Occurrence> happened_;
};

/// As the enumerators are spelt, for logbook and interfaces.
std::string_view name(Place place);
std::string_view name(Refusal refusal);
std::string_view name(LeaseEvent event);

}  // namespace windwright::guard
