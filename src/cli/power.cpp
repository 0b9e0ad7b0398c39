// SPDX-License-Identifier: Apache-2.0
#include "analysis/waveforms.h"
#include "base/errors.h"
#include "cli/option_values.h"
#include "cli/power_shown.h"
#include "cli/verbs.h"
#include "signal/ac_power.h"

#include <CLI/CLI.hpp>
#include <fmt/format.h>

#include <cstdio>
#include <memory>
#include <string>

namespace windwright::cli {

namespace {

struct PowerOptions {
  std::string file;
  std::string voltage;
  std::string current;
  std::string from;
  std::string to;
  bool json = false;
};

void run_power(const PowerOptions& options) {
  analysis::WaveformRequest request{
      .file = options.file, .voltage = options.voltage, .current = options.current};
  constexpr Limits time_s{.lowest = -1e9, .highest = 1e9};
  if (!options.from.empty()) request.from_s = number_within("--from", options.from, time_s);
  if (!options.to.empty()) request.to_s = number_within("--to", options.to, time_s);
  if (!(request.from_s < request.to_s)) {
    throw base::BadInput("--to", fmt::format("is '{}', not after --from", options.to),
                         "a later time");
  }
  if (options.voltage == options.current) {
    throw base::BadInput("--current", fmt::format("is '{}', as --voltage is", options.current),
                         "the channel of the current");
  }
  const analysis::Waveforms waveforms = analysis::waveforms(request);
  const signal::PairPower power = analysis::power_of(waveforms, request.file);
  const ShownPower shown{.voltage = options.voltage,
                         .current = options.current,
                         .waveforms = waveforms,
                         .power = power};
  fmt::print("{}", options.json ? power_json(shown) : power_text(shown));
}

}  // namespace

void add_power(CLI::App& program, int& exit_code) {
  auto options = std::make_shared<PowerOptions>();  // shared: lives as long as the callback
  CLI::App* verb = program.add_subcommand(
      "power", "Power, waveform and harmonics of a sampled voltage and its current");
  verb->add_option("file", options->file,
                   "samples as CSV with a column time_s, or a recording (HDF5)")
      ->required();
  verb->add_option("--voltage", options->voltage, "column or channel of the voltage, V")
      ->required();
  verb->add_option("--current", options->current, "column or channel of the current, A")
      ->required();
  verb->add_option("--from", options->from,
                   "from this time on, s: of time_s, or since a recording's first sample");
  verb->add_option("--to", options->to, "up to this time, s");
  verb->add_flag("--json", options->json, "one JSON document on stdout");
  verb->footer(
      "Example:\n"
      "  windwright power examples/inverter-output/lamp-and-charger.csv --voltage output_V \\\n"
      "    --current output_A\n"
      "  windwright power run/recording.h5 --voltage ac_voltage_V --current ac_current_A \\\n"
      "    --from 12 --to 20 --json");
  verb->callback([options, &exit_code] {
    run_power(*options);
    exit_code = done;
  });
}

}  // namespace windwright::cli
