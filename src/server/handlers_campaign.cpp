// SPDX-License-Identifier: Apache-2.0
#include "base/files.h"
#include "server/body.h"
#include "server/call.h"
#include "server/campaign_json.h"

#include <boost/json.hpp>
#include <fmt/format.h>

#include <filesystem>
#include <string>

namespace windwright::server {

namespace json = boost::json;

Answer list_campaigns(Call& call) {
  return json_answer(json::object{{"campaigns", campaign_list(call.desk->station.bench())}});
}

Answer read_campaign(Call& call) {
  const bench::Bench& bench = call.desk->station.bench();
  const std::string& name = call.name("campaign");
  const std::filesystem::path file = station::campaign_file(bench, name);
  if (!std::filesystem::is_regular_file(file)) {
    throw station::Refusal(404, fmt::format("there is no campaign '{}'", name), "GET /campaigns");
  }
  return json_answer(campaign_document(bench, name, base::text_of_file(file)));
}

Answer save_campaign(Call& call) {
  const bench::Bench& bench = call.desk->station.bench();
  const std::string& name = call.name("campaign");
  const std::filesystem::path file = station::campaign_file(bench, name);
  const std::string text = campaign_body_text(bench, call.body);
  // A file that is there and no campaign (a scenario, a design) is somebody's work.
  if (std::filesystem::exists(file) &&
      base::text_of_file(file).find("[question]") == std::string::npos) {
    throw station::Refusal(422, fmt::format("{} is there and no campaign", name), "another name");
  }
  json::object document = campaign_document(bench, name, text);
  if (!document["problems"].as_array().empty()) {
    const json::object& problem = document["problems"].as_array().front().as_object();
    station::Refusal refusal(422, std::string(problem.at("what").as_string()),
                             std::string(problem.at("right").as_string()));
    refusal.where = std::string(problem.at("where").as_string());
    throw refusal;
  }
  base::write_whole(file, text);
  call.desk->record("campaign", {{"text", "saved"}, {"campaign", name}, {"person", call.person()}});
  return json_answer(document);
}

Answer check_campaign(Call& call) {
  const bench::Bench& bench = call.desk->station.bench();
  return json_answer(
      campaign_document(bench, "campaign.toml", campaign_body_text(bench, call.body)));
}

Answer progress(Call& call) {
  return json_answer(call.desk->campaigns.document());
}

Answer start_campaign(Call& call) {
  call.desk->lease.require_may_drive(call.for_lease());
  const std::string run = text_member_or(call.body, "run", "");
  const std::string prefix = call.desk->id + ".";
  call.desk->campaigns.start({.campaign = text_member_or(call.body, "campaign", ""),
                              .run = run.starts_with(prefix) ? run.substr(prefix.size()) : run,
                              .reason = text_member_or(call.body, "reason", ""),
                              .at_bench = is_at_bench(call)},
                             call.person());
  return json_answer(json::object{{"accepted", true}, {"what", "conducting the campaign"}}, 202);
}

Answer pause_campaign(Call& call) {
  call.desk->campaigns.pause(call.person());
  return progress(call);
}

Answer resume_campaign(Call& call) {
  call.desk->lease.require_may_drive(call.for_lease());
  call.desk->campaigns.resume(text_member_or(call.body, "reason", ""), call.person(),
                              is_at_bench(call));
  return progress(call);
}

Answer end_campaign(Call& call) {
  call.desk->campaigns.end(call.person());
  return progress(call);
}

}  // namespace windwright::server
