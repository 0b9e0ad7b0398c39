// SPDX-License-Identifier: Apache-2.0
#include "base/errors.h"
#include "cli/compare_groups.h"
#include "cli/compare_runs.h"
#include "cli/option_values.h"
#include "cli/verbs.h"
#include "metrology/groups_file.h"

#include <CLI/CLI.hpp>
#include <fmt/format.h>

#include <filesystem>
#include <memory>
#include <optional>
#include <string>
#include <vector>

namespace windwright::cli {

namespace {

namespace fs = std::filesystem;

struct Request {
  std::vector<std::string> what;
  std::string reference;
  std::string rotor;
  std::optional<double> section_area_m2;
  bool same_sensors = false;
  bool json = false;
};

int run_compare(const Request& request) {
  bool groups = false;
  bool points = false;
  for (const std::string& each : request.what) {
    if (!fs::exists(each)) {
      throw base::BadInput(each, "does not exist",
                           "the folder of a run, a points CSV, or a CSV of groups");
    }
    if (fs::is_directory(each)) continue;
    (metrology::is_groups_file(each) ? groups : points) = true;
  }
  if (groups) {
    require_groups_alone({.files = request.what,
                          .rotor = !request.rotor.empty(),
                          .tunnel_area = request.section_area_m2.has_value(),
                          .same_sensors = request.same_sensors});
    return compare_groups(
        {.file = request.what.front(), .reference = request.reference, .json = request.json});
  }
  refuse_without(!request.reference.empty(), "--reference", "a CSV of groups");
  refuse_without(!points && !request.rotor.empty(), "--rotor", "points files");
  refuse_without(!points && request.section_area_m2.has_value(), "--tunnel-area", "points files");
  refuse_without(!points && request.same_sensors, "--same-sensors", "points files");
  return compare_runs({.what = request.what,
                       .rotor = request.rotor,
                       .section_area_m2 = request.section_area_m2,
                       .same_sensors = request.same_sensors,
                       .json = request.json});
}

}  // namespace

void add_compare(CLI::App& program, int& exit_code) {
  auto request = std::make_shared<Request>();  // shared: the callback outlives this function
  CLI::App* verb = program.add_subcommand(
      "compare", "Runs against each other, or the groups of a class: do they agree?");
  verb->add_option("RUN|POINTS.csv|GROUPS.csv", request->what,
                   "two or more runs, by folder, or points files; or one CSV with the columns "
                   "group,level,value and perhaps u: what each group measured")
      ->required();
  verb->add_option("--rotor", request->rotor, "rotor.toml of the points files");
  verb->add_option("--tunnel-area", request->section_area_m2,
                   "clear area of the closed section that the points files come from, m2");
  verb->add_flag("--same-sensors", request->same_sensors,
                 "the points files come from the same sensors under the same certificates: inputs "
                 "of one name are one error");
  verb->add_option("--reference", request->reference,
                   "the group that the others are scored against; left out: their robust mean");
  verb->add_flag("--json", request->json, "one JSON document on stdout");
  verb->footer(
      "Examples: windwright compare runs/monday runs/friday\n"
      "          windwright compare examples/class-of-thirty/groups.csv --reference technician");
  verb->callback([request, &exit_code] { exit_code = run_compare(*request); });
}

}  // namespace windwright::cli
