// SPDX-License-Identifier: Apache-2.0
#include "base/clock.h"
#include "base/json.h"
#include "cli/verbs.h"
#include "exchange/import_samples.h"

#include <CLI/CLI.hpp>
#include <boost/json.hpp>
#include <fmt/format.h>

#include <memory>
#include <string>
#include <utility>

namespace windwright::cli {

namespace {

namespace json = boost::json;

struct Request {
  std::string file;
  std::string into;
  std::string start;
  bool json = false;
};

void run_import(const Request& request) {
  exchange::ImportRequest wanted{.file = request.file, .into = request.into};
  if (!request.start.empty()) wanted.start = base::utc_from_text(request.start, "--start");
  const exchange::Imported imported = exchange::import_samples(wanted);
  for (const std::string& remark : imported.remarks)
    fmt::print(stderr, "{}\n", remark);
  if (!request.json) {
    fmt::print("{}: {} samples of {} channels at {:g} Hz, {} gaps\n", request.into,
               imported.samples, imported.channels.size(), imported.sample_rate_hz, imported.gaps);
    fmt::print("{:<24} {:<10} {:>5} {:>12} {:>20}\n", "channel", "unit", "bits", "step",
               "largest difference");
    for (const exchange::ImportedChannel& channel : imported.channels)
      fmt::print("{:<24} {:<10} {:>5} {:>12.5g} {:>20.2g}\n", channel.name, channel.unit,
                 channel.bits, channel.step, channel.largest_difference);
    return;
  }
  json::array channels;
  for (const exchange::ImportedChannel& channel : imported.channels) {
    channels.push_back(json::object{{"name", channel.name},
                                    {"unit", channel.unit},
                                    {"bits", channel.bits},
                                    {"step", channel.step},
                                    {"largest_difference", channel.largest_difference}});
  }
  fmt::print("{}", base::json_text(json::object{{"recording", request.into},
                                                {"samples", imported.samples},
                                                {"sample_rate_hz", imported.sample_rate_hz},
                                                {"gaps", imported.gaps},
                                                {"channels", std::move(channels)},
                                                {"remarks", json::value_from(imported.remarks)}}));
}

}  // namespace

void add_import(CLI::App& program, int& exit_code) {
  auto request = std::make_shared<Request>();  // shared: the callback outlives this function
  CLI::App* verb = program.add_subcommand(
      "import", "Make a recording of samples that were written elsewhere, as CSV with units");
  verb->add_option("SAMPLES", request->file, "CSV: time_s and a column a channel")->required();
  verb->add_option("--into", request->into, "recording to write, new (HDF5)")->required();
  verb->add_option("--start", request->start,
                   "UTC of time_s = 0; else the file's comment '# start_utc: ...'");
  verb->add_flag("--json", request->json, "one JSON document on stdout");
  verb->footer(
      "Example:\n"
      "  windwright import examples/roof-turbine/gusts.csv --into gusts.h5 "
      "--start 2026-03-02T09:00:00Z");
  verb->callback([request, &exit_code] {
    run_import(*request);
    exit_code = done;
  });
}

}  // namespace windwright::cli
