// SPDX-License-Identifier: Apache-2.0
#include "analysis/results.h"
#include "base/errors.h"
#include "base/json.h"
#include "bench/bench.h"
#include "campaign/campaign.h"
#include "campaign/conductor.h"
#include "cli/ask_person.h"
#include "cli/enter_in_catalogue.h"
#include "cli/guarded.h"
#include "cli/published.h"
#include "cli/stop_on_signal.h"
#include "cli/verbs.h"
#include "devices/open_device.h"
#include "metrology/quantity.h"
#include "report/run_products.h"
#include "twin/simulated_bench.h"

#include <CLI/CLI.hpp>
#include <boost/json.hpp>
#include <fmt/format.h>
#include <unistd.h>

#include <chrono>
#include <cstdio>
#include <exception>
#include <filesystem>
#include <memory>
#include <optional>
#include <string>
#include <utility>

namespace windwright::cli {

namespace {

namespace json = boost::json;
namespace fs = std::filesystem;

struct Request {
  std::string campaign;
  std::string bench;
  std::string into;
  std::string reason;
  std::string person;
  std::string catalogue;
  std::string publish;
  bool resume = false;
  bool real_time = false;
  bool json = false;
};

// Shows how far the run is, at most five times a second, and only to a person.
class ProgressLine {
 public:
  void operator()(const campaign::Progress& progress) {
    const auto now = std::chrono::steady_clock::now();
    if (!shown_ || now - last_ < std::chrono::milliseconds(200)) return;
    last_ = now;
    fmt::print(stderr, "\r\x1b[K{} of {} test points, {}; about {:.0f} min of bench time left",
               progress.done, progress.total, progress.phase, progress.seconds_left / 60.0);
    std::fflush(stderr);
  }
  void clear() const {
    if (shown_) fmt::print(stderr, "\r\x1b[K");
  }

 private:
  bool shown_ = isatty(STDERR_FILENO) == 1;
  std::chrono::steady_clock::time_point last_;
};

// The first free runs/NNN beside the campaign.
fs::path new_run_folder(const campaign::Campaign& campaign) {
  const fs::path runs = campaign.file.parent_path() / "runs";
  for (int number = 1;; ++number) {
    fs::path folder = runs / fmt::format("{:03}", number);
    if (!fs::exists(folder)) return folder;
  }
}

const char* name_of(campaign::Ending ending) {
  using enum campaign::Ending;
  switch (ending) {
    case complete:
      return "complete";
    case interrupted:
      return "interrupted";
    case tripped:
      return "tripped";
    case not_ready:
      return "not ready";
  }
  return "";
}

// How far the run is, for whoever subscribes.
void publish_progress(publishing::Publisher& publisher, const campaign::Progress& progress,
                      int& points_told) {
  publisher.tell_progress({{"phase", progress.phase},
                           {"points_done", progress.done},
                           {"points", progress.total},
                           {"seconds_left", progress.seconds_left}});
  if (points_told >= 0 && progress.done > points_told) {
    publisher.tell_event("point", {{"points_done", progress.done}, {"points", progress.total}});
  }
  points_told = progress.done;
}

campaign::Outcome conduct(const Request& request, const fs::path& into,
                          const campaign::Campaign& campaign, const bench::Bench& bench) {
  const StopOnSignal stop;
  const auto lease = lease_of(bench, request.real_time, campaign.operator_name, "conduct");
  Guarded guarded(bench);
  guarded.begin(true);
  const auto own = devices::open_device(
      bench, request.real_time ? twin::Pace::real_time : twin::Pace::as_fast_as_possible,
      ask_person, stop.token());
  Published published(
      bench, request.publish,
      {.state = "conducting", .into = fs::absolute(into).string(), .software_version = {}});
  bench::Device& device = published.overhear(*own);
  ProgressLine line;
  int points_told = -1;
  const auto progress = [&](const campaign::Progress& now) {
    line(now);
    if (auto* publisher = published.publisher()) publish_progress(*publisher, now, points_told);
  };
  try {
    const campaign::Outcome outcome = campaign::conduct(campaign, bench, device,
                                                        {.into = into,
                                                         .resume = request.resume,
                                                         .reason = request.reason,
                                                         .software_version = WINDWRIGHT_VERSION,
                                                         .progress = progress,
                                                         .stop = stop.token(),
                                                         .person = request.person,
                                                         .guard_process = guarded.process()});
    line.clear();
    published.finish(
        {.ending = name_of(outcome.ending), .cause = outcome.cause, .remarks = own->remarks()});
    return outcome;
  } catch (const std::exception& fault) {
    published.finish({.ending = "fault", .cause = fault.what(), .remarks = own->remarks()});
    throw;
  }
}

std::string with_uncertainty(const metrology::Estimate& estimate) {
  return fmt::format("{:.4f} +- {:.4f}", estimate.value(), estimate.expanded());
}

void print_summary(const analysis::Results& results) {
  fmt::print("{:<28} {:>22} {:>22}\n", "rotor", "optimum tip-speed ratio", "maximum Cp");
  for (const analysis::Curve& curve : results.curves) {
    const auto& optimum = curve.optimum_tip_speed_ratio;
    fmt::print("{:<28} {:>22} {:>22}  {}\n", curve.label,
               optimum ? with_uncertainty(*optimum) : "not inside",
               with_uncertainty(curve.maximum_cp), curve.stage);
  }
  fmt::print("(+-: expanded uncertainty, 95 %)\n");
  if (!results.verdict) return;
  fmt::print("\n{}\n{}\n", results.verdict->question, results.verdict->answer);
}

json::object summary(const fs::path& into, int points, const analysis::Results& results) {
  json::object document{{"run", into.string()}, {"points", points}};
  if (const auto& verdict = results.verdict) {
    document["verdict"] =
        json::object{{"question", verdict->question},
                     {"answer", verdict->answer},
                     {"difference", metrology::quantity(verdict->difference, "1")},
                     {"significant", verdict->significant}};
  }
  json::array curves;
  for (const analysis::Curve& curve : results.curves) {
    json::object entry{{"blade_count", curve.blade_count},
                       {"pitch_deg", curve.pitch_deg},
                       {"optimum_tip_speed_ratio", nullptr},
                       {"maximum_cp", metrology::quantity(curve.maximum_cp, "1")}};
    if (curve.optimum_tip_speed_ratio) {
      entry["optimum_tip_speed_ratio"] = metrology::quantity(*curve.optimum_tip_speed_ratio, "1");
    }
    curves.push_back(std::move(entry));
  }
  document["curves"] = std::move(curves);
  document["report"] = (into / "report.html").string();
  return document;
}

int tell_ending(const Request& request, const fs::path& into, const campaign::Outcome& outcome) {
  const bool tripped = outcome.ending == campaign::Ending::tripped;
  const int code = tripped ? interlock_tripped : negative_verdict;
  fmt::print(stderr, "{}\n", outcome.cause);
  if (request.json) {
    fmt::print("{}", base::json_text(json::object{{"run", into.string()},
                                                  {"points", outcome.points},
                                                  {"ending", name_of(outcome.ending)},
                                                  {"cause", outcome.cause},
                                                  {"exit", code}}));
  }
  return code;
}

int tell_results(const Request& request, const fs::path& into) {
  const campaign::Run run = campaign::run_from_folder(into);
  const analysis::Results results = report::reduce_run(run);
  const std::optional<std::string> no_pdf = report::report_run(run, results, true);
  if (no_pdf) fmt::print(stderr, "report.pdf was not written: {}\n", *no_pdf);
  const bool answered = !results.verdict || results.verdict->significant;
  const int code = answered ? done : negative_verdict;
  const int points = static_cast<int>(run.points.size());
  if (request.json) {
    json::object document = summary(into, points, results);
    document["exit"] = code;
    fmt::print("{}", base::json_text(document));
    return code;
  }
  fmt::print("{}: {} test points\n\n", run.campaign.title, points);
  print_summary(results);
  fmt::print("\nreport: {}{}\n", (into / "report.html").string(),
             no_pdf ? "" : " and report.pdf beside it");
  return code;
}

int run_conduct(const Request& request) {
  const std::optional<fs::path> other_bench =
      request.bench.empty() ? std::nullopt : std::optional<fs::path>(request.bench);
  const campaign::Campaign campaign = campaign::campaign_from_file(request.campaign, other_bench);
  const bench::Bench bench = bench::bench_from_file(campaign.bench_file);
  const fs::path into = request.into.empty() ? new_run_folder(campaign) : fs::path(request.into);
  const auto enter = [&] { enter_in_catalogue(request.catalogue, campaign.bench_file, into); };
  try {
    const campaign::Outcome outcome = conduct(request, into, campaign, bench);
    const bool complete = outcome.ending == campaign::Ending::complete;
    const int code = complete ? tell_results(request, into) : tell_ending(request, into, outcome);
    enter();
    return code;
  } catch (const base::DeviceFault&) {
    enter();  // the points before it
    throw;
  } catch (const base::DiskFault&) {
    enter();
    throw;
  }
}

}  // namespace

void add_conduct(CLI::App& program, int& exit_code) {
  auto request = std::make_shared<Request>();  // shared: the callback outlives this function
  CLI::App* verb = program.add_subcommand(
      "conduct", "Conduct a campaign on its bench, to the report; goes on after any end");
  verb->add_option("CAMPAIGN", request->campaign, "campaign description")->required();
  verb->add_option("--bench", request->bench, "instead of the bench that CAMPAIGN names");
  CLI::Option* into = verb->add_option(
      "--into", request->into,
      "folder of the run, new; if left out, the next free runs/NNN beside CAMPAIGN");
  verb->add_flag("--resume", request->resume,
                 "go on with the run in --into after its last test point")
      ->needs(into);
  verb->add_option(
      "--reason", request->reason,
      "why to go on though the bench is not ready, or to reset a trip; it is reported");
  verb->add_option("--by", request->person,
                   "who stands at the bench and resets the trip; if left out, CAMPAIGN's operator");
  verb->add_option("--catalogue", request->catalogue,
                   "enter it in this catalogue: a file, or postgresql://...; else in that of the "
                   "bench's folder, if it has one; 'none'");
  add_publish_option(*verb, request->publish);
  verb->add_flag("--real-time", request->real_time, "simulate no faster than a real bench runs");
  verb->add_flag("--json", request->json, "one JSON document on stdout");
  verb->footer(
      "Ends with 0; with 1 where the answer is 'no significant difference', the bench was not "
      "ready\n"
      "or the run was interrupted; with 3 on a device fault; with 4 when an interlock tripped.\n"
      "Rotating blades: keep the guard closed; the hard-wired emergency stop comes first.\n"
      "Example:\n  windwright conduct my-bench/campaign.toml --into my-bench/run");
  verb->callback([request, &exit_code] { exit_code = run_conduct(*request); });
}

}  // namespace windwright::cli
