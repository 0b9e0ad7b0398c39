// SPDX-License-Identifier: Apache-2.0
#include "analysis/window_view.h"
#include "base/errors.h"
#include "base/files.h"
#include "base/json.h"
#include "base/text.h"
#include "cli/option_values.h"
#include "cli/verbs.h"
#include "report/pictures.h"

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
  std::string channel;
  std::string from;
  std::string to;
  std::string bins = "1000";
  std::string chart;
  bool json = false;
};

json::object object_of(const analysis::ViewBin& bin) {
  return {{"t_s", bin.t_s},   {"min", bin.lowest},          {"max", bin.highest},
          {"mean", bin.mean}, {"deviation", bin.deviation}, {"count", bin.samples}};
}

std::string json_of(const analysis::View& view) {
  json::array bins;
  for (const analysis::ViewBin& bin : view.bins)
    bins.push_back(object_of(bin));
  json::array gaps(view.gaps_at_s.begin(), view.gaps_at_s.end());
  return base::json_text(json::object{{"channel", view.channel},
                                      {"unit", view.unit},
                                      {"calibrated", view.calibrated},
                                      {"from_s", view.from_s},
                                      {"to_s", view.to_s},
                                      {"bins", std::move(bins)},
                                      {"window", object_of(view.all)},
                                      {"gaps_at_s", std::move(gaps)}});
}

void print_csv(const analysis::View& view) {
  fmt::print("# {}, {}{}\nt_s,min,max,mean,deviation,count\n", view.channel, view.unit,
             view.calibrated ? "" : " at the converter: no certificate");
  for (const analysis::ViewBin& bin : view.bins) {
    fmt::print("{},{},{},{},{},{}\n", base::number_text(bin.t_s), base::number_text(bin.lowest),
               base::number_text(bin.highest), base::number_text(bin.mean),
               base::number_text(bin.deviation), bin.samples);
  }
}

void run_view(const Request& request) {
  constexpr Limits time_s{.lowest = -1e12, .highest = 1e12};
  analysis::ViewRequest wanted{.file = request.file, .channel = request.channel};
  if (!request.from.empty()) wanted.from_s = number_within("--from", request.from, time_s);
  if (!request.to.empty()) wanted.to_s = number_within("--to", request.to, time_s);
  wanted.bins = whole_sweep_within("--bins", request.bins, {.lowest = 1, .highest = 100'000}).at(0);
  if (!(wanted.from_s < wanted.to_s)) {
    throw base::BadInput("--to", fmt::format("is '{}', not after --from", request.to),
                         "a later time");
  }
  const analysis::View view = analysis::view_of(wanted);
  if (!request.chart.empty()) base::write_whole(request.chart, report::window_picture(view));
  if (request.json) {
    fmt::print("{}", json_of(view));
  } else if (request.chart.empty()) {
    print_csv(view);
  }
}

}  // namespace

void add_view(CLI::App& program, int& exit_code) {
  auto request = std::make_shared<Request>();  // shared: the callback outlives this function
  CLI::App* verb = program.add_subcommand(
      "view",
      "Look at any window of a recording, from hours to single samples, in calibrated values");
  verb->add_option("FILE", request->file, "recording (HDF5)")->required();
  verb->add_option("--channel", request->channel, "channel to look at")->required();
  verb->add_option("--from", request->from, "from this time on, s since the first sample");
  verb->add_option("--to", request->to, "up to this time, s");
  verb->add_option("--bins", request->bins, "bins at most")->capture_default_str();
  verb->add_option("--chart", request->chart, "draw it into this SVG file instead of printing it");
  verb->add_flag("--json", request->json, "one JSON document on stdout");
  verb->footer(
      "Example:\n"
      "  windwright view run/recording.h5 --channel dc_voltage_V --bins 2000 --chart voltage.svg\n"
      "  windwright view run/recording.h5 --channel rotor_speed_rad_s --from 12 --to 20 --json");
  verb->callback([request, &exit_code] {
    run_view(*request);
    exit_code = done;
  });
}

}  // namespace windwright::cli
