// SPDX-License-Identifier: Apache-2.0
#include "physics/air.h"

#include "base/json.h"
#include "cli/option_values.h"
#include "cli/verbs.h"
#include "metrology/estimate.h"
#include "metrology/quantity.h"

#include <CLI/CLI.hpp>
#include <boost/json.hpp>
#include <fmt/format.h>

#include <array>
#include <cstdio>
#include <limits>
#include <memory>
#include <span>
#include <string>
#include <vector>

namespace windwright::cli {

namespace {

using metrology::Estimate;

// One input: as text, so that what is wrong with it is said in our own words.
struct Input {
  const char* name;  // with unit suffix; the option is --name, its uncertainty --u-name
  const char* what;
  double lowest;
  double highest;
  std::string text;
  std::string u_text;
};

struct AirOptions {
  std::array<Input, 4> inputs{{
      {"temperature-C", "air temperature, degC", -60.0, 80.0, {}, {}},
      {"pressure-hPa", "air pressure, hPa", 300.0, 1200.0, {}, {}},
      {"humidity-pct", "relative humidity, percent", 0.0, 100.0, {}, {}},
      {"co2-ppm", "carbon dioxide, parts per million of the molecules", 0.0, 50000.0, "400", {}},
  }};
  bool json = false;
};

Estimate estimate_of(const Input& input) {
  const std::string name = input.name;
  Estimate estimate(number_within("--" + name, input.text, {input.lowest, input.highest}));
  if (input.u_text.empty()) return estimate;
  const double u =
      number_within("--u-" + name, input.u_text, {0.0, 0.1 * (input.highest - input.lowest)});
  if (u > 0.0) estimate.add(name, {.u = u, .dof = std::numeric_limits<double>::infinity()});
  return estimate;
}

// A property of the air with the inputs' uncertainties and that of its own equation.
Estimate property(double (*of)(const physics::Air&), double equation_u_relative,
                  std::span<const Estimate> inputs) {
  Estimate estimate = metrology::propagate(
      [of](std::span<const double> x) {
        return of({.temperature_K = x[0] + 273.15,
                   .pressure_Pa = 100.0 * x[1],
                   .relative_humidity = 0.01 * x[2],
                   .co2_mole_fraction = 1e-6 * x[3]});
      },
      inputs);
  estimate.add("equation", {.u = equation_u_relative * estimate.value(),
                            .dof = std::numeric_limits<double>::infinity()});
  return estimate;
}

struct Property {
  const char* name;
  const char* words;
  const char* unit;
  Estimate estimate;
};

void show(const std::vector<Property>& properties) {
  for (const Property& one : properties) {
    fmt::print("{:<18} {:.7g} {}, standard uncertainty {:.2g}\n", one.words, one.estimate.value(),
               one.unit, one.estimate.u());
  }
}

void run_air(const AirOptions& options) {
  std::vector<Estimate> inputs;
  inputs.reserve(options.inputs.size());
  for (const Input& input : options.inputs)
    inputs.push_back(estimate_of(input));
  const std::vector<Property> properties{
      {"density_kg_m3", "density", "kg m-3",
       property(physics::density_kg_m3, physics::density_equation_u_relative, inputs)},
      {"dynamic_viscosity_Pa_s", "dynamic viscosity", "Pa s",
       property(physics::dynamic_viscosity_Pa_s, physics::viscosity_equation_u_relative, inputs)},
      {"speed_of_sound_m_s", "speed of sound", "m s-1",
       property(physics::speed_of_sound_m_s, physics::speed_of_sound_equation_u_relative, inputs)},
  };
  if (!options.json) return show(properties);
  boost::json::object document;
  for (const Property& one : properties)
    document[one.name] = metrology::quantity(one.estimate, one.unit);
  fmt::print("{}", base::json_text(document));
}

}  // namespace

void add_air(CLI::App& program, int& exit_code) {
  CLI::App* verb = program.add_subcommand(
      "air", "Density, viscosity and speed of sound of moist air, with uncertainty");
  auto options = std::make_shared<AirOptions>();  // shared: lives as long as the callback
  for (Input& input : options->inputs) {
    const std::string name = input.name;
    auto* option = verb->add_option("--" + name, input.text, input.what);
    if (input.text.empty()) {
      option->required();
    } else {
      option->capture_default_str();
    }
    verb->add_option("--u-" + name, input.u_text, "its standard uncertainty, same unit");
  }
  verb->add_flag("--json", options->json, "One JSON document");
  verb->footer(
      "Example:\n  windwright air --temperature-C 21.5 --pressure-hPa 1008.2 --humidity-pct 48 "
      "--u-temperature-C 0.2 --u-pressure-hPa 0.3 --u-humidity-pct 2");
  verb->callback([options, &exit_code] {
    run_air(*options);
    exit_code = done;
  });
}

}  // namespace windwright::cli
