// SPDX-License-Identifier: Apache-2.0
#include "base/errors.h"
#include "base/json.h"
#include "campaign/conductor.h"
#include "cli/reduce_bins.h"
#include "cli/report_pages.h"
#include "cli/verbs.h"
#include "report/run_products.h"

#include <CLI/CLI.hpp>
#include <boost/json.hpp>
#include <fmt/format.h>

#include <cstdio>
#include <filesystem>
#include <memory>
#include <string>
#include <utility>

namespace windwright::cli {

namespace {

int report_of_run(const PagesRequest& options) {
  const campaign::Run run = campaign::run_from_folder(options.what.front());
  const auto no_pdf = report::report_run(run, report::reduce_run(run), options.pdf);
  const std::filesystem::path html = run.folder / "report.html";
  const std::filesystem::path pdf = run.folder / "report.pdf";
  const bool printed = options.pdf && !no_pdf;
  if (options.json) {
    boost::json::object document{{"run", run.folder.string()}, {"html", html.string()}};
    document["pdf"] = printed ? boost::json::value(pdf.string()) : boost::json::value(nullptr);
    fmt::print("{}", base::json_text(document));
  } else {
    fmt::print("{}\n", html.string());
    if (printed) fmt::print("{}\n", pdf.string());
  }
  if (!no_pdf) return done;
  fmt::print(stderr, "{}\n", *no_pdf);
  return bad_input;
}

// What belongs to the other pages alone would be overlooked beside a run.
void refuse_beside_a_run(const PagesRequest& options) {
  const std::pair<bool, const char*> others[] = {
      {!options.into.empty(), "--into"},
      {!options.title.empty(), "--title"},
      {!options.rotor.empty(), "--rotor"},
      {options.section_area_m2.has_value(), "--tunnel-area"},
      {options.same_sensors, "--same-sensors"},
      {!options.reference.empty(), "--reference"}};
  for (const auto& [given, name] : others) {
    if (given) {
      throw base::BadInput(name, "does not go with one run, which has its own bench and folder",
                           "leave it out");
    }
  }
}

int run_report(const PagesRequest& options) {
  for (const CLI::Option* option : options.bins.options) {
    if (options.bins.wanted || option->count() == 0) continue;
    throw base::BadInput(option->get_name(), "goes with --bins only",
                         "--bins too, or leave it out");
  }
  const bool run = options.what.size() == 1 && std::filesystem::is_directory(options.what.front());
  if (!run || options.bins.wanted) return report_pages(options);
  refuse_beside_a_run(options);
  return report_of_run(options);
}

}  // namespace

void add_report(CLI::App& program, int& exit_code) {
  CLI::App* verb = program.add_subcommand(
      "report",
      "Reports as report.html and report.pdf: of a run, anew from its samples; of runs or groups "
      "against each other; of a power curve");
  auto options = std::make_shared<PagesRequest>();  // shared: lives as long as the callback
  verb->add_option("RUN|POINTS.csv|GROUPS.csv", options->what,
                   "Folder of a run; two or more runs or points files to compare; a CSV of groups; "
                   "with --bins a points CSV of a turbine in the wind")
      ->required();
  verb->add_flag("--pdf", options->pdf, "Also report.pdf (needs the package weasyprint)");
  verb->add_option("--into", options->into,
                   "Folder for report.html, results.json and report.pdf; a single run has its own");
  verb->add_option("--title", options->title, "Instead of the files' names");
  verb->add_option("--rotor", options->rotor, "rotor.toml of the points files");
  verb->add_option("--tunnel-area", options->section_area_m2,
                   "Clear area of the closed section that compared points come from, m2");
  verb->add_flag("--same-sensors", options->same_sensors,
                 "Compared points files come from the same sensors under the same certificates");
  verb->add_option("--reference", options->reference,
                   "The group that the others are scored against");
  verb->add_flag("--json", options->json, "One JSON document: where the files are");
  add_bins_options(*verb, options->bins);
  verb->footer(
      "Examples: windwright report runs/two-or-three-blades --pdf\n"
      "          windwright report examples/class-of-thirty/groups.csv --reference technician\n"
      "             --into class --pdf\n"
      "          windwright report examples/roof-turbine/minutes.csv --bins --swept-area 3.46\n"
      "             --into roof --pdf");
  verb->callback([options, &exit_code] { exit_code = run_report(*options); });
}

}  // namespace windwright::cli
