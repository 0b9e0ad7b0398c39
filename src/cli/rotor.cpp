// SPDX-License-Identifier: Apache-2.0
#include "physics/rotor.h"

#include "base/errors.h"
#include "base/json.h"
#include "base/text.h"
#include "bench/rotor_file.h"
#include "cli/rotor_start_up.h"
#include "cli/verbs.h"
#include "physics/air.h"

#include <CLI/CLI.hpp>
#include <boost/json.hpp>
#include <fmt/format.h>

#include <cmath>
#include <cstddef>
#include <cstdio>
#include <limits>
#include <memory>
#include <numbers>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::cli {

namespace {

constexpr double degree = std::numbers::pi / 180.0;
constexpr double rad_s_from_rpm = std::numbers::pi / 30.0;
constexpr double most_points = 100000.0;

// As texts, so that what is wrong with one is said in our own words; empty: not given.
struct RotorVerbOptions {
  std::string file;
  std::string air_speed;
  std::string tsr;
  std::string pitch;
  std::string blades;
  std::string rotor_speed_rpm;
  std::string air_speeds;
  std::string density;
  std::string viscosity;
  std::string losses = "both";
  std::string start_up;
  std::string load_ohm;
  bool spanwise = false;
  bool json = false;
};

struct Limits {
  double lowest;
  double highest;
};

double number_within(std::string_view option, std::string_view text, Limits limits) {
  const auto value = base::number_from_text(text);
  if (!value || *value < limits.lowest || *value > limits.highest) {
    throw base::BadInput(option, fmt::format("is '{}'", text),
                         fmt::format("a number from {} to {}", limits.lowest, limits.highest));
  }
  return *value;
}

// `A:STEP:B` from A to B, both ends included where the step meets B; or one number.
std::vector<double> sweep(std::string_view option, const std::string& text, Limits limits) {
  const auto parts = base::split(text, ':');
  if (parts.size() == 1) return {number_within(option, text, limits)};
  const auto complain = [&](std::string_view right) {
    throw base::BadInput(option, fmt::format("is '{}'", text), right);
  };
  if (parts.size() != 3) complain("A:STEP:B, for example 1:0.5:8, or one number");
  const double first = number_within(option, parts[0], limits);
  const double last = number_within(option, parts[2], limits);
  const double step = base::number_from_text(parts[1]).value_or(0.0);
  if (step == 0.0) complain("A:STEP:B with a step that is a number and not 0");
  const double steps = (last - first) / step;
  if (steps < 0.0) complain("a step that leads from A to B");
  if (steps > most_points) complain(fmt::format("at most {} steps", most_points));
  std::vector<double> values;
  for (int i = 0; i <= static_cast<int>(steps + 1e-9); ++i) {
    // 1 + 3 * 0.1 is to show as 1.3.
    values.push_back(std::round((first + i * step) * 1e12) / 1e12);
  }
  return values;
}

struct Point {
  double pitch_deg;
  physics::RotorFlow flow;
  physics::RotorSpan span;
};

struct AirAndSpeed {
  double air_speed_m_s;
  double rotor_speed_rad_s;
  std::optional<double> tip_speed_ratio;  // as asked for
};

std::vector<AirAndSpeed> speeds(const RotorVerbOptions& options, double tip_radius_m) {
  constexpr Limits air_m_s{0.0, 200.0};
  std::vector<AirAndSpeed> list;
  if (!options.tsr.empty()) {
    if (!options.air_speeds.empty() || !options.rotor_speed_rpm.empty()) {
      throw base::BadInput("--tsr", "is given together with a sweep of the air speed",
                           "--air-speed V --tsr A:STEP:B, or --rotor-speed-rpm N --air-speeds "
                           "A:STEP:B");
    }
    if (options.air_speed.empty()) {
      throw base::BadInput("--air-speed", "is missing", "the air speed in m/s, with --tsr");
    }
    const double V = number_within("--air-speed", options.air_speed, {0.01, air_m_s.highest});
    for (const double ratio : sweep("--tsr", options.tsr, {0.0, 100.0}))
      list.push_back({V, ratio * V / tip_radius_m, ratio});
    return list;
  }
  if (options.rotor_speed_rpm.empty() || options.air_speeds.empty()) {
    throw base::BadInput("--tsr", "is missing",
                         "--air-speed V --tsr A:STEP:B, or --rotor-speed-rpm N --air-speeds "
                         "A:STEP:B");
  }
  if (!options.air_speed.empty()) {
    throw base::BadInput("--air-speed", "is given together with --air-speeds", "one of them");
  }
  const double speed_rad_s =
      number_within("--rotor-speed-rpm", options.rotor_speed_rpm, {0.0, 1e5}) * rad_s_from_rpm;
  for (const double V : sweep("--air-speeds", options.air_speeds, air_m_s))
    list.push_back({V, speed_rad_s, std::nullopt});
  return list;
}

physics::RotorOptions rotor_options(const RotorVerbOptions& options) {
  constexpr std::pair<std::string_view, physics::Losses> known[]{{"none", physics::Losses::none},
                                                                 {"tip", physics::Losses::tip},
                                                                 {"root", physics::Losses::root},
                                                                 {"both", physics::Losses::both}};
  for (const auto& [name, losses] : known) {
    if (options.losses == name) return {.losses = losses};
  }
  throw base::BadInput("--losses", fmt::format("is '{}'", options.losses),
                       "none, tip, root or both");
}

physics::Rotor with_blades(const RotorVerbOptions& options, physics::Rotor rotor) {
  if (options.blades.empty()) return rotor;
  const double blades = number_within("--blades", options.blades, {1.0, 12.0});
  if (blades != std::floor(blades)) {
    throw base::BadInput("--blades", fmt::format("is '{}'", options.blades),
                         "a whole number from 1 to 12");
  }
  rotor.blades = static_cast<int>(blades);
  return rotor;
}

double density_kg_m3(const RotorVerbOptions& options) {
  if (options.density.empty()) return physics::standard_density_kg_m3;
  return number_within("--density", options.density, {0.01, 20.0});
}

double viscosity_Pa_s(const RotorVerbOptions& options) {
  if (!options.viscosity.empty())
    return number_within("--viscosity", options.viscosity, {1e-6, 1e-3});
  return physics::dynamic_viscosity_Pa_s({.temperature_K = physics::standard_temperature_K,
                                          .pressure_Pa = physics::standard_pressure_Pa,
                                          .relative_humidity = 0.0});
}

std::vector<double> pitches_deg(const RotorVerbOptions& options, const physics::Rotor& rotor) {
  if (!options.pitch.empty()) return sweep("--pitch", options.pitch, {-180.0, 180.0});
  return {std::round(rotor.pitch_rad / degree * 1e9) / 1e9};
}

RotorStartUp start_up_request(const RotorVerbOptions& options, const physics::Rotor& file) {
  for (const auto& [option, text] :
       {std::pair("--tsr", &options.tsr), std::pair("--air-speed", &options.air_speed),
        std::pair("--rotor-speed-rpm", &options.rotor_speed_rpm)}) {
    if (!text->empty()) {
      throw base::BadInput(option, "is given together with --start-up",
                           "--start-up BENCH [--air-speeds A:STEP:B] [--load-ohm R]");
    }
  }
  RotorStartUp request{.rotor = with_blades(options, file),
                       .bench = options.start_up,
                       .pitches_deg = pitches_deg(options, file),
                       .air_speeds_m_s = {},
                       .load_ohm = std::nullopt,
                       .density_kg_m3 = density_kg_m3(options),
                       .dynamic_viscosity_Pa_s = viscosity_Pa_s(options),
                       .json = options.json};
  if (!options.air_speeds.empty()) {
    request.air_speeds_m_s = sweep("--air-speeds", options.air_speeds, {0.1, 200.0});
  }
  if (options.load_ohm == "open") {
    request.load_ohm = std::numeric_limits<double>::infinity();
  } else if (!options.load_ohm.empty()) {
    request.load_ohm = number_within("--load-ohm", options.load_ohm, {1e-3, 1e9});
  }
  return request;
}

std::vector<Point> points(const RotorVerbOptions& options, const physics::Rotor& file) {
  physics::Rotor rotor = with_blades(options, file);
  const std::vector<double> pitches = pitches_deg(options, rotor);
  const auto method = rotor_options(options);
  const auto list = speeds(options, rotor.tip_radius_m);
  if (static_cast<double>(list.size()) * static_cast<double>(pitches.size()) > most_points) {
    throw base::BadInput("--pitch", "makes too many points together with the other sweep",
                         fmt::format("at most {} points", most_points));
  }
  std::vector<Point> all;
  for (const double pitch_deg : pitches) {
    rotor.pitch_rad = pitch_deg * degree;
    for (const AirAndSpeed& one : list) {
      const physics::RotorFlow flow{.air_speed_m_s = one.air_speed_m_s,
                                    .rotor_speed_rad_s = one.rotor_speed_rad_s,
                                    .density_kg_m3 = density_kg_m3(options),
                                    .dynamic_viscosity_Pa_s = viscosity_Pa_s(options)};
      Point point{pitch_deg, flow, {}};
      if (options.spanwise) {
        point.span = physics::rotor_span(rotor, flow, method);
      } else {
        point.span.total = physics::rotor_load(rotor, flow, method);
      }
      // Not the ratio worked out again, which would show as 7.000000000000001.
      if (one.tip_speed_ratio) point.span.total.tip_speed_ratio = *one.tip_speed_ratio;
      all.push_back(std::move(point));
    }
  }
  return all;
}

using Column = std::pair<const char*, double>;

std::vector<Column> condition(const Point& point) {
  return {{"tip_speed_ratio", point.span.total.tip_speed_ratio},
          {"pitch_deg", point.pitch_deg},
          {"air_speed_m_s", point.flow.air_speed_m_s},
          {"rotor_speed_rad_s", point.flow.rotor_speed_rad_s}};
}

std::vector<Column> result(const Point& point) {
  const physics::RotorLoad& load = point.span.total;
  return {{"power_W", load.power_W},
          {"torque_N_m", load.torque_N_m},
          {"thrust_N", load.thrust_N},
          {"cp", load.cp},
          {"cq", load.cq},
          {"ct", load.ct}};
}

std::vector<Column> result(const physics::ElementLoad& element) {
  return {{"radius_m", element.radius_m},
          {"inflow_angle_deg", element.inflow_angle_rad / degree},
          {"angle_of_attack_deg", element.angle_of_attack_rad / degree},
          {"axial_induction", element.axial_induction},
          {"tangential_induction", element.tangential_induction},
          {"loss_factor", element.loss_factor},
          {"relative_speed_m_s", element.relative_speed_m_s},
          {"reynolds", element.reynolds},
          {"cl", element.cl},
          {"cd", element.cd},
          {"normal_load_N_m1", element.normal_load_N_m1},
          {"tangential_load_N_m1", element.tangential_load_N_m1}};
}

std::string csv_line(const std::vector<Column>& front, const std::vector<Column>& back,
                     bool header) {
  std::string line;
  for (const auto* columns : {&front, &back}) {
    for (const auto& [name, value] : *columns) {
      if (!line.empty()) line += ',';
      line += header ? std::string(name) : base::number_text(value);
    }
  }
  return line + '\n';
}

std::string csv(const std::vector<Point>& all) {
  std::string text;
  for (const Point& point : all) {
    const auto front = condition(point);
    if (point.span.elements.empty()) {
      if (text.empty()) text = csv_line(front, result(point), true);
      text += csv_line(front, result(point), false);
    }
    for (const physics::ElementLoad& element : point.span.elements) {
      if (text.empty()) text = csv_line(front, result(element), true);
      text += csv_line(front, result(element), false);
    }
  }
  return text;
}

void put(boost::json::object& object, const std::vector<Column>& columns) {
  for (const auto& [name, value] : columns)
    object[name] = value;
}

std::string json(const std::vector<Point>& all) {
  boost::json::array rows;
  for (const Point& point : all) {
    boost::json::object row;
    put(row, condition(point));
    put(row, result(point));
    row["span_below_reynolds"] = point.span.total.span_below_reynolds;
    row["span_above_reynolds"] = point.span.total.span_above_reynolds;
    row["unconverged_elements"] = point.span.total.unconverged_elements;
    if (!point.span.elements.empty()) {
      boost::json::array elements;
      for (const physics::ElementLoad& element : point.span.elements) {
        boost::json::object entry;
        put(entry, result(element));
        elements.push_back(std::move(entry));
      }
      row["elements"] = std::move(elements);
    }
    rows.push_back(std::move(row));
  }
  return base::json_text(boost::json::object{{"points", std::move(rows)}});
}

// What a reader of the numbers must know, on stderr.
void note(const std::vector<Point>& all) {
  std::size_t below = 0;
  std::size_t above = 0;
  std::size_t unconverged = 0;
  for (const Point& point : all) {
    below += point.span.total.span_below_reynolds > 0.0 ? 1U : 0U;
    above += point.span.total.span_above_reynolds > 0.0 ? 1U : 0U;
    unconverged += point.span.total.unconverged_elements > 0 ? 1U : 0U;
  }
  const auto say = [&](std::size_t count, std::string_view what) {
    if (count > 0) fmt::print(stderr, "note: at {} of {} points {}\n", count, all.size(), what);
  };
  say(below,
      "part of the blade works below its polar's lowest Reynolds number; that table was held");
  say(above,
      "part of the blade works above its polar's highest Reynolds number; that table was held");
  say(unconverged, "some blade elements found no balance; they carry the loads without induction");
}

void run_rotor(const RotorVerbOptions& options) {
  if (!options.start_up.empty()) {
    print_rotor_start_up(start_up_request(options, bench::rotor_from_file(options.file)));
    return;
  }
  if (!options.load_ohm.empty()) {
    throw base::BadInput("--load-ohm", "is given without a bench", "with --start-up BENCH");
  }
  const auto all = points(options, bench::rotor_from_file(options.file));
  fmt::print("{}", options.json ? json(all) : csv(all));
  note(all);
}

}  // namespace

void add_rotor(CLI::App& program, int& exit_code) {
  CLI::App* verb =
      program.add_subcommand("rotor", "Power, torque and thrust a rotor gives, as CSV");
  auto options = std::make_shared<RotorVerbOptions>();  // shared: lives as long as the callback
  verb->add_option("FILE", options->file, "rotor.toml")->required();
  verb->add_option("--air-speed", options->air_speed, "Air speed in m/s, with --tsr");
  verb->add_option("--tsr", options->tsr, "Tip-speed ratios, A:STEP:B or one");
  verb->add_option("--rotor-speed-rpm", options->rotor_speed_rpm, "Fixed rotor speed in rpm");
  verb->add_option("--air-speeds", options->air_speeds,
                   "Air speeds in m/s, A:STEP:B or one, at that rotor speed");
  verb->add_option("--pitch", options->pitch, "Pitch in degrees, A:STEP:B or one; else the file's");
  verb->add_option("--blades", options->blades, "Blade count, 1 to 12; else the file's");
  verb->add_option("--density", options->density, "Air density in kg/m3; else 1.225");
  verb->add_option("--viscosity", options->viscosity,
                   "Dynamic viscosity in Pa s; else that of air at 15 degC");
  verb->add_option("--losses", options->losses, "Loss factor: none, tip, root or both")
      ->capture_default_str();
  verb->add_option("--start-up", options->start_up,
                   "Bench: starting torque, cut-in, running and run-away speed on its shaft");
  verb->add_option(
      "--load-ohm", options->load_ohm,
      "With --start-up: resistance at the DC terminals, or 'open'; else the rheostat's "
      "highest");
  verb->add_flag("--spanwise", options->spanwise, "One row a blade element instead of a point");
  verb->add_flag("--json", options->json, "One JSON document");
  verb->footer(
      "Example:\n  windwright rotor examples/saltmarsh-college/rotor.toml --air-speed 8 --tsr "
      "1:0.5:8 --pitch 5 --blades 3\n  windwright rotor examples/saltmarsh-college/rotor.toml "
      "--start-up examples/saltmarsh-college/bench.toml --load-ohm 15 --air-speeds 2:1:14");
  verb->callback([options, &exit_code] {
    run_rotor(*options);
    exit_code = done;
  });
}

}  // namespace windwright::cli
