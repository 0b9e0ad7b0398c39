// SPDX-License-Identifier: Apache-2.0
#include "analysis/chain_of_window.h"
#include "analysis/comparison.h"
#include "analysis/energy_chain.h"
#include "analysis/points.h"
#include "analysis/recorded_channel.h"
#include "analysis/results.h"
#include "base/errors.h"
#include "base/files.h"
#include "base/json.h"
#include "base/text.h"
#include "bench/rotor_file.h"
#include "campaign/conductor.h"
#include "cli/reduce_bins.h"
#include "cli/reduce_statistics.h"
#include "cli/verbs.h"
#include "report/pictures.h"
#include "report/report.h"
#include "report/run_products.h"

#include <CLI/CLI.hpp>
#include <boost/json.hpp>
#include <fmt/format.h>

#include <cstdio>
#include <exception>
#include <filesystem>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::cli {

namespace {

namespace fs = std::filesystem;
using metrology::Estimate;

struct Request {
  std::string what;
  std::string rotor;
  std::string into;
  std::optional<double> section_area_m2;
  std::vector<std::string> windows;
  std::string chart;
  BinsRequest bins;
  StatisticsRequest statistics;
  bool json = false;
};

std::string cell(const Estimate& estimate) {
  return analysis::with_uncertainty(estimate.value(), estimate.expanded());
}
std::string cell(const std::optional<Estimate>& estimate) {
  return estimate ? cell(*estimate) : "-";
}

void print_points(const analysis::Curve& curve, const char* title) {
  fmt::print("\n{}{}\n", curve.label, title);
  fmt::print("{:>6} {:>18} {:>20} {:>20} {:>20} {:>18}\n", "point", "tip-speed ratio",
             "cp electrical", "cp shaft", "ct", "DC power, W");
  for (const analysis::PointResult& point : curve.points) {
    fmt::print("{:>6} {:>18} {:>20} {:>20} {:>20} {:>18}{}{}\n", point.number,
               cell(point.tip_speed_ratio), cell(point.cp_electrical), cell(point.cp_shaft),
               cell(point.ct), cell(point.dc_power_W), point.settled ? "" : "  not settled",
               point.corrected && point.corrected->held ? "  beyond the wall correction" : "");
  }
  if (curve.optimum_tip_speed_ratio) {
    fmt::print("  largest {} cp {} at tip-speed ratio {}: {}\n", curve.stage,
               cell(curve.maximum_cp), cell(*curve.optimum_tip_speed_ratio), curve.maximum_basis);
  } else {
    fmt::print("  largest {} cp {}: {}\n", curve.stage, cell(curve.maximum_cp),
               curve.maximum_basis);
  }
}

void print_budget(const std::string& of, const std::vector<analysis::BudgetLine>& budget) {
  if (budget.empty()) return;
  fmt::print("\nuncertainty of the {}, by input:\n", of);
  for (const analysis::BudgetLine& line : budget)
    fmt::print("{:>6.1f} %  {}\n", line.share_pct, line.meaning);
}

int tell(const Request& request, const analysis::Results& results) {
  const bool answered = !results.verdict || results.verdict->significant;
  if (request.json) {
    fmt::print("{}", base::json_text(analysis::to_json(results)));
    return answered ? done : negative_verdict;
  }
  fmt::print("value ± expanded uncertainty (95 %); a value alone: none stated\n");
  for (const analysis::Curve& curve : results.curves)
    print_points(curve, results.section ? ", on the tunnel's air speed" : "");
  for (const analysis::Curve& curve : results.open_air_curves)
    print_points(curve, ", corrected to open air");
  if (results.verdict) {
    fmt::print("\n{}\n{}\n", results.verdict->question, results.verdict->answer);
  }
  if (results.corrected_verdict) {
    fmt::print("Corrected to open air: {}\n", results.corrected_verdict->answer);
  }
  print_budget(results.budget_of, results.budget);
  print_budget(results.corrected_budget_of, results.corrected_budget);
  if (!results.remarks.empty()) fmt::print("\n");
  for (const std::string& remark : results.remarks)
    fmt::print("- {}\n", remark);
  return answered ? done : negative_verdict;
}

// A run's own points.csv finds its bench and question beside it.
std::optional<campaign::Run> run_around(const fs::path& points) {
  const fs::path folder = fs::absolute(points).parent_path();
  if (!fs::is_regular_file(folder / "campaign.toml") ||
      !fs::is_regular_file(folder / "recording.h5")) {
    return std::nullopt;
  }
  return campaign::run_from_folder(folder);
}

void write_products(const Request& request, const analysis::Results& results) {
  const fs::path points(request.what);
  const fs::path folder(request.into);
  const std::string text = base::text_of_file(points);
  const auto sources = analysis::sources_of_points(points);
  fs::create_directories(folder);
  base::write_whole(folder / "points.csv", text);
  base::write_whole(folder / "curves.csv", analysis::curves_csv(results));
  base::write_whole(folder / "results.json", base::json_text(analysis::to_json(results)));
  const report::Subject subject{.title = points.filename().string(),
                                .source = fmt::format("{}", fmt::join(sources, " ")),
                                .run = nullptr};
  base::write_whole(folder / "report.html", report::report_html(subject, results));
  try {
    report::write_pdf(folder / "report.html", folder / "report.pdf");
  } catch (const std::exception& error) {
    fmt::print(stderr, "report.pdf was not written: {}\n", error.what());
  }
}

[[noreturn]] void refuse_beside_a_run(const char* option) {
  throw base::BadInput(option, "does not go with a run, which has its own bench and folder",
                       "leave it out");
}

int reduce_points(const Request& request) {
  const auto points = analysis::points_from_file(request.what);
  const auto run = run_around(request.what);
  if (!run && request.rotor.empty()) {
    throw base::BadInput("--rotor", "is missing: points alone do not say which rotor was measured",
                         "--rotor ROTOR.toml");
  }
  analysis::ReductionInput input{
      .points = points,
      .rotor = request.rotor.empty() ? run->bench.rotor : bench::rotor_from_file(request.rotor)};
  if (run) {
    input.u_tip_radius_m = run->bench.u_tip_radius_m;
    input.bench = &run->bench;
    input.question = &run->campaign.question;
  }
  if (run && request.section_area_m2) refuse_beside_a_run("--tunnel-area");
  input.section_area_m2 = request.section_area_m2;
  const analysis::Results results = analysis::reduce(input);
  if (!request.into.empty()) write_products(request, results);
  return tell(request, results);
}

std::vector<analysis::Window> windows_of(const Request& request) {
  std::vector<analysis::Window> windows;
  for (const std::string& text : request.windows) {
    const auto colon = text.find(':');
    const auto from_s = base::number_from_text(std::string_view(text).substr(0, colon));
    const auto to_s = colon == std::string::npos
                          ? std::nullopt
                          : base::number_from_text(std::string_view(text).substr(colon + 1));
    if (!from_s || !to_s) {
      throw base::BadInput("--window", fmt::format("\"{}\" is not a stretch of time", text),
                           "FROM:TO, in seconds of the recording");
    }
    windows.push_back({.from_s = *from_s, .to_s = *to_s});
  }
  return windows;
}

int tell_chain(const Request& request) {
  const auto study =
      analysis::study_windows(campaign::run_from_folder(request.what), windows_of(request));
  if (!request.chart.empty()) {
    // The last window stands for the others: they are reconciled together.
    base::write_whole(request.chart, report::window_chain_picture(study.windows.back()));
  }
  if (request.json) {
    fmt::print("{}", base::json_text(analysis::to_json(study)));
  } else {
    fmt::print("{}", analysis::study_text(study));
  }
  const bool closes = !study.global || study.global->passed;
  return closes && study.suspects.empty() ? done : negative_verdict;
}

// An option that nothing looks at would let people believe it counts.
void refuse_idle(bool wanted, const std::vector<const CLI::Option*>& options, const char* mode) {
  for (const CLI::Option* option : options) {
    if (wanted || option->count() == 0) continue;
    throw base::BadInput(option->get_name(), fmt::format("goes with {} only", mode),
                         fmt::format("{} too, or leave it out", mode));
  }
}

// What a file of wind or samples is asked for instead of coefficients.
int reduce_otherwise(const Request& request) {
  const char* wanted = request.bins.wanted ? "--bins" : "--statistics";
  if (request.bins.wanted && request.statistics.wanted) {
    throw base::BadInput("--statistics", "does not go with --bins", "one of them");
  }
  if (request.bins.wanted && fs::is_directory(request.what)) {
    throw base::BadInput(wanted, "does not take the folder of a run", "a CSV file");
  }
  if (!request.into.empty() || request.section_area_m2) {
    throw base::BadInput(request.into.empty() ? "--tunnel-area" : "--into",
                         fmt::format("does not go with {}", wanted), "leave it out");
  }
  if (request.bins.wanted) {
    return reduce_bins(request.what, request.rotor, request.bins, request.json);
  }
  if (!request.rotor.empty()) {
    throw base::BadInput("--rotor", "does not go with --statistics", "leave it out");
  }
  const std::vector<analysis::Window> windows = windows_of(request);
  if (windows.size() > 1) {
    throw base::BadInput("--window", "is given more than once", "one, with --statistics");
  }
  const fs::path samples = fs::is_directory(request.what) ? fs::path(request.what) / "recording.h5"
                                                          : fs::path(request.what);
  if (fs::is_directory(request.what) && !analysis::is_recording(samples)) {
    throw base::BadInput(request.what, "holds no recording.h5", "the folder of a run");
  }
  return reduce_statistics(
      {.file = samples,
       .window = windows.empty() ? std::nullopt : std::optional(windows.front()),
       .request = request.statistics,
       .json = request.json});
}

int run_reduce(const Request& request) {
  if (!fs::exists(request.what)) {
    throw base::BadInput(request.what, "does not exist", "the folder of a run, or a points CSV");
  }
  if (!request.windows.empty() && !fs::is_directory(request.what) &&
      !(request.statistics.wanted && analysis::is_recording(request.what))) {
    throw base::BadInput("--window", "needs the samples of a run", "the folder of a run");
  }
  if (!request.chart.empty() && request.windows.empty()) {
    throw base::BadInput("--chart", "draws the energy chain of a window", "--window FROM:TO too");
  }
  refuse_idle(request.bins.wanted, request.bins.options, "--bins");
  refuse_idle(request.statistics.wanted, request.statistics.options, "--statistics");
  if (request.bins.wanted || request.statistics.wanted) return reduce_otherwise(request);
  if (!fs::is_directory(request.what)) return reduce_points(request);
  if (!request.into.empty()) refuse_beside_a_run("--into");
  if (!request.rotor.empty()) refuse_beside_a_run("--rotor");
  if (request.section_area_m2) refuse_beside_a_run("--tunnel-area");
  if (!request.windows.empty()) return tell_chain(request);
  return tell(request, report::reduce_run(campaign::run_from_folder(request.what)));
}

}  // namespace

void add_reduce(CLI::App& program, int& exit_code) {
  auto request = std::make_shared<Request>();  // shared: the callback outlives this function
  CLI::App* verb = program.add_subcommand(
      "reduce", "Samples or points to coefficients, curves and a verdict, with uncertainty");
  verb->add_option("RUN|POINTS.csv", request->what,
                   "folder of a run (its points.csv, curves.csv and results.json are written "
                   "again), or points measured anywhere")
      ->required();
  verb->add_option("--rotor", request->rotor, "rotor.toml of the rotor that was measured");
  verb->add_option("--tunnel-area", request->section_area_m2,
                   "clear area of the closed section that the points were measured in, m2: adds "
                   "what they would be in open air; left out: open jet or open air");
  verb->add_option("--into", request->into,
                   "folder for points.csv, curves.csv, results.json and the report");
  verb->add_option("--window", request->windows,
                   "FROM:TO, seconds of a run's recording: the energy chain there, reconciled; "
                   "may be given several times, then the windows check each other");
  verb->add_option("--chart", request->chart,
                   "FILE.svg: the last window's energy chain as a picture");
  verb->add_flag("--json", request->json, "one JSON document on stdout");
  add_bins_options(*verb, request->bins);
  add_statistics_options(*verb, request->statistics);
  verb->footer(
      "Examples: windwright reduce examples/two-bladed-rotor/points.csv\n"
      "             --rotor examples/two-bladed-rotor/rotor.toml --tunnel-area 893\n"
      "          windwright reduce examples/roof-turbine/minutes.csv --bins --swept-area 3.46");
  verb->callback([request, &exit_code] { exit_code = run_reduce(*request); });
}

}  // namespace windwright::cli
