// SPDX-License-Identifier: Apache-2.0
// The server's table of routes against its description, and who may do what.
#include "server/api.h"

#include "base/json.h"
#include "server/served_bench.h"

#include <boost/json.hpp>
#include <gtest/gtest.h>

#include <algorithm>
#include <array>
#include <cctype>
#include <set>
#include <string>

namespace windwright::server {
namespace {

namespace json = boost::json;

json::object description() {
  return base::json_from_text(std::string(api_text()), "openapi.json").as_object();
}

std::string upper_case(std::string_view text) {
  std::string upper(text);
  for (char& letter : upper)
    letter = static_cast<char>(std::toupper(static_cast<unsigned char>(letter)));
  return upper;
}

// A path that the pattern fits, with names that exist where that matters.
std::string example_path(std::string_view pattern) {
  std::string path(pattern);
  const std::array<std::pair<std::string, std::string>, 6> names{{{"{bench}", "bench"},
                                                                  {"{actuator}", "rheostat_ohm"},
                                                                  {"{channel}", "air_speed_m_s"},
                                                                  {"{campaign}", "campaign.toml"},
                                                                  {"{run}", "bench.001"},
                                                                  {"{file}", "report.pdf"}}};
  for (const auto& [name, value] : names) {
    const std::size_t at = path.find(name);
    if (at != std::string::npos) path.replace(at, name.size(), value);
  }
  return path;
}

bool is_declared(const json::object& api, const Route& route, int status) {
  std::string method(route.method);
  for (char& letter : method)
    letter = static_cast<char>(std::tolower(static_cast<unsigned char>(letter)));
  const auto& responses = api.at("paths").at(route.pattern).at(method).at("responses").as_object();
  return responses.contains(std::to_string(status));
}

TEST(Routes, AreThoseOfTheDescription) {
  const json::object api = description();
  std::set<std::string> described;
  for (const auto& [path, methods] : api.at("paths").as_object()) {
    for (const auto& [method, operation] : methods.as_object()) {
      const std::string key = upper_case(method) + " " + std::string(path);
      described.insert(key);
      const auto route = std::find_if(routes().begin(), routes().end(), [&](const Route& each) {
        return std::string(each.method) + " " + std::string(each.pattern) == key;
      });
      ASSERT_NE(route, routes().end()) << key << " is described, and the server has it not";
      EXPECT_EQ(operation.at("operationId").as_string(), route->operation) << key;
      EXPECT_EQ(operation.at("x-role").as_string(), name(route->role)) << key;
      EXPECT_EQ(operation.at("x-lease").as_bool(), route->lease) << key;
    }
  }
  for (const Route& route : routes()) {
    EXPECT_TRUE(described.contains(std::string(route.method) + " " + std::string(route.pattern)))
        << route.pattern << " is served, and not described";
  }
}

class Served : public testing::Test {
 protected:
  Served() : bench_(fresh_folder()) {}
  ServedBench bench_;
};

TEST_F(Served, EveryRouteAsksForASessionAndARole) {
  const json::object api = description();
  for (const Route& route : routes()) {
    const std::string path = example_path(route.pattern);
    const std::string what = std::string(route.method) + " " + path;
    const Answer without = bench_.ask(std::string(route.method), path, {}, "{}");
    if (route.role == Role::nobody || route.operation == "stop") {
      EXPECT_NE(without.status, 401) << what;
    } else {
      EXPECT_EQ(without.status, 401) << what;
      EXPECT_EQ(bench_.ask(std::string(route.method), path, std::string(64, '0'), "{}").status, 401)
          << what;
    }
    for (const Role role : {Role::observer, Role::learner, Role::bench_operator}) {
      if (role >= route.role) continue;
      EXPECT_EQ(bench_.ask(std::string(route.method), path, bench_.token(role), "{}").status, 403)
          << what << " as " << name(role);
    }
  }
}

TEST_F(Served, EveryAnswerIsDeclared) {
  const json::object api = description();
  for (const Route& route : routes()) {
    for (const std::string& body : {std::string("{}"), std::string("{"), std::string("[1]")}) {
      const Answer answer = bench_.ask(std::string(route.method), example_path(route.pattern),
                                       bench_.token(Role::instructor), body);
      EXPECT_TRUE(is_declared(api, route, answer.status))
          << route.method << " " << route.pattern << " " << body << " gives " << answer.status
          << ": " << answer.body;
      if (answer.status >= 400) {
        const json::value refusal = base::json_from_text(answer.body, "answer");
        EXPECT_TRUE(refusal.at("error").at("what").is_string()) << answer.body;
      }
    }
  }
}

TEST_F(Served, CommandsNeedTheLeaseAndSayWhoHasIt) {
  const std::string first = bench_.token(Role::bench_operator);
  const std::string second = bench_.token(Role::instructor);
  const std::string path = "/benches/bench/actuators/rheostat_ohm";
  EXPECT_EQ(bench_.ask("PUT", path, second, R"({"value": 20})").status, 409);
  ASSERT_EQ(bench_.ask("POST", "/benches/bench/lease", first, "{}").status, 200);
  const Answer refused = bench_.ask("PUT", path, second, R"({"value": 20})");
  EXPECT_EQ(refused.status, 409);
  EXPECT_NE(refused.body.find(R"("holder":"operator")"), std::string::npos) << refused.body;
  // Nobody takes a bench that somebody holds.
  EXPECT_EQ(bench_.ask("POST", "/benches/bench/lease", second, "{}").status, 409);
}

TEST_F(Served, AProofNeedsItsConfirmationsFirstAndCertificatesThen) {
  const std::string token = bench_.token(Role::bench_operator);
  const std::string path = "/benches/bench/proof";
  ASSERT_EQ(bench_.ask("POST", "/benches/bench/lease", token, "{}").status, 200);
  const json::object proof =
      base::json_from_text(bench_.ask("GET", path, token).body, "answer").as_object();
  EXPECT_EQ(proof.at("state").as_string(), "none");
  EXPECT_FALSE(proof.at("remark").as_string().empty()) << "never proved";
  json::object body{{"person", "Ana"}, {"confirmed", json::array()}};
  for (const json::value& each : proof.at("to_confirm").as_array()) {
    const Answer refused = bench_.ask("POST", path, token, json::serialize(body));
    EXPECT_EQ(refused.status, 422);
    const std::string id(each.at("id").as_string());
    EXPECT_NE(refused.body.find("'" + id + "' is not confirmed"), std::string::npos)
        << refused.body;
    body["confirmed"].as_array().emplace_back(id);
  }
  const Answer refused = bench_.ask("POST", path, token, json::serialize(body));
  EXPECT_EQ(refused.status, 409);
  EXPECT_NE(refused.body.find("has no certificate"), std::string::npos) << refused.body;
  EXPECT_EQ(bench_.ask("DELETE", path, token).status, 409) << "none is under way";
}

TEST_F(Served, TheCautionsAreTheFirstStepOfASession) {
  const std::string token = bench_.token(Role::bench_operator);
  const auto steps = [&](const Answer& answer) {
    return base::json_from_text(answer.body, "answer").at("steps").as_array();
  };
  const json::array before = steps(bench_.ask("GET", "/benches/bench/checklist", token));
  ASSERT_EQ(before.front().at("id").as_string(), "cautions");
  EXPECT_FALSE(before.front().at("done").as_bool());
  const json::array after = steps(bench_.ask("POST", "/benches/bench/checklist", token,
                                             R"({"step": "cautions", "done": true})"));
  EXPECT_EQ(after.front().at("person").as_string(), "operator");
}

TEST_F(Served, StopIsForAnybody) {
  for (const Role role : {Role::observer, Role::learner, Role::bench_operator, Role::instructor})
    EXPECT_EQ(bench_.ask("POST", "/benches/bench/stop", bench_.token(role), "{}").status, 200);
  EXPECT_EQ(bench_
                .ask("POST", "/benches/bench/stop", bench_.token(Role::observer),
                     R"({"category": "nonsense"})")
                .status,
            200);
}

TEST_F(Served, NamesAndPagesOfOthersAreRefused) {
  Request request{.method = "GET",
                  .target = "/api/v1/benches",
                  .host = "evil.test",
                  .origin = {},
                  .peer = "127.0.0.1",
                  .token = bench_.token(Role::observer),
                  .content_type = {},
                  .accept_encoding = {},
                  .if_none_match = {},
                  .range = {},
                  .body = {}};
  EXPECT_EQ(answer_api(*bench_.serving, request).status, 421);
  request.host = "bench.test";
  request.origin = "http://evil.test";
  EXPECT_EQ(answer_api(*bench_.serving, request).status, 403);
  request.origin = "http://bench.test";
  EXPECT_EQ(answer_api(*bench_.serving, request).status, 200);
}

TEST_F(Served, NoNameLeadsOutOfItsFolder) {
  const std::string token = bench_.token(Role::instructor);
  for (const char* path :
       {"/benches/bench/campaigns/..%2Fbench.toml", "/benches/bench/campaigns/bench.toml",
        "/benches/bench/campaigns/rotor.toml", "/runs/..%2f..%2fetc/files/passwd",
        "/runs/bench.001/files/%2e%2e", "/benches/%2e%2e/state"}) {
    const Answer answer = bench_.ask("GET", path, token);
    EXPECT_TRUE(answer.status == 400 || answer.status == 404) << path << " " << answer.status;
  }
  const Answer overwritten =
      bench_.ask("PUT", "/benches/bench/campaigns/scenario.toml", token, R"({"text": "x = 1"})");
  EXPECT_EQ(overwritten.status, 422) << "somebody's scenario is not a campaign";
}

}  // namespace
}  // namespace windwright::server
