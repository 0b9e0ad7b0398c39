// SPDX-License-Identifier: Apache-2.0
#include "server/routes.h"

#include "base/text.h"
#include "server/call.h"
#include "server/exchange.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::server {
namespace {

using enum Role;

#define BENCH "/benches/{bench}"
#define RUN "/runs/{run}"

const std::array table{
    Route{"GET", "/openapi.json", "api_description", nobody, false, api_description},
    Route{"GET", "/session", "session", nobody, false, session},
    Route{"POST", "/session", "log_in", nobody, false, log_in},
    Route{"DELETE", "/session", "log_out", observer, false, log_out},
    Route{"GET", "/people", "people", observer, false, people},
    Route{"GET", "/audit", "audit", instructor, false, audit},
    Route{"GET", "/live", "live", observer, false, live_without_upgrade},

    Route{"GET", "/benches", "benches", observer, false, benches},
    Route{"GET", BENCH, "bench", observer, false, bench_description},
    Route{"GET", BENCH "/state", "state", observer, false, bench_state},
    Route{"GET", BENCH "/values", "values", observer, false, bench_values},
    Route{"GET", BENCH "/surface", "surface", observer, false, surface},
    Route{"GET", BENCH "/foreseen", "foreseen", observer, false, foreseen},
    Route{"GET", BENCH "/readings", "readings", observer, false, bench_readings},
    Route{"GET", BENCH "/spectrum", "live_spectrum", observer, false, live_spectrum},

    Route{"POST", BENCH "/stop", "stop", observer, false, stop},
    Route{"PUT", BENCH "/actuators/{actuator}", "command", learner, true, command},
    Route{"POST", BENCH "/reset", "reset", bench_operator, false, reset},
    Route{"POST", BENCH "/answer", "answer_ask", learner, true, answer_ask},

    Route{"GET", BENCH "/lease", "lease", observer, false, lease},
    Route{"POST", BENCH "/lease", "take_lease", learner, false, take_lease},
    Route{"PUT", BENCH "/lease", "keep_lease", learner, true, keep_lease},
    Route{"DELETE", BENCH "/lease", "release_lease", learner, true, release_lease},
    Route{"POST", BENCH "/lease/offer", "offer_lease", learner, true, offer_lease},
    Route{"POST", BENCH "/lease/consent", "consent", bench_operator, false, consent},
    Route{"DELETE", BENCH "/lease/consent", "withdraw_consent", observer, false, withdraw_consent},

    Route{"GET", BENCH "/checklist", "checklist", observer, false, checklist},
    Route{"POST", BENCH "/checklist", "tick", bench_operator, false, tick},
    Route{"POST", BENCH "/readiness", "check_readiness", bench_operator, true, measure_checks},
    Route{"GET", BENCH "/certificates", "certificates", observer, false, certificates},
    Route{"GET", BENCH "/certificates/{channel}", "certificate", observer, false, certificate},
    Route{"GET", BENCH "/calibration", "calibration", observer, false, calibration},
    Route{"POST", BENCH "/calibration", "calibrate", bench_operator, true, calibrate},
    Route{"DELETE", BENCH "/calibration", "end_calibration", bench_operator, true, end_calibration},
    Route{"POST", BENCH "/calibration/sign", "sign_certificate", bench_operator, true,
          sign_certificate},
    Route{"GET", BENCH "/proof", "proof", observer, false, proof},
    Route{"POST", BENCH "/proof", "prove_interlocks", bench_operator, true, prove_interlocks},
    Route{"DELETE", BENCH "/proof", "end_proof", bench_operator, true, end_proof},

    Route{"GET", BENCH "/campaigns", "campaigns", observer, false, list_campaigns},
    Route{"POST", BENCH "/campaigns/check", "check_campaign", observer, false, check_campaign},
    Route{"GET", BENCH "/campaigns/{campaign}", "read_campaign", observer, false, read_campaign},
    Route{"PUT", BENCH "/campaigns/{campaign}", "save_campaign", bench_operator, false,
          save_campaign},
    Route{"GET", BENCH "/campaign", "progress", observer, false, progress},
    Route{"POST", BENCH "/campaign", "start_campaign", learner, true, start_campaign},
    Route{"POST", BENCH "/campaign/pause", "pause_campaign", learner, true, pause_campaign},
    Route{"POST", BENCH "/campaign/resume", "resume_campaign", learner, true, resume_campaign},
    Route{"POST", BENCH "/campaign/end", "end_campaign", learner, true, end_campaign},

    Route{"GET", BENCH "/logbook", "logbook", observer, false, logbook},
    Route{"POST", BENCH "/logbook", "add_note", learner, false, add_note},

    Route{"GET", "/runs", "runs", observer, false, runs},
    Route{"GET", RUN, "run", observer, false, run_details},
    Route{"GET", RUN "/results", "results", observer, false, results},
    Route{"GET", RUN "/files/{file}", "download", observer, false, download},
    Route{"GET", RUN "/logbook", "run_logbook", observer, false, run_logbook},
    Route{"POST", RUN "/notes", "note_run", learner, false, note_run},
    Route{"GET", RUN "/window", "window", observer, false, window},
    Route{"GET", RUN "/spectrum", "spectrum", observer, false, spectrum},
    Route{"GET", RUN "/statistics", "statistics", observer, false, statistics},
    Route{"GET", RUN "/pairs", "pairs", observer, false, pairs},
};

#undef BENCH
#undef RUN

constexpr std::array role_names{"none", "observer", "learner", "operator", "instructor"};

// The names in braces, where the pattern fits.
std::optional<std::map<std::string, std::string, std::less<>>> fit(
    std::string_view pattern, std::span<const std::string> segments) {
  const std::vector<std::string> parts = base::split(pattern.substr(1), '/');
  if (parts.size() != segments.size()) return std::nullopt;
  std::map<std::string, std::string, std::less<>> names;
  for (std::size_t i = 0; i < parts.size(); ++i) {
    if (parts[i].starts_with('{')) {
      names[parts[i].substr(1, parts[i].size() - 2)] = segments[i];
    } else if (parts[i] != segments[i]) {
      return std::nullopt;
    }
  }
  return names;
}

}  // namespace

std::string_view name(Role role) {
  return role_names[static_cast<std::size_t>(role)];
}

std::optional<Role> role_from(std::string_view name) {
  const auto found = std::find(role_names.begin(), role_names.end(), name);
  if (found == role_names.end()) return std::nullopt;
  return static_cast<Role>(found - role_names.begin());
}

std::span<const Route> routes() {
  return table;
}

Match match(std::string_view method, std::span<const std::string> segments) {
  const std::string_view asked = method == "HEAD" ? "GET" : method;
  std::vector<std::string> methods;
  for (const Route& route : table) {
    auto names = fit(route.pattern, segments);
    if (!names) continue;
    if (route.method == asked) return {.route = &route, .names = std::move(*names)};
    methods.emplace_back(route.method);
  }
  if (methods.empty()) {
    throw station::Refusal(404, "there is no such path", "a path of /api/v1/openapi.json");
  }
  throw station::Refusal(405, fmt::format("this path does not know {}", method.substr(0, 16)),
                         base::either_of(methods));
}

}  // namespace windwright::server
