// SPDX-License-Identifier: Apache-2.0
#include "base/errors.h"
#include "cli/compare_groups.h"
#include "cli/verbs.h"
#include "metrology/groups_file.h"

#include <CLI/CLI.hpp>

#include <filesystem>
#include <memory>
#include <string>
#include <vector>

namespace windwright::cli {

namespace {

namespace fs = std::filesystem;

struct Request {
  std::vector<std::string> what;
  std::string reference;
  bool json = false;
};

int run_compare(const Request& request) {
  for (const std::string& each : request.what) {
    if (fs::exists(each)) continue;
    throw base::BadInput(each, "does not exist", "a CSV of groups");
  }
  return compare_groups(
      {.file = request.what.front(), .reference = request.reference, .json = request.json});
}

}  // namespace

void add_compare(CLI::App& program, int& exit_code) {
  auto request = std::make_shared<Request>();  // shared: the callback outlives this function
  CLI::App* verb = program.add_subcommand(
      "compare", "Groups that measured the same against each other, and who stands out");
  verb->add_option("GROUPS.csv", request->what,
                   "CSV with the columns group,level,value and perhaps u: what each group "
                   "measured at each level, repeats in rows of their own")
      ->required();
  verb->add_option("--reference", request->reference,
                   "the group that the others are scored against; left out: their robust mean");
  verb->add_flag("--json", request->json, "one JSON document on stdout");
  verb->footer("Example: windwright compare examples/class-of-thirty/groups.csv");
  verb->callback([request, &exit_code] { exit_code = run_compare(*request); });
}

}  // namespace windwright::cli
