// SPDX-License-Identifier: Apache-2.0
#include "base/errors.h"
#include "base/json.h"
#include "base/text.h"
#include "bench/bench.h"
#include "bench/certificates.h"
#include "cli/verbs.h"
#include "metrology/certificate.h"
#include "twin/scenario.h"
#include "twin/simulated_bench.h"

#include <CLI/CLI.hpp>
#include <boost/json.hpp>
#include <fmt/format.h>

#include <cmath>
#include <cstdint>
#include <cstdio>
#include <memory>
#include <optional>
#include <string>
#include <utility>
#include <vector>

namespace windwright::cli {

namespace {

namespace json = boost::json;

struct Request {
  std::string bench;
  std::string scenario;
  double seconds = 0.0;
  double every_s = 0.1;
  double from_s = 0.0;
  std::optional<std::uint64_t> seed;
  bool json = false;
};

using Certificates = std::vector<std::optional<metrology::Certificate>>;

void say_source(const bench::Bench& bench, const Certificates& certificates) {
  for (std::size_t i = 0; i < certificates.size(); ++i) {
    fmt::print(stderr, "# {}: {}\n", bench.channels[i].name,
               certificates[i] ? "through its certificate"
                               : "no certificate yet, through the ideal sensitivity");
  }
  if (!bench.chain) return;
  if (const auto caution = bench::overspeed_caution(*bench.chain))
    fmt::print(stderr, "# caution: {}\n", *caution);
}

// Rows as they come.
class CsvPrinter {
 public:
  void operator()(const bench::Bench& bench, const twin::ScenarioRow& row) {
    if (!header_done_) {
      std::string header = "time_s";
      for (const bench::Channel& channel : bench.channels)
        header += "," + channel.name;
      for (const auto& [name, value] : row.truth)
        header += ",true_" + name;
      fmt::print("{}\n", header);
      header_done_ = true;
    }
    std::string line = base::number_text(row.time_s);
    for (const double value : row.shown)
      line += "," + base::number_text(value);
    for (const auto& [name, value] : row.truth)
      line += "," + base::number_text(value);
    fmt::print("{}\n", line);
  }

 private:
  bool header_done_ = false;
};

// One document: a list for each column.
class JsonPrinter {
 public:
  void operator()(const bench::Bench& bench, const twin::ScenarioRow& row) {
    append("time_s", row.time_s);
    for (std::size_t i = 0; i < row.shown.size(); ++i)
      append(bench.channels[i].name, row.shown[i]);
    for (const auto& [name, value] : row.truth)
      append("true_" + name, value);
  }

  void print(const bench::Bench& bench, const Certificates& certificates) {
    json::object through;
    for (std::size_t i = 0; i < certificates.size(); ++i)
      through[bench.channels[i].name] = certificates[i] ? "certificate" : "ideal sensitivity";
    json::object document;
    document["bench"] = bench.name;
    document["seed"] = bench.simulation->seed;
    document["shown_through"] = std::move(through);
    document["columns"] = std::move(columns_);
    fmt::print("{}", base::json_text(document));
  }

 private:
  void append(const std::string& name, double value) {
    json::value& column = columns_[name];
    if (!column.is_array()) column.emplace_array();
    column.get_array().emplace_back(value);
  }

  json::object columns_;
};

int simulate(const Request& request) {
  for (const auto& [option, value] :
       {std::pair("--seconds", request.seconds), std::pair("--every", request.every_s),
        std::pair("--from", request.from_s)}) {
    if (!std::isfinite(value)) throw base::BadInput(option, "is not a number", "seconds");
  }
  if (request.from_s > request.seconds)
    throw base::BadInput("--from", fmt::format("{} s is after the end", request.from_s),
                         fmt::format("at most the {} s of --seconds", request.seconds));
  bench::Bench bench = bench::bench_from_file(request.bench);
  if (bench.simulation && request.seed) bench.simulation->seed = *request.seed;
  const twin::Scenario scenario = twin::scenario_from_file(request.scenario, bench);
  twin::SimulatedBench device(bench, twin::Pace::as_fast_as_possible);
  const Certificates certificates = bench::certificates_there_are(bench);
  const twin::ScenarioPace pace{
      .seconds = request.seconds, .every_s = request.every_s, .from_s = request.from_s};
  if (request.json) {
    JsonPrinter printer;
    twin::play(device, bench, scenario, certificates, pace,
               [&](const twin::ScenarioRow& row) { printer(bench, row); });
    printer.print(bench, certificates);
  } else {
    say_source(bench, certificates);
    CsvPrinter printer;
    twin::play(device, bench, scenario, certificates, pace,
               [&](const twin::ScenarioRow& row) { printer(bench, row); });
  }
  return done;
}

}  // namespace

void add_simulate(CLI::App& program, int& exit_code) {
  auto request = std::make_shared<Request>();  // shared: the callback outlives this function
  CLI::App* verb = program.add_subcommand(
      "simulate", "Play a scenario on the simulated bench: its channels, and what is true, as CSV");
  verb->add_option("BENCH", request->bench, "bench description with a [simulation]")->required();
  verb->add_option("--scenario", request->scenario, "what is commanded when (TOML)")->required();
  verb->add_option("--seconds", request->seconds, "simulated time")
      ->required()
      ->check(CLI::Range(0.0, 1e6));
  verb->add_option("--every", request->every_s, "time between rows, in seconds")
      ->check(CLI::Range(1e-6, 1e6))
      ->capture_default_str();
  verb->add_option("--from", request->from_s, "of the first row, in seconds")
      ->check(CLI::Range(0.0, 1e6))
      ->capture_default_str();
  verb->add_option("--seed", request->seed, "instead of the seed in BENCH");
  verb->add_flag("--json", request->json, "one JSON document instead of CSV");
  verb->footer(
      "Example:\n  windwright simulate examples/saltmarsh-college/bench.toml \\\n    --scenario "
      "examples/saltmarsh-college/scenario.toml --seconds 60 --every 1");
  verb->callback([request, &exit_code] { exit_code = simulate(*request); });
}

}  // namespace windwright::cli
