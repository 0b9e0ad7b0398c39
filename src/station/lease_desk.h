// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "guard/lease.h"

#include <boost/json/fwd.hpp>

#include <functional>
#include <mutex>
#include <string>

namespace windwright::station {

class Station;

/// Who commands one bench: guard::Lease with a clock, for many threads. What a lapse, a release or
/// a withdrawn consent asks of the bench is done at once.
class LeaseDesk {
 public:
  /// @param tell  what has happened, for logbook and viewers
  LeaseDesk(Station& station,
            std::function<void(std::string_view event, const std::string& text)> tell);

  /// All @throws Refusal  409, with who holds the lease
  void take(const guard::Person& person);
  void keep(const guard::Person& person);
  void offer(const guard::Person& person, const guard::Person& to);
  void release(const guard::Person& person);
  void give_consent(const guard::Person& by, const guard::Lease::Consent& consent);
  void withdraw_consent(const guard::Person& by);
  /// Whether this person may command the bench now.
  void require_may_drive(const guard::Person& person);
  /// The same on the bench's own thread, just before something is done.
  void require_still_may_drive(const guard::Person& person);
  /// Whether this person has the lease.
  void require_holds(const guard::Person& person);
  void run_ended();
  /// Whether the lease is offered to this person.
  bool is_offered_to(const std::string& name) const;
  /// Lets time pass: at least once a second.
  void look();
  /// docs/openapi.json, Lease; whose it is not.
  boost::json::object document() const;
  /// Whether a session holds it.
  bool is_holder(const std::string& session) const;

 private:
  guard::Moment moment() const;
  void settle(const guard::Answer& answer, std::unique_lock<std::mutex>& lock);

  Station& station_;
  const std::function<void(std::string_view, const std::string&)> tell_;
  mutable std::mutex mutex_;
  guard::Lease lease_;
  std::string holder_session_;
};

}  // namespace windwright::station
