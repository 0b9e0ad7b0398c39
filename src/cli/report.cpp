// SPDX-License-Identifier: Apache-2.0
#include "base/json.h"
#include "campaign/conductor.h"
#include "cli/run_products.h"
#include "cli/verbs.h"

#include <CLI/CLI.hpp>
#include <boost/json.hpp>
#include <fmt/format.h>

#include <cstdio>
#include <filesystem>
#include <memory>
#include <string>

namespace windwright::cli {

namespace {

struct ReportOptions {
  std::string run;
  bool pdf = false;
  bool json = false;
};

int run_report(const ReportOptions& options) {
  const campaign::Run run = campaign::run_from_folder(options.run);
  const auto no_pdf = report_run(run, reduce_run(run), options.pdf);
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

}  // namespace

void add_report(CLI::App& program, int& exit_code) {
  CLI::App* verb = program.add_subcommand(
      "report", "Write the report of a run anew, from its samples: report.html, and report.pdf");
  auto options = std::make_shared<ReportOptions>();  // shared: lives as long as the callback
  verb->add_option("run", options->run, "Run folder")->required();
  verb->add_flag("--pdf", options->pdf, "Also report.pdf (needs the package weasyprint)");
  verb->add_flag("--json", options->json, "One JSON document: where the files are");
  verb->footer("Example:\n  windwright report runs/two-or-three-blades --pdf");
  verb->callback([options, &exit_code] { exit_code = run_report(*options); });
}

}  // namespace windwright::cli
