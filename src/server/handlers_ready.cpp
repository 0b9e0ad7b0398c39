// SPDX-License-Identifier: Apache-2.0
#include "base/text.h"
#include "bench/certificates.h"
#include "metrology/certificate.h"
#include "server/body.h"
#include "server/call.h"

#include <boost/json.hpp>
#include <fmt/format.h>

#include <cstddef>
#include <string>
#include <string_view>
#include <vector>

namespace windwright::server {

namespace json = boost::json;

namespace {

json::object accepted(std::string_view what) {
  return {{"accepted", true}, {"what", what}};
}

}  // namespace

Answer checklist(Call& call) {
  return json_answer(call.desk->checks.document());
}

Answer tick(Call& call) {
  const std::string step = text_member(call.body, "step");
  const bool done = flag_member(call.body, "done");
  call.desk->checks.tick(step, done, call.person());
  call.desk->record("checklist", {{"person", call.person()}, {"step", step}, {"done", done}});
  return checklist(call);
}

Answer measure_checks(Call& call) {
  BenchDesk& desk = *call.desk;
  desk.checks.measure([&desk](const std::string& problem) {
    desk.record("readiness", {{"text", problem.empty() ? "measured" : problem}});
  });
  return json_answer(accepted("measuring the check standards"), 202);
}

Answer certificates(Call& call) {
  const bench::Bench& bench = call.desk->station.bench();
  const auto found = bench::certificates_there_are(bench);
  const auto now = call.desk->station.snapshot().device_time.value_or(base::host_now());
  json::array list;
  for (std::size_t i = 0; i < found.size(); ++i) {
    json::object entry{{"channel", bench.channels[i].name},
                       {"found", found[i].has_value()},
                       {"due", !found[i] || found[i]->valid_until <= now}};
    if (found[i]) {
      entry["date"] = base::utc_text(found[i]->date);
      entry["valid_until"] = base::utc_text(found[i]->valid_until);
      entry["model"] = found[i]->model;
      entry["standard"] = found[i]->standard.name;
    }
    list.push_back(std::move(entry));
  }
  return json_answer(json::object{{"certificates", std::move(list)}});
}

Answer certificate(Call& call) {
  const bench::Bench& bench = call.desk->station.bench();
  const auto found = bench::certificates_there_are(bench);
  for (std::size_t i = 0; i < found.size(); ++i) {
    if (bench.channels[i].name == call.name("channel") && found[i]) {
      return json_answer(metrology::to_json(*found[i]));
    }
  }
  throw station::Refusal(404, fmt::format("there is no certificate of '{}'", call.name("channel")),
                         "calibrate the channel");
}

Answer calibration(Call& call) {
  return json_answer(call.desk->calibrations.document());
}

Answer calibrate(Call& call) {
  BenchDesk& desk = *call.desk;
  const std::string channel = text_member(call.body, "channel");
  desk.calibrations.begin(channel, [&desk, channel](const std::string& problem) {
    desk.record("calibration", {{"channel", channel},
                                {"text", problem.empty() ? "a certificate is proposed" : problem}});
  });
  return json_answer(accepted("calibrating " + channel), 202);
}

Answer end_calibration(Call& call) {
  call.desk->calibrations.end();
  return calibration(call);
}

Answer sign_certificate(Call& call) {
  const std::string signature(base::trimmed(text_member(call.body, "signature")));
  if (signature.empty() || signature.size() > 200) {
    throw station::Refusal(422, "signature is empty or too long", "the name of who answers for it");
  }
  const std::string channel = call.desk->calibrations.sign(signature);
  call.desk->record("certificate",
                    {{"channel", channel}, {"signature", signature}, {"person", call.person()}});
  return calibration(call);
}

Answer proof(Call& call) {
  return json_answer(call.desk->proofs.document());
}

Answer prove_interlocks(Call& call) {
  BenchDesk& desk = *call.desk;
  const std::string at_bench(base::trimmed(text_member(call.body, "person")));
  if (at_bench.empty() || at_bench.size() > 200) {
    throw station::Refusal(422, "person is empty or too long", "the name of who is at the bench");
  }
  const bool moved = call.body.contains("moved_bounds") && flag_member(call.body, "moved_bounds");
  const std::vector<std::string> confirmed = texts_member(call.body, "confirmed");
  desk.lease.require_may_drive(call.for_lease());
  desk.proofs.begin(
      {.person = at_bench, .confirmed = confirmed, .moved_bounds = moved},
      [&desk, at_bench](const std::string& problem) {
        desk.record("proof",
                    {{"person", at_bench},
                     {"text", problem.empty() ? "every interlock was made to trip" : problem}});
      });
  desk.record("proof", {{"person", call.person()},
                        {"text", "the interlocks are being proved; at the bench: " + at_bench}});
  return json_answer(accepted("proving the interlocks"), 202);
}

Answer end_proof(Call& call) {
  call.desk->proofs.end();
  return proof(call);
}

}  // namespace windwright::server
