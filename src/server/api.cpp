// SPDX-License-Identifier: Apache-2.0
#include "server/api.h"

#include "base/errors.h"
#include "base/json.h"
#include "server/body.h"
#include "server/call.h"
#include "server/routes.h"
#include "server/target.h"

#include <boost/json.hpp>
#include <fmt/format.h>

#include <chrono>
#include <exception>
#include <span>
#include <string>
#include <string_view>
#include <utility>

namespace windwright::server {

namespace json = boost::json;

namespace {

void write_audit(Serving& serving, std::string_view event, json::object members) {
  serving.writing().add([&serving, event = std::string(event), members = std::move(members),
                         time = base::host_now()] {
    try {
      serving.audit().add(time, event, members);
    } catch (const std::exception&) {
      return;  // a full disk must not stop the server: interlocks on the disk see to that
    }
  });
}

void audit_refusal(Serving& serving, const Request& request, const station::Refusal& refusal) {
  if (!serving.refusals().allows("", std::chrono::steady_clock::now())) return;
  write_audit(serving, "refused",
              {{"status", refusal.status()},
               {"peer", request.peer},
               {"method", request.method.substr(0, 16)},
               {"text", refusal.what()}});
}

void require_rate(Serving& serving, const Request& request) {
  if (serving.requests().allows(request.peer, std::chrono::steady_clock::now())) return;
  station::Refusal refusal(429, "too many requests", "fewer of them");
  refusal.retry_after_s = 1;
  throw refusal;
}

void require_role(const Call& call) {
  if (call.session->person.role >= call.route.role) return;
  throw station::Refusal(
      403, fmt::format("{} is {}", call.session->person.name, name(call.session->person.role)),
      fmt::format("at least {}", name(call.route.role)));
}

json::object read_body(const Call& call) {
  const bool none = call.route.method == "GET" || call.route.method == "DELETE";
  if (none || call.request.body.empty()) return {};
  // Never refused: a stop whose words cannot be read is a stop.
  if (call.route.operation == "stop") {
    try {
      return body_object(call.request.body);
    } catch (const station::Refusal&) {
      return {};
    }
  }
  const std::string_view type =
      std::string_view(call.request.content_type).substr(0, call.request.content_type.find(';'));
  if (type != "application/json") {
    throw station::Refusal(415, fmt::format("the body is '{}'", type.substr(0, 80)),
                           "application/json");
  }
  return body_object(call.request.body);
}

// A stop is for whoever ever had a session here: an evening's end must not take the button away.
std::optional<Session> session_of(Serving& serving, const Request& request, const Route& route) {
  const base::UtcTime now = base::host_now();
  if (auto session = serving.sessions().find(request.token, now)) return session;
  if (route.operation != "stop") return std::nullopt;
  if (const auto person = serving.sessions().ever(request.token, now)) {
    return Session{.id = {}, .person = *person, .expires = now};
  }
  if (serving.accounts() == nullptr) {
    return Session{
        .id = {}, .person = {.name = "somebody", .role = Role::observer}, .expires = now};
  }
  return std::nullopt;
}

Answer answer_checked(Serving& serving, const Request& request) {
  require_own_site(serving, request);
  const Target target = target_from_text(request.target);
  const std::span<const std::string> segments(target.segments);
  if (segments.size() < 2 || segments[0] != "api" || segments[1] != "v1") {
    throw station::Refusal(404, "there is no such path", "/api/v1/...");
  }
  Match found = match(request.method, segments.subspan(2));
  if (found.route->operation != "stop") require_rate(serving, request);
  Call call{.serving = serving,
            .request = request,
            .target = target,
            .route = *found.route,
            .names = std::move(found.names),
            .session = session_of(serving, request, *found.route),
            .desk = nullptr,
            .body = {}};
  if (found.route->role != Role::nobody) {
    if (!call.session)
      throw station::Refusal(401, "there is no session", "POST /api/v1/session first");
    require_role(call);
  }
  call.body = read_body(call);
  if (const auto bench = call.names.find("bench"); bench != call.names.end()) {
    call.desk = serving.find(bench->second);
    if (call.desk == nullptr) {
      throw station::Refusal(404, fmt::format("there is no bench '{}'", bench->second),
                             "GET /benches");
    }
  }
  if (call.route.lease) call.desk->lease.require_holds(call.for_lease());
  Answer answer = call.route.handle(call);
  if (call.route.method != "GET" && call.route.operation != "keep_lease") {
    write_audit(serving, "request",
                {{"person", call.session ? call.person() : std::string("-")},
                 {"peer", request.peer},
                 {"operation", call.route.operation},
                 {"target", request.target.substr(0, 200)},
                 {"status", answer.status}});
  }
  return answer;
}

}  // namespace

std::string error_body(const station::Refusal& refusal) {
  json::object error{{"what", refusal.what()}, {"right", refusal.right()}};
  if (!refusal.code.empty()) error["code"] = refusal.code;
  if (!refusal.where.empty()) error["where"] = refusal.where;
  if (!refusal.holder.empty()) error["holder"] = refusal.holder;
  return base::json_line(json::object{{"error", std::move(error)}});
}

Answer answer_of(const station::Refusal& refusal) {
  Answer answer{.status = refusal.status(), .body = error_body(refusal)};
  if (refusal.retry_after_s) {
    answer.headers.emplace_back("Retry-After", std::to_string(*refusal.retry_after_s));
  }
  if (refusal.status() == 401) answer.headers.emplace_back("WWW-Authenticate", "Bearer");
  return answer;
}

void require_own_site(const Serving& serving, const Request& request) {
  if (!serving.options().hosts.contains(request.host)) {
    throw station::Refusal(
        421, fmt::format("this server is not called '{}'", request.host.substr(0, 200)),
        "its own address, or a name given by --host");
  }
  if (request.origin.empty()) return;
  const std::string own = (serving.options().secure ? "https://" : "http://") + request.host;
  if (request.origin != own) {
    throw station::Refusal(403, fmt::format("the page is of '{}'", request.origin.substr(0, 200)),
                           "a page of this server");
  }
}

Session require_session(Serving& serving, const Request& request) {
  auto session = serving.sessions().find(request.token, base::host_now());
  if (!session) throw station::Refusal(401, "there is no session", "POST /api/v1/session first");
  return std::move(*session);
}

Answer json_answer(const json::value& value, int status) {
  return {.status = status, .body = base::json_line(value)};
}

Answer answer_api(Serving& serving, const Request& request) {
  try {
    return answer_checked(serving, request);
  } catch (const station::Refusal& refusal) {
    if (refusal.status() == 401 || refusal.status() == 403 || refusal.status() == 421) {
      audit_refusal(serving, request, refusal);
    }
    return answer_of(refusal);
  } catch (const base::BadInput& refused) {
    return answer_of(station::Refusal(422, refused.what(), ""));
  } catch (const base::DeviceFault& fault) {
    return answer_of(station::Refusal(409, fault.what(), ""));
  } catch (const std::exception& error) {
    write_audit(serving, "bug",
                {{"target", request.target.substr(0, 200)}, {"text", error.what()}});
    return answer_of(
        station::Refusal(500, "internal error", "please report it; the audit says more"));
  }
}

}  // namespace windwright::server
