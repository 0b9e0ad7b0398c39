// SPDX-License-Identifier: Apache-2.0
#include "base/clock.h"
#include "base/errors.h"
#include "base/files.h"
#include "base/json.h"
#include "base/text.h"
#include "bench/bench.h"
#include "bench/device_table.h"
#include "campaign/proof.h"
#include "campaign/prover.h"
#include "campaign/readiness.h"
#include "cli/ask_person.h"
#include "cli/guarded.h"
#include "cli/proof_table.h"
#include "cli/readiness_table.h"
#include "cli/verbs.h"
#include "devices/open_device.h"
#include "guard/checklist.h"
#include "twin/simulated_bench.h"

#include <CLI/CLI.hpp>
#include <boost/json.hpp>
#include <fmt/format.h>
#include <unistd.h>

#include <cstddef>
#include <filesystem>
#include <memory>
#include <optional>
#include <string>
#include <utility>
#include <variant>

namespace windwright::cli {

namespace {

struct Request {
  std::string bench;
  bool keep_checks = false;
  bool checklist = false;
  bool prove = false;
  bool moved_bounds = false;
  std::string person;
  bool json = false;
};

// What was measured of each check standard, added to checks/CHANNEL.csv beside the bench: what
// `calibrate --control-chart` reads.
void keep_checks(const bench::Bench& bench, const campaign::Readiness& readiness) {
  const std::filesystem::path folder = bench.file.parent_path() / "checks";
  std::filesystem::create_directories(folder);
  for (const campaign::ChannelCheck& check : readiness.channels) {
    if (!check.en || !check.reference) continue;
    const std::filesystem::path file = folder / (check.channel + ".csv");
    std::string text = std::filesystem::exists(file)
                           ? base::text_of_file(file)
                           : fmt::format("# unit: {}\ndate,measured,reference\n", check.unit);
    text +=
        fmt::format("{},{},{}\n", base::utc_text(readiness.time),
                    base::number_text(check.measured.value()), base::number_text(*check.reference));
    base::write_whole(file, text);
  }
}

int show_checklist(const Request& request) {
  const auto steps = guard::start_of_session(bench::bench_from_file(request.bench));
  boost::json::array list;
  std::size_t number = 0;
  for (const guard::ChecklistStep& step : steps) {
    list.push_back(boost::json::object{{"id", step.id}, {"what", step.what}, {"why", step.why}});
    if (!request.json) fmt::print("{:2}  {}\n    {}\n", ++number, step.what, step.why);
  }
  if (request.json) {
    fmt::print("{}", base::json_text(boost::json::object{{"steps", list}, {"exit", done}}));
  } else {
    fmt::print(
        "\nA step that cannot be ticked off ends the session. Local codes and a qualified "
        "person decide.\n");
  }
  return done;
}

std::string person_of(const Request& request, const bench::Bench& bench) {
  if (!request.person.empty()) return request.person;
  if (std::holds_alternative<bench::SimulatedDevice>(bench.device)) return "simulated";
  throw base::BadInput("--by", "is missing", "the name of who is at the bench and answers for it");
}

// Nothing where a certificate is missing: readiness says so.
std::optional<campaign::Proof> prove(const Request& request, const bench::Bench& bench,
                                     bench::Device& device) {
  const std::string person = person_of(request, bench);
  for (const bench::Channel& channel : bench.channels) {
    if (!std::filesystem::exists(channel.certificate)) return std::nullopt;
  }
  const bool shown = isatty(STDERR_FILENO) == 1;
  campaign::Proof proof =
      campaign::prove_interlocks(bench, device,
                                 {.person = person,
                                  .moved_bounds = request.moved_bounds,
                                  .progress = [shown](const std::string& interlock) {
                                    if (shown) fmt::print(stderr, "proving '{}'\n", interlock);
                                  }});
  campaign::keep_proof(bench, proof);
  return proof;
}

int check(const Request& request) {
  const bench::Bench bench = bench::bench_from_file(request.bench);
  // What is proved is commanded.
  const auto lease =
      request.prove ? lease_of(bench, false, person_of(request, bench), "ready") : nullptr;
  const auto device = devices::open_device(bench, twin::Pace::as_fast_as_possible, ask_person);
  std::optional<campaign::Proof> proof;
  if (request.prove) proof = prove(request, bench, *device);
  const campaign::Readiness readiness = campaign::check_readiness(bench, *device);
  const int code = readiness.ready() ? done : negative_verdict;
  if (request.keep_checks) keep_checks(bench, readiness);
  if (request.json) {
    boost::json::object document{{"bench", bench.name}, {"device", device->name()}};
    const boost::json::value checks = campaign::to_json(readiness);
    for (const auto& member : checks.as_object())
      document.insert(member);
    if (proof) document["proof"] = campaign::to_json(*proof);
    document["exit"] = code;
    fmt::print("{}", base::json_text(document));
  } else {
    if (proof) fmt::print("{}\n", proof_table(*proof));
    fmt::print("{}, {}\n\n{}\n", bench.name, base::utc_text(readiness.time).substr(0, 10),
               readiness_table(readiness));
    if (!readiness.interlocks_remark.empty())
      fmt::print("interlocks: {}\n\n", readiness.interlocks_remark);
    fmt::print("{}\n", readiness.ready() ? "ready" : "not ready");
  }
  return code;
}

}  // namespace

void add_ready(CLI::App& program, int& exit_code) {
  auto request = std::make_shared<Request>();  // shared: the callback outlives this function
  CLI::App* verb = program.add_subcommand(
      "ready", "Check certificates, check standards and interlocks before a session");
  verb->add_option("BENCH", request->bench, "bench description")->required();
  verb->add_flag("--keep-checks", request->keep_checks,
                 "add what was measured of each check standard to checks/CHANNEL.csv beside the "
                 "bench, for calibrate --control-chart");
  verb->add_flag("--checklist", request->checklist,
                 "only show what to do at this bench before a session, in order")
      ->excludes("--keep-checks");
  CLI::Option* prove =
      verb->add_flag("--prove-interlocks", request->prove,
                     "first make every interlock trip, with the fan off, and write the dated "
                     "certificate without which no run starts")
          ->excludes("--checklist");
  verb->add_option("--by", request->person, "who is at the bench meanwhile")->needs(prove);
  verb->add_flag("--moved-bounds", request->moved_bounds,
                 "no calibrator at hand: bounds are moved to where the bench stands instead")
      ->needs(prove);
  verb->add_flag("--json", request->json, "one JSON document on stdout");
  verb->footer(
      "Ends with 0 where the bench is ready, with 1 where it is not.\n"
      "Example:\n  windwright ready my-bench/bench.toml\n"
      "  windwright ready my-bench/bench.toml --prove-interlocks --by 'bench crew'");
  verb->callback([request, &exit_code] {
    exit_code = request->checklist ? show_checklist(*request) : check(*request);
  });
}

}  // namespace windwright::cli
