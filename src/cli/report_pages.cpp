// SPDX-License-Identifier: Apache-2.0
#include "cli/report_pages.h"

#include "analysis/run_comparison.h"
#include "base/errors.h"
#include "base/files.h"
#include "base/json.h"
#include "base/table.h"
#include "cli/compare_groups.h"
#include "cli/compare_runs.h"
#include "cli/option_values.h"
#include "cli/reduce_bins.h"
#include "cli/verbs.h"
#include "metrology/groups_file.h"
#include "report/pages.h"
#include "report/report.h"

#include <boost/json.hpp>
#include <fmt/format.h>

#include <algorithm>
#include <filesystem>
#include <string>
#include <utility>
#include <vector>

namespace windwright::cli {

namespace {

namespace fs = std::filesystem;
namespace json = boost::json;

// A page and the numbers behind it.
struct Product {
  std::string html;
  json::value results;
};

report::PageSource source_of(const PagesRequest& request, const std::string& title) {
  std::vector<std::string> names;
  for (const std::string& each : request.what)
    names.push_back(fs::path(each).lexically_normal().string());
  return {.title = request.title.empty() ? title : request.title,
          .files = fmt::format("{}", fmt::join(names, ", ")),
          .comments = {},
          .software = WINDWRIGHT_VERSION};
}

std::string comments_of(const std::string& file) {
  return fmt::format("{}", fmt::join(base::Table::from_file(file).comments(), " "));
}

std::string stem(const std::string& file) {
  return fs::path(file).stem().string();
}

Product power_curve_page(const PagesRequest& request) {
  if (request.what.size() > 1 || fs::is_directory(request.what.front()))
    throw base::BadInput("--bins", "takes one points CSV", "one file");
  const std::string& file = request.what.front();
  const BinsStudy study = study_bins(file, request.rotor, request.bins);
  report::PageSource source = source_of(request, stem(file) + ": power curve");
  source.comments = comments_of(file);
  return {.html = report::power_curve_html(source, study.curve, study.energies,
                                           request.bins.cut_out_m_s),
          .results = to_json(study)};
}

Product groups_page(const PagesRequest& request) {
  const std::string& file = request.what.front();
  const auto levels = metrology::study_groups(metrology::groups_from_file(file, request.reference));
  report::PageSource source = source_of(request, stem(file) + ": comparison of groups");
  source.comments = comments_of(file);
  return {.html = report::groups_html(source, levels), .results = groups_json(levels)};
}

Product runs_page(const PagesRequest& request) {
  const auto runs = runs_of({.what = request.what,
                             .rotor = request.rotor,
                             .section_area_m2 = request.section_area_m2,
                             .same_sensors = request.same_sensors,
                             .json = false});
  const analysis::RunComparison comparison = analysis::compare_runs(runs);
  std::vector<std::string> names;
  for (const std::string& each : request.what)
    names.push_back(stem(each));
  const report::PageSource source =
      source_of(request, fmt::format("{}", fmt::join(names, " and ")));
  return {.html = report::comparison_html(source, runs, comparison),
          .results = analysis::to_json(comparison)};
}

bool is_groups(const std::string& file) {
  return !fs::is_directory(file) && metrology::is_groups_file(file);
}

Product product_of(const PagesRequest& request) {
  if (request.bins.wanted) {
    refuse_without(!request.reference.empty(), "--reference", "a CSV of groups");
    refuse_without(request.section_area_m2.has_value(), "--tunnel-area", "points files to compare");
    refuse_without(request.same_sensors, "--same-sensors", "points files to compare");
    return power_curve_page(request);
  }
  if (std::any_of(request.what.begin(), request.what.end(), is_groups)) {
    require_groups_alone({.files = request.what,
                          .rotor = !request.rotor.empty(),
                          .tunnel_area = request.section_area_m2.has_value(),
                          .same_sensors = request.same_sensors});
    return groups_page(request);
  }
  refuse_without(!request.reference.empty(), "--reference", "a CSV of groups");
  if (request.what.size() < 2) {
    throw base::BadInput(request.what.front(), "is neither a run folder nor a CSV of groups",
                         "--bins for its power curve, a second file to compare with, or windwright "
                         "reduce --into DIR for points of one rotor");
  }
  return runs_page(request);
}

}  // namespace

int report_pages(const PagesRequest& request) {
  for (const std::string& each : request.what) {
    if (!fs::exists(each))
      throw base::BadInput(each, "does not exist",
                           "the folder of a run, a points CSV, or a CSV of groups");
  }
  if (request.into.empty())
    throw base::BadInput("--into", "is missing: this has no run folder of its own", "--into DIR");
  const Product product = product_of(request);
  const fs::path folder(request.into);
  fs::create_directories(folder);
  const fs::path html = folder / "report.html";
  base::write_whole(html, product.html);
  base::write_whole(folder / "results.json", base::json_text(product.results));
  json::object told{{"into", folder.string()}, {"html", html.string()}, {"pdf", nullptr}};
  if (request.pdf) {
    report::write_pdf(html, folder / "report.pdf");
    told["pdf"] = (folder / "report.pdf").string();
  }
  if (request.json) {
    fmt::print("{}", base::json_text(told));
  } else {
    fmt::print("{}\n", html.string());
    if (request.pdf) fmt::print("{}\n", (folder / "report.pdf").string());
  }
  return done;
}

}  // namespace windwright::cli
