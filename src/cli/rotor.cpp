// SPDX-License-Identifier: Apache-2.0
#include "physics/rotor.h"

#include "base/errors.h"
#include "bench/rotor_file.h"
#include "cli/option_values.h"
#include "cli/rotor_blade_loads.h"
#include "cli/rotor_design.h"
#include "cli/rotor_optima.h"
#include "cli/rotor_start_up.h"
#include "cli/rotor_sweep.h"
#include "cli/rotor_text.h"
#include "cli/verbs.h"

#include <CLI/CLI.hpp>
#include <fmt/format.h>

#include <algorithm>
#include <cstdio>
#include <limits>
#include <memory>
#include <optional>
#include <string>
#include <utility>
#include <vector>

namespace windwright::cli {

namespace {

RotorStartUp start_up_request(const RotorVerbOptions& options, const physics::Rotor& file) {
  physics::Rotor rotor = file;
  if (!options.blades.empty()) {
    const auto counts = whole_sweep_within("--blades", options.blades, {1.0, 12.0});
    if (counts.size() != 1) {
      throw base::BadInput("--blades",
                           fmt::format("is '{}' together with --start-up", options.blades),
                           "one whole number from 1 to 12");
    }
    rotor.blades = counts.front();
  }
  RotorStartUp request{.rotor = rotor,
                       .bench = options.start_up,
                       .pitches_deg = pitches_deg(options, file),
                       .air_speeds_m_s = {},
                       .load_ohm = std::nullopt,
                       .density_kg_m3 = density_kg_m3(options),
                       .dynamic_viscosity_Pa_s = viscosity_Pa_s(options),
                       .json = options.json};
  if (!options.air_speeds.empty()) {
    request.air_speeds_m_s = sweep_within("--air-speeds", options.air_speeds, {0.1, 200.0});
  }
  if (options.load_ohm == "open") {
    request.load_ohm = std::numeric_limits<double>::infinity();
  } else if (!options.load_ohm.empty()) {
    request.load_ohm = number_within("--load-ohm", options.load_ohm, {1e-3, 1e9});
  }
  return request;
}

void say(const std::vector<std::string>& lines) {
  for (const std::string& line : lines)
    fmt::print(stderr, "note: {}\n", line);
}

std::vector<SweepOptimum> optima_asked_for(const RotorVerbOptions& options,
                                           const RotorSweep& sweep) {
  if (options.optimum && options.spanwise) {
    throw base::BadInput("--optimum", "is given together with --spanwise", "one of them");
  }
  if (!options.optimum && !options.json) return {};
  auto optima = sweep_optima(sweep);
  if (options.optimum && optima.empty()) {
    throw base::BadInput("--optimum", "has no three tip-speed ratios to look at",
                         "--air-speed V --tsr A:STEP:B across the optimum, or --rotor-speed-rpm N "
                         "--air-speeds A:STEP:B");
  }
  return optima;
}

void run_sweep(const RotorVerbOptions& options) {
  const auto sweep = rotor_sweep(options, bench::rotor_from_file(options.file));
  const auto optima = optima_asked_for(options, sweep);
  if (options.optimum) say(notes(optima));
  if (options.optimum && !options.json) {
    fmt::print("{}", optima_csv(optima));
    return;
  }
  const auto points = sweep_points(sweep);
  fmt::print("{}", options.json ? points_json(points, optima) : points_csv(points));
  say(notes(points));
}

void run_rotor(const RotorVerbOptions& options) {
  if (!options.start_up.empty()) {
    print_rotor_start_up(start_up_request(options, bench::rotor_from_file(options.file)));
    return;
  }
  if (!options.load_ohm.empty()) {
    throw base::BadInput("--load-ohm", "is given without a bench", "with --start-up BENCH");
  }
  run_sweep(options);
}

// A blade of one's own: its design, and what its root carries.
struct BladeOptions {
  RotorDesignRequest design;
  bool loads = false;
};

void add_blade_options(CLI::App& verb, CLI::Option& file, BladeOptions& blades) {
  CLI::Option* design =
      verb.add_option("--design", blades.design.design, "Design a rotor from design.toml instead")
          ->excludes(&file);
  verb.add_option("--into", blades.design.into, "Folder for the design")->needs(design);
  verb.add_option("--plate-polar", blades.design.plate_polar, "Polar of one more plate to compare")
      ->needs(design);
  verb.add_flag("--replace", blades.design.replace, "Overwrite the design's files")->needs(design);
  verb.add_flag("--blade-loads", blades.loads,
                "Root loads up to the blades' safe speed, for air speeds up to --air-speed")
      ->excludes(design);
}

// What a mode does not look at is refused rather than ignored.
void refuse_beside(const CLI::App& verb, const std::string& mode,
                   const std::vector<std::string>& allowed) {
  for (const CLI::Option* option : verb.get_options()) {
    const std::string name = option->get_name();
    if (option->count() == 0 || name == mode || name == "--json" || name == "--help") continue;
    if (std::find(allowed.begin(), allowed.end(), name) != allowed.end()) continue;
    throw base::BadInput(name, "is given together with " + mode + ", which does not look at it",
                         fmt::format("with {} only {}", mode, fmt::join(allowed, ", ")));
  }
}

void refuse_ignored(const CLI::App& verb, const RotorVerbOptions& options,
                    const BladeOptions& blades) {
  if (!blades.design.design.empty()) {
    refuse_beside(verb, "--design", {"--into", "--plate-polar", "--replace"});
  } else if (blades.loads) {
    refuse_beside(verb, "--blade-loads",
                  {"FILE", "--air-speed", "--pitch", "--blades", "--density", "--viscosity",
                   "--tunnel-area"});
  } else if (!options.start_up.empty()) {
    refuse_beside(
        verb, "--start-up",
        {"FILE", "--air-speeds", "--load-ohm", "--pitch", "--blades", "--density", "--viscosity"});
  }
}

void run(const RotorVerbOptions& options, const BladeOptions& blades) {
  if (!blades.design.design.empty()) {
    RotorDesignRequest request = blades.design;
    request.json = options.json;
    design_rotor(request);
  } else if (options.file.empty()) {
    throw base::BadInput("FILE", "is missing", "a rotor.toml, or --design DESIGN.toml");
  } else if (blades.loads) {
    show_blade_loads({.file = options.file,
                      .air_speed = options.air_speed,
                      .pitch = options.pitch,
                      .blades = options.blades,
                      .density = options.density,
                      .viscosity = options.viscosity,
                      .tunnel_area = options.tunnel_area,
                      .json = options.json});
  } else {
    run_rotor(options);
  }
}

}  // namespace

void add_rotor(CLI::App& program, int& exit_code) {
  CLI::App* verb =
      program.add_subcommand("rotor", "Power, torque and thrust a rotor gives, as CSV");
  auto options = std::make_shared<RotorVerbOptions>();  // shared: lives as long as the callback
  CLI::Option* file = verb->add_option("FILE", options->file, "rotor.toml");
  verb->add_option("--air-speed", options->air_speed, "Air speed in m/s, with --tsr");
  verb->add_option("--tsr", options->tsr, "Tip-speed ratios, A:STEP:B or one");
  verb->add_option("--rotor-speed-rpm", options->rotor_speed_rpm, "Fixed rotor speed in rpm");
  verb->add_option("--air-speeds", options->air_speeds,
                   "Air speeds in m/s, A:STEP:B or one, at that rotor speed");
  verb->add_option("--pitch", options->pitch, "Pitch in degrees, A:STEP:B or one; else the file's");
  verb->add_option("--blades", options->blades,
                   "Blade counts from 1 to 12, A:STEP:B or one; else the file's");
  verb->add_option("--tunnel-area", options->tunnel_area,
                   "Clear area in m2 of a closed test section: what will be seen in it, on the "
                   "tunnel's air speed; else open air");
  verb->add_option("--density", options->density, "Air density in kg/m3; else 1.225");
  verb->add_option("--viscosity", options->viscosity,
                   "Dynamic viscosity in Pa s; else that of air at 15 degC");
  verb->add_option("--losses", options->losses, "Loss factor: none, tip, root or both")
      ->capture_default_str();
  verb->add_option("--rotational-augmentation", options->rotational_augmentation,
                   "Let rotation delay the stall of the inner blade: on or off")
      ->capture_default_str();
  verb->add_option("--yaw", options->yaw, "Angle of the wind to the axis in degrees, -60 to 60");
  verb->add_option("--start-up", options->start_up,
                   "Bench: starting torque, cut-in, running and run-away speed on its shaft");
  verb->add_option(
      "--load-ohm", options->load_ohm,
      "With --start-up: resistance at the DC terminals, or 'open'; else the rheostat's "
      "highest");
  verb->add_flag("--spanwise", options->spanwise, "One row a blade element instead of a point");
  verb->add_flag("--optimum", options->optimum,
                 "Instead of the points: where cp is largest and how flat it is there");
  verb->add_flag("--json", options->json, "One JSON document");
  auto blades = std::make_shared<BladeOptions>();  // shared: as the options above
  add_blade_options(*verb, *file, *blades);
  verb->footer(
      "Example:\n  windwright rotor examples/saltmarsh-college/rotor.toml --air-speed 8 --tsr "
      "1:0.5:8 --pitch 0:2:10 --blades 2:1:6\n  windwright rotor "
      "examples/saltmarsh-college/rotor.toml --start-up examples/saltmarsh-college/bench.toml "
      "--load-ohm 15 --air-speeds 2:1:14\n  windwright rotor --design "
      "examples/saltmarsh-college/design.toml --into new-rotor");
  verb->callback([verb, options, blades, &exit_code] {
    refuse_ignored(*verb, *options, *blades);
    run(*options, *blades);
    exit_code = done;
  });
}

}  // namespace windwright::cli
