// SPDX-License-Identifier: Apache-2.0
#include "base/text.h"
#include "server/api.h"
#include "server/body.h"
#include "server/call.h"
#include "station/version.h"

#include <boost/json.hpp>
#include <fmt/format.h>

#include <chrono>
#include <optional>
#include <string>
#include <string_view>

namespace windwright::server {

namespace json = boost::json;

namespace {

json::object person_json(const Person& person) {
  return {{"name", person.name}, {"role", name(person.role)}};
}

json::object session_json(const Serving& serving, const std::optional<Session>& session,
                          bool accounts) {
  json::object document{{"person", nullptr},
                        {"accounts", accounts},
                        {"server", json::object{{"version", station::version},
                                                {"started", base::utc_text(serving.started())}}}};
  if (session) {
    document["person"] = person_json(session->person);
    document["expires"] = base::utc_text(session->expires);
  }
  return document;
}

// A page's script never sees the cookie, and no other site's page sends it.
std::string cookie(const Serving& serving, std::string_view token, long long seconds) {
  return fmt::format("{}={}; Path=/; Max-Age={}; HttpOnly; SameSite=Strict{}", cookie_name, token,
                     seconds, serving.options().secure ? "; Secure" : "");
}

Person person_with_password(Call& call, const std::string& wanted) {
  const auto now = std::chrono::steady_clock::now();
  RateLimit& limit = call.serving.log_ins();
  if (!limit.allows("from " + call.request.peer, now) || !limit.allows("as " + wanted, now)) {
    station::Refusal refusal(429, "too many log-ins", "wait, then try again");
    refusal.retry_after_s = static_cast<int>(limit.wait_s()) + 1;
    throw refusal;
  }
  const auto person =
      call.serving.accounts()->check(wanted, text_member_or(call.body, "password", ""));
  if (!person)
    throw station::Refusal(401, "name and password do not fit", "both as they were given");
  return *person;
}

Person person_without(Call& call, const std::string& wanted) {
  const std::string role_name = text_member_or(call.body, "role", "instructor");
  const std::optional<Role> role = role_from(role_name);
  if (!role || *role == Role::nobody) {
    throw station::Refusal(422, fmt::format("role is '{}'", role_name),
                           "observer, learner, operator or instructor");
  }
  return {.name = wanted, .role = *role};
}

}  // namespace

guard::Place place_of(const Serving& serving, const std::string& peer) {
  return serving.options().at_bench.contains(peer) ? guard::Place::at_the_bench
                                                   : guard::Place::afar;
}

bool is_at_bench(const Call& call) {
  return place_of(call.serving, call.request.peer) == guard::Place::at_the_bench;
}

guard::Person Call::for_lease() const {
  return {.session = session->id,
          .name = session->person.name,
          .place = place_of(serving, request.peer)};
}

Answer api_description(Call&) {
  return {.status = 200, .body = std::string(api_text())};
}

Answer session(Call& call) {
  return json_answer(session_json(call.serving, call.session, call.serving.accounts() != nullptr));
}

Answer log_in(Call& call) {
  const std::string wanted(base::trimmed(text_member(call.body, "name")));
  if (!is_name(wanted)) throw station::Refusal(422, "name is no name", "1 to 64 letters");
  const bool accounts = call.serving.accounts() != nullptr;
  const Person person =
      accounts ? person_with_password(call, wanted) : person_without(call, wanted);
  const base::UtcTime now = base::host_now();
  const std::string token = call.serving.sessions().begin(person, now);
  call.session = call.serving.sessions().find(token, now);
  json::object document = session_json(call.serving, call.session, accounts);
  document["token"] = token;
  Answer answer = json_answer(document);
  const auto lasts =
      std::chrono::duration_cast<std::chrono::seconds>(SessionLimits{}.whole).count();
  answer.headers.emplace_back("Set-Cookie", cookie(call.serving, token, lasts));
  return answer;
}

Answer log_out(Call& call) {
  for (const auto& desk : call.serving.benches()) {
    if (!desk->lease.is_holder(call.session->id)) continue;
    try {
      desk->lease.release(call.for_lease());
    } catch (const station::Refusal&) {
      continue;  // it had lapsed already
    }
  }
  call.serving.sessions().end(call.request.token);
  return {.status = 204, .headers = {{"Set-Cookie", cookie(call.serving, "", 0)}}};
}

Answer people(Call& call) {
  json::array list;
  for (const Person& person : call.serving.sessions().people(base::host_now()))
    list.push_back(person_json(person));
  return json_answer(json::object{{"people", std::move(list)}});
}

}  // namespace windwright::server
