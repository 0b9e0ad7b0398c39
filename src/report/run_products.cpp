// SPDX-License-Identifier: Apache-2.0
#include "report/run_products.h"

#include "analysis/points.h"
#include "base/errors.h"
#include "base/files.h"
#include "base/json.h"
#include "report/report.h"

#include <boost/json.hpp>

#include <exception>
#include <filesystem>
#include <optional>
#include <string>
#include <vector>

namespace windwright::report {

analysis::Results reduce_run(const campaign::Run& run) {
  if (run.points.empty()) {
    throw base::BadInput(run.folder.string(), "holds no test point",
                         "a run that was conducted; windwright conduct --resume goes on with it");
  }
  const std::vector<analysis::Point> points = analysis::points_of_run(run);
  const analysis::Results results = analysis::reduce({.points = points,
                                                      .rotor = run.bench.rotor,
                                                      .u_tip_radius_m = run.bench.u_tip_radius_m,
                                                      .bench = &run.bench,
                                                      .question = &run.campaign.question});
  base::write_whole(run.folder / "points.csv", analysis::points_csv(points));
  base::write_whole(run.folder / "curves.csv", analysis::curves_csv(results));
  base::write_whole(run.folder / "results.json", base::json_text(analysis::to_json(results)));
  return results;
}

std::optional<std::string> report_run(const campaign::Run& run, const analysis::Results& results,
                                      bool pdf) {
  const std::filesystem::path html = run.folder / "report.html";
  base::write_whole(html,
                    report_html({.title = run.campaign.title, .source = {}, .run = &run}, results));
  if (!pdf) return std::nullopt;
  try {
    write_pdf(html, run.folder / "report.pdf");
  } catch (const std::exception& error) {
    return error.what();  // the run and its page are worth more than the paper
  }
  return std::nullopt;
}

}  // namespace windwright::report
