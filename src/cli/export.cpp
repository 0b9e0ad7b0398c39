// SPDX-License-Identifier: Apache-2.0
#include "base/errors.h"
#include "base/json.h"
#include "cli/option_values.h"
#include "cli/verbs.h"
#include "exchange/export_recording.h"

#include <CLI/CLI.hpp>
#include <boost/json.hpp>
#include <fmt/format.h>

#include <memory>
#include <string>
#include <vector>

namespace windwright::cli {

namespace {

namespace json = boost::json;

struct Request {
  std::string file;
  std::string into;
  std::vector<std::string> channels;
  std::string from;
  std::string to;
  std::string bins;
  bool json = false;
};

void run_export(const Request& request) {
  constexpr Limits time_s{.lowest = -1e12, .highest = 1e12};
  exchange::ExportRequest wanted{
      .file = request.file, .into = request.into, .channels = request.channels};
  if (!request.from.empty()) wanted.from_s = number_within("--from", request.from, time_s);
  if (!request.to.empty()) wanted.to_s = number_within("--to", request.to, time_s);
  if (!(wanted.from_s < wanted.to_s)) {
    throw base::BadInput("--to", fmt::format("is '{}', not after --from", request.to),
                         "a later time");
  }
  if (!request.bins.empty())
    wanted.bins =
        whole_sweep_within("--bins", request.bins, {.lowest = 1, .highest = 100'000}).at(0);
  const exchange::Exported exported = exchange::export_recording(wanted);
  for (const std::string& remark : exported.remarks)
    fmt::print(stderr, "{}\n", remark);
  if (request.json) {
    fmt::print("{}",
               base::json_text(json::object{{"exported", request.into},
                                            {"rows", exported.rows},
                                            {"columns", json::value_from(exported.columns)},
                                            {"gaps", exported.gaps},
                                            {"clock", exported.clock},
                                            {"remarks", json::value_from(exported.remarks)}}));
  } else {
    fmt::print("{}: {} rows of {} columns, {} gaps\n", request.into, exported.rows,
               exported.columns.size(), exported.gaps);
  }
}

}  // namespace

void add_export(CLI::App& program, int& exit_code) {
  auto request = std::make_shared<Request>();  // shared: the callback outlives this function
  CLI::App* verb = program.add_subcommand(
      "export", "Give a window of a recording to other programs: values with units and gaps");
  verb->add_option("FILE", request->file, "recording (HDF5)")->required();
  verb->add_option("--into", request->into, "new file: .csv, .nc (netCDF-4) or .mat (MATLAB)")
      ->required();
  verb->add_option("--channel", request->channels, "this channel; several times; all if left out");
  verb->add_option("--from", request->from, "from this time on, s since the first sample");
  verb->add_option("--to", request->to, "up to this time, s");
  verb->add_option("--bins", request->bins,
                   "lowest, highest, mean and deviation of so many bins instead of every sample");
  verb->add_flag("--json", request->json, "one JSON document on stdout");
  verb->footer(
      "Example:\n"
      "  windwright export run/recording.h5 --into run.nc\n"
      "  windwright export run/recording.h5 --channel dc_voltage_V --from 12 --to 20 "
      "--into start.csv");
  verb->callback([request, &exit_code] {
    run_export(*request);
    exit_code = done;
  });
}

}  // namespace windwright::cli
