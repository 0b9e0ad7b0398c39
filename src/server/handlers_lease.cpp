// SPDX-License-Identifier: Apache-2.0
#include "server/body.h"
#include "server/call.h"

#include <boost/json.hpp>
#include <fmt/format.h>

#include <string>

namespace windwright::server {

namespace json = boost::json;

namespace {

Answer as_it_is(const Call& call) {
  json::object document = call.desk->lease.document();
  document["mine"] = call.desk->lease.is_holder(call.session->id);
  document["place"] = guard::name(place_of(call.serving, call.request.peer));
  return json_answer(document);
}

// Somebody who has a session, as the lease knows them. Where they are shows when they take it.
guard::Person person_named(Call& call, const std::string& name) {
  const auto found = call.serving.sessions().newest_of(name, base::host_now());
  if (!found) {
    throw station::Refusal(422, fmt::format("nobody called '{}' has a session", name),
                           "GET /people");
  }
  return {.session = found->id, .name = found->person.name, .place = guard::Place::afar};
}

}  // namespace

Answer lease(Call& call) {
  return as_it_is(call);
}

Answer take_lease(Call& call) {
  const bool may_take_free = call.session->person.role >= Role::bench_operator;
  if (!may_take_free && !call.desk->lease.is_offered_to(call.person())) {
    throw station::Refusal(403, fmt::format("{} is a learner", call.person()),
                           "the holder offers the lease first")
        .as("learner");
  }
  call.desk->lease.take(call.for_lease());
  return as_it_is(call);
}

Answer keep_lease(Call& call) {
  return as_it_is(call);  // who holds it was checked, and has kept it thereby
}

Answer release_lease(Call& call) {
  call.desk->lease.release(call.for_lease());
  return as_it_is(call);
}

Answer offer_lease(Call& call) {
  call.desk->lease.offer(call.for_lease(), person_named(call, text_member(call.body, "to")));
  return as_it_is(call);
}

Answer consent(Call& call) {
  const double minutes = number_member(call.body, "minutes");
  const bool one_run = call.body.contains("one_run") && flag_member(call.body, "one_run");
  call.desk->lease.give_consent(call.for_lease(),
                                {.to = person_named(call, text_member(call.body, "to")),
                                 .valid_s = 60.0 * minutes,
                                 .one_run = one_run});
  return as_it_is(call);
}

Answer withdraw_consent(Call& call) {
  call.desk->lease.withdraw_consent(call.for_lease());
  return as_it_is(call);
}

}  // namespace windwright::server
