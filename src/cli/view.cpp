// SPDX-License-Identifier: Apache-2.0
#include "analysis/window_json.h"
#include "analysis/window_pairs.h"
#include "analysis/window_spectrum.h"
#include "analysis/window_statistics.h"
#include "analysis/window_view.h"
#include "base/errors.h"
#include "base/files.h"
#include "base/json.h"
#include "base/text.h"
#include "cli/option_values.h"
#include "cli/verbs.h"
#include "cli/view_text.h"
#include "recording/recording.h"
#include "report/pictures.h"
#include "signal/spectrum.h"

#include <CLI/CLI.hpp>
#include <boost/json.hpp>
#include <fmt/format.h>

#include <algorithm>
#include <cstddef>
#include <limits>
#include <memory>
#include <span>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::cli {

namespace {

constexpr Limits time_s{.lowest = -1e12, .highest = 1e12};

struct Request {
  std::string file;
  std::string channel;
  std::string from;
  std::string to;
  std::string bins;
  std::string chart;
  std::vector<std::string> with;
  std::string zero;
  std::string against;
  std::string spectrum;
  std::string taper;
  std::string resolution_Hz;
  std::string averages;
  bool statistics = false;
  std::vector<std::string> at;
  bool json = false;
};

analysis::WindowRequest window_of(const Request& request) {
  analysis::WindowRequest window{.file = request.file, .channel = request.channel};
  if (!request.from.empty()) window.from_s = number_within("--from", request.from, time_s);
  if (!request.to.empty()) window.to_s = number_within("--to", request.to, time_s);
  if (!(window.from_s < window.to_s)) {
    throw base::BadInput("--to", fmt::format("is '{}', not after --from", request.to),
                         "a later time");
  }
  return window;
}

int whole_number(std::string_view option, const std::string& text, int otherwise) {
  if (text.empty()) return otherwise;
  return whole_sweep_within(option, text, {.lowest = 1, .highest = 100'000}).at(0);
}

int bins_of(const Request& request) {
  return whole_number("--bins", request.bins, 1000);
}

// The file itself, then those that it is laid over.
std::vector<std::string> files_of(const Request& request) {
  std::vector<std::string> files{request.file};
  files.insert(files.end(), request.with.begin(), request.with.end());
  return files;
}

std::vector<double> zeros_of(const Request& request) {
  const std::size_t files = 1 + request.with.size();
  if (request.zero.empty()) return std::vector<double>(files, 0.0);
  std::vector<double> zeros;
  for (const auto& each : base::split(request.zero, ','))
    zeros.push_back(number_within("--zero", each, time_s));
  if (zeros.size() == files) return zeros;
  throw base::BadInput("--zero", fmt::format("is '{}', {} times", request.zero, zeros.size()),
                       fmt::format("one time for each of {} recordings, comma between", files));
}

// Whichever of text, document and picture was asked for: each is made only then.
template <typename Document, typename Picture, typename Text>
void show(const Request& request, const Document& document, const Picture& picture,
          const Text& print) {
  if (!request.chart.empty()) base::write_whole(request.chart, picture());
  if (request.json) fmt::print("{}", base::json_text(document()));
  if (!request.json && request.chart.empty()) print();
}

void run_bins(const Request& request) {
  const std::vector<std::string> files = files_of(request);
  const std::vector<double> zeros = zeros_of(request);
  std::vector<analysis::ViewRequest> wanted;
  for (std::size_t k = 0; k < files.size(); ++k) {
    wanted.push_back({.window = window_of(request), .bins = bins_of(request), .zero_s = zeros[k]});
    wanted.back().window.file = files[k];
  }
  const std::vector<analysis::View> views = analysis::views_of(wanted);
  show(
      request, [&] { return analysis::to_json(std::span(views)); },
      [&] { return report::window_picture(views); }, [&] { print_views(views); });
}

void run_against(const Request& request) {
  const analysis::WindowPairs pairs = analysis::pairs_of(
      {.window = window_of(request), .against = request.against, .bins = bins_of(request)});
  show(
      request, [&] { return analysis::to_json(pairs); },
      [&] { return report::pairs_picture(pairs); }, [&] { print_pairs(pairs); });
}

signal::Taper taper_of(const Request& request) {
  if (request.taper.empty()) return signal::Taper::hann;
  for (const signal::Taper taper :
       {signal::Taper::hann, signal::Taper::flat_top, signal::Taper::none}) {
    if (request.taper == signal::name_of(taper)) return taper;
  }
  throw base::BadInput("--taper", fmt::format("is '{}'", request.taper), "hann, flat-top or none");
}

void run_spectrum(const Request& request) {
  if (request.spectrum != "density" && request.spectrum != "amplitude") {
    throw base::BadInput("--spectrum", fmt::format("is '{}'", request.spectrum),
                         "density or amplitude");
  }
  const auto scale = request.spectrum == "density" ? report::SpectrumScale::density
                                                   : report::SpectrumScale::amplitude;
  const std::vector<double> zeros = zeros_of(request);
  std::vector<analysis::SpectrumRequest> wanted;
  for (const std::string& file : files_of(request)) {
    analysis::SpectrumRequest one{.window = window_of(request), .taper = taper_of(request)};
    one.window.file = file;
    one.window.from_s += zeros[wanted.size()];
    one.window.to_s += zeros[wanted.size()];
    if (!request.resolution_Hz.empty()) {
      one.resolution_Hz =
          number_within("--resolution-Hz", request.resolution_Hz, {.lowest = 1e-9, .highest = 1e9});
    }
    one.averages = whole_number("--averages", request.averages, static_cast<int>(one.averages));
    wanted.push_back(std::move(one));
  }
  const std::vector<analysis::WindowSpectrum> spectra = analysis::spectra_of(wanted);
  show(
      request, [&] { return analysis::to_json(std::span(spectra)); },
      [&] { return report::spectrum_picture(spectra, scale); }, [&] { print_spectra(spectra); });
}

// The window behind figures or cursors.
analysis::View view_behind(const Request& request) {
  return analysis::view_of({.window = window_of(request), .bins = bins_of(request)});
}

void run_statistics(const Request& request) {
  const analysis::WindowStatistics statistics = analysis::statistics_of(window_of(request));
  show(
      request, [&] { return analysis::to_json(statistics); },
      [&] { return report::window_picture(view_behind(request), statistics); },
      [&] { print_statistics(statistics); });
}

void run_cursors(const Request& request) {
  std::vector<double> at_s;
  for (const std::string& each : request.at)
    at_s.push_back(number_within("--at", each, time_s));
  const analysis::Cursors cursors = analysis::cursors_of(window_of(request), at_s);
  show(
      request, [&] { return analysis::to_json(cursors); },
      [&] { return report::window_picture(view_behind(request), cursors); },
      [&] { print_cursors(cursors); });
}

// One question at a time, and no option that says nothing to it.
void refuse_what_does_not_go_together(const Request& request) {
  const std::pair<const char*, bool> questions[] = {{"--against", !request.against.empty()},
                                                    {"--spectrum", !request.spectrum.empty()},
                                                    {"--statistics", request.statistics},
                                                    {"--at", !request.at.empty()}};
  const char* asked = nullptr;
  for (const auto& [name, given] : questions) {
    if (!given) continue;
    if (asked != nullptr)
      throw base::BadInput(name, fmt::format("stands beside {}", asked), "one of the two");
    asked = name;
  }
  const bool spectrum = !request.spectrum.empty();
  if (!spectrum) {
    refuse_without(!request.taper.empty(), "--taper", "--spectrum");
    refuse_without(!request.resolution_Hz.empty(), "--resolution-Hz", "--spectrum");
    refuse_without(!request.averages.empty(), "--averages", "--spectrum");
  }
  if (asked != nullptr && !spectrum)
    refuse_without(!request.with.empty(), "--with", "bins or --spectrum");
  if (request.with.empty()) refuse_without(!request.zero.empty(), "--zero", "--with");
  if (spectrum) refuse_without(!request.bins.empty(), "--bins", "values over time");
  if (request.chart.empty() && (request.statistics || !request.at.empty()))
    refuse_without(!request.bins.empty(), "--bins", "a --chart or values over time");
}

void tell_torn_gaps(const Request& request) {
  for (const std::string& file : files_of(request)) {
    if (recording::Recording(file).gaps_are_whole()) continue;
    fmt::print(
        stderr,
        "# {}: the end of its list of gaps was torn, or is being written: what is behind the "
        "last gap may have come later than shown\n",
        file);
  }
}

void run_view(const Request& request) {
  refuse_what_does_not_go_together(request);
  if (!request.against.empty()) {
    run_against(request);
  } else if (!request.spectrum.empty()) {
    run_spectrum(request);
  } else if (request.statistics) {
    run_statistics(request);
  } else if (!request.at.empty()) {
    run_cursors(request);
  } else {
    run_bins(request);
  }
  tell_torn_gaps(request);
}

void add_questions(CLI::App& verb, Request& request) {
  verb.add_option("--with", request.with,
                  "the same channel of this recording over it; may be given several times")
      ->allow_extra_args(false);
  verb.add_option("--zero", request.zero,
                  "with --with: the time of each recording that is called 0, comma between");
  verb.add_option("--against", request.against,
                  "--channel over this channel instead of time: means of bins with their spread");
  verb.add_option("--spectrum", request.spectrum,
                  "density (per hertz, both axes in decades) or amplitude (of sines)");
  verb.add_option("--resolution-Hz", request.resolution_Hz,
                  "of --spectrum: its lines at most so far apart; 8 segments a window without");
  verb.add_option("--taper", request.taper,
                  "of --spectrum: hann (usual), flat-top (amplitudes) or none");
  verb.add_option("--averages", request.averages,
                  "of --spectrum: segments at most, spread over the window; 256 without");
  verb.add_flag("--statistics", request.statistics,
                "mean with type A uncertainty, deviation, lowest, highest, drift");
  verb.add_option("--at", request.at,
                  "the sample at this time, s; given several times also the differences")
      ->allow_extra_args(false);
}

}  // namespace

void add_view(CLI::App& program, int& exit_code) {
  auto request = std::make_shared<Request>();  // shared: the callback outlives this function
  CLI::App* verb = program.add_subcommand(
      "view",
      "Look at any window of a recording, from hours to single samples, in calibrated values: over "
      "time, as a spectrum, against another channel or over other recordings");
  verb->add_option("FILE", request->file, "recording (HDF5)")->required();
  verb->add_option("--channel", request->channel,
                   "channel to look at, or one that its bench derives")
      ->required();
  verb->add_option("--from", request->from, "from this time on, s since the first sample");
  verb->add_option("--to", request->to, "up to this time, s");
  verb->add_option("--bins", request->bins, "bins at most; 1000 without");
  add_questions(*verb, *request);
  verb->add_option("--chart", request->chart, "draw it into this SVG file instead of printing it");
  verb->add_flag("--json", request->json, "one JSON document on stdout");
  verb->footer(
      "Example:\n"
      "  windwright view run/recording.h5 --channel dc_voltage_V --bins 2000 --chart voltage.svg\n"
      "  windwright view run/recording.h5 --channel rotor_speed_rad_s --from 12 --to 20 --json\n"
      "  windwright view run/recording.h5 --channel thrust_N --spectrum density --resolution-Hz "
      "0.5");
  verb->callback([request, &exit_code] {
    run_view(*request);
    exit_code = done;
  });
}

}  // namespace windwright::cli
