// SPDX-License-Identifier: Apache-2.0
// Inside the server module: a request on its way to its handler, and all handlers by name.
#pragma once

#include "guard/lease.h"
#include "server/exchange.h"
#include "server/routes.h"
#include "server/serving.h"
#include "server/sessions.h"
#include "server/target.h"

#include <boost/json.hpp>

#include <map>
#include <optional>
#include <string>

namespace windwright::server {

/// What a handler works on: everything that is common to all was checked before.
struct Call {
  Serving& serving;
  const Request& request;
  const Target& target;
  const Route& route;
  std::map<std::string, std::string, std::less<>> names;  // of the path
  std::optional<Session> session;                         // none where the route asks for none
  BenchDesk* desk;                                        // where the path names a bench
  boost::json::object body;

  const std::string& name(std::string_view key) const { return names.find(key)->second; }
  const std::string& person() const { return session->person.name; }
  /// The caller as the lease knows them.
  guard::Person for_lease() const;
};

Answer json_answer(const boost::json::value& value, int status = 200);

/// Where whoever asks from an address is.
guard::Place place_of(const Serving& serving, const std::string& peer);
bool is_at_bench(const Call& call);

// Handlers, a source file a concept.
Answer api_description(Call& call);
Answer session(Call& call);
Answer log_in(Call& call);
Answer log_out(Call& call);
Answer people(Call& call);
Answer audit(Call& call);

Answer benches(Call& call);
Answer bench_description(Call& call);
Answer bench_state(Call& call);
Answer bench_values(Call& call);
Answer surface(Call& call);
Answer live_spectrum(Call& call);
Answer foreseen(Call& call);
Answer bench_readings(Call& call);

Answer stop(Call& call);
Answer command(Call& call);
Answer reset(Call& call);
Answer answer_ask(Call& call);

Answer lease(Call& call);
Answer take_lease(Call& call);
Answer keep_lease(Call& call);
Answer release_lease(Call& call);
Answer offer_lease(Call& call);
Answer consent(Call& call);
Answer withdraw_consent(Call& call);

Answer checklist(Call& call);
Answer tick(Call& call);
Answer measure_checks(Call& call);
Answer certificates(Call& call);
Answer certificate(Call& call);
Answer calibration(Call& call);
Answer calibrate(Call& call);
Answer end_calibration(Call& call);
Answer sign_certificate(Call& call);
Answer proof(Call& call);
Answer prove_interlocks(Call& call);
Answer end_proof(Call& call);

Answer list_campaigns(Call& call);
Answer read_campaign(Call& call);
Answer save_campaign(Call& call);
Answer check_campaign(Call& call);
Answer progress(Call& call);
Answer start_campaign(Call& call);
Answer pause_campaign(Call& call);
Answer resume_campaign(Call& call);
Answer end_campaign(Call& call);

Answer logbook(Call& call);
Answer add_note(Call& call);

Answer runs(Call& call);
Answer run_details(Call& call);
Answer results(Call& call);
Answer download(Call& call);
Answer run_logbook(Call& call);
Answer note_run(Call& call);
Answer window(Call& call);
Answer spectrum(Call& call);
Answer statistics(Call& call);
Answer pairs(Call& call);

Answer live_without_upgrade(Call& call);

}  // namespace windwright::server
