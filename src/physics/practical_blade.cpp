// SPDX-License-Identifier: Apache-2.0
#include "physics/practical_blade.h"

#include "base/errors.h"
#include "physics/blade_design.h"
#include "physics/rotor.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <functional>
#include <numbers>
#include <string>
#include <utility>
#include <vector>

namespace windwright::physics {

namespace {

constexpr double degree = std::numbers::pi / 180.0;
constexpr double golden = 0.6180339887498949;
constexpr double end_distance = 0.01;  // of the blade, inward from its ends

struct Best {
  double at;
  double value;
};

// Golden section; the function has one maximum between the ends.
Best largest(double lower, double upper, int steps, const std::function<double(double)>& value) {
  double left = upper - golden * (upper - lower);
  double right = lower + golden * (upper - lower);
  double at_left = value(left);
  double at_right = value(right);
  for (int i = 0; i < steps; ++i) {
    if (at_left < at_right) {
      lower = left;
      left = right;
      at_left = at_right;
      right = lower + golden * (upper - lower);
      at_right = value(right);
    } else {
      upper = right;
      right = left;
      at_right = at_left;
      left = upper - golden * (upper - lower);
      at_left = value(left);
    }
  }
  return at_left > at_right ? Best{left, at_left} : Best{right, at_right};
}

RotorFlow flow_at(const DesignTask& task, double tip_speed_ratio) {
  return {.air_speed_m_s = task.air_speed_m_s,
          .rotor_speed_rad_s = tip_speed_ratio * task.air_speed_m_s / task.tip_radius_m,
          .density_kg_m3 = task.density_kg_m3,
          .dynamic_viscosity_Pa_s = task.dynamic_viscosity_Pa_s};
}

double cp_at(const Rotor& rotor, const DesignTask& task, double tip_speed_ratio) {
  return rotor_load(rotor, flow_at(task, tip_speed_ratio)).cp;
}

Best best_operation(const Rotor& rotor, const DesignTask& task) {
  constexpr int steps = 26;
  const auto ratio = [&](int i) { return task.tip_speed_ratio * (0.5 + 1.3 * i / steps); };
  int best = 0;
  double most = -1.0;
  for (int i = 0; i <= steps; ++i) {
    const double cp = cp_at(rotor, task, ratio(i));
    if (cp > most) {
      most = cp;
      best = i;
    }
  }
  return largest(ratio(std::max(0, best - 1)), ratio(std::min(steps, best + 1)), 14,
                 [&](double tip_speed_ratio) { return cp_at(rotor, task, tip_speed_ratio); });
}

double inward(const Rotor& rotor, double radius_m) {
  const double end_m = end_distance * (rotor.tip_radius_m - rotor.hub_radius_m);
  return std::clamp(radius_m, rotor.hub_radius_m + end_m, rotor.tip_radius_m - end_m);
}

// Of the station's own chord and angle everywhere, so that a station is judged by itself.
ElementLoad station_load(const Rotor& rotor, const RotorStation& station, const DesignTask& task) {
  Rotor alike = rotor;
  RotorStation first = station;
  RotorStation last = station;
  first.radius_m = rotor.hub_radius_m;
  last.radius_m = rotor.tip_radius_m;
  alike.stations = {first, last};
  return element_load(alike, inward(rotor, station.radius_m), flow_at(task, task.tip_speed_ratio),
                      {.losses = Losses::tip});
}

struct Way {
  bool limit;
  bool linear;
  const OtherSection* section;  // null: the task's own
};

std::string name_of(const Way& way) {
  std::string name;
  const auto add = [&name](const std::string& part) { name += (name.empty() ? "" : "+") + part; };
  if (way.limit) add("chord_limit");
  if (way.linear) add("linear_twist");
  if (way.section != nullptr) add(way.section->name);
  return name.empty() ? "optimum" : name;
}

std::vector<Way> ways_of(const Compromises& compromises) {
  const bool limit = compromises.largest_chord_m.has_value();
  const bool linear = compromises.linear_twist;
  std::vector<Way> ways{{false, false, nullptr}};
  if (limit) ways.push_back({true, false, nullptr});
  if (linear) ways.push_back({false, true, nullptr});
  for (const OtherSection& section : compromises.sections)
    ways.push_back({false, false, &section});
  if (limit && linear) ways.push_back({true, true, nullptr});
  if (limit || linear) {
    for (const OtherSection& section : compromises.sections)
      ways.push_back({limit, linear, &section});
  }
  return ways;
}

PracticalBlade build(const Way& way, DesignTask task, const DesignOptions& options,
                     const Compromises& compromises) {
  if (way.section != nullptr) task.polar = way.section->polar;
  BladeDesign design = design_blade(task, options);
  PracticalBlade blade{.name = name_of(way),
                       .rotor = std::move(design.rotor),
                       .unsettled_stations = design.unsettled_stations,
                       .cp = 0.0,
                       .best_tip_speed_ratio = 0.0,
                       .best_cp = 0.0};
  if (way.limit && compromises.largest_chord_m) {
    limit_chord(blade.rotor, *compromises.largest_chord_m, task);
  }
  if (way.linear) make_twist_linear(blade.rotor, task);
  blade.cp = cp_at(blade.rotor, task, task.tip_speed_ratio);
  const Best best = best_operation(blade.rotor, task);
  blade.best_tip_speed_ratio = best.at;
  blade.best_cp = best.value;
  return blade;
}

}  // namespace

void limit_chord(Rotor& rotor, double largest_chord_m, const DesignTask& task) {
  if (!(largest_chord_m > 0.0)) {
    throw base::BadInput("blade design", fmt::format("the largest chord is {} m", largest_chord_m),
                         "above 0");
  }
  for (RotorStation& station : rotor.stations) {
    if (station.chord_m <= largest_chord_m) continue;
    station.chord_m = largest_chord_m;
    const auto torque = [&](double twist_rad) {
      RotorStation turned = station;
      turned.twist_rad = twist_rad;
      return station_load(rotor, turned, task).tangential_load_N_m1;
    };
    station.twist_rad =
        largest(station.twist_rad - 12.0 * degree, station.twist_rad + 12.0 * degree, 20, torque)
            .at;
  }
}

void make_twist_linear(Rotor& rotor, const DesignTask& task) {
  // Least squares with the radius as weight to start from; the line turns about 80 % of the radius,
  // where most of the power comes from, so that its slope and its height there hardly interact.
  const double pivot_m = 0.8 * rotor.tip_radius_m;
  double weight = 0.0;
  double mean_m = 0.0;
  double mean_rad = 0.0;
  for (const RotorStation& station : rotor.stations) {
    weight += station.radius_m;
    mean_m += station.radius_m * station.radius_m;
    mean_rad += station.radius_m * station.twist_rad;
  }
  mean_m /= weight;
  mean_rad /= weight;
  double above = 0.0;
  double below = 0.0;
  for (const RotorStation& station : rotor.stations) {
    const double off_m = station.radius_m - mean_m;
    above += station.radius_m * off_m * (station.twist_rad - mean_rad);
    below += station.radius_m * off_m * off_m;
  }
  double slope = above / below;  // rad/m
  double height_rad = mean_rad + slope * (pivot_m - mean_m);
  const auto lay = [&](double line_height_rad, double line_slope) {
    for (RotorStation& station : rotor.stations)
      station.twist_rad = line_height_rad + line_slope * (station.radius_m - pivot_m);
  };
  const auto power = [&](double line_height_rad, double line_slope) {
    lay(line_height_rad, line_slope);
    return cp_at(rotor, task, task.tip_speed_ratio);
  };
  const double length_m = rotor.tip_radius_m - rotor.hub_radius_m;
  double reach_rad = 6.0 * degree;
  for (int round = 0; round < 4; ++round) {
    height_rad = largest(height_rad - reach_rad, height_rad + reach_rad, 12, [&](double value) {
                   return power(value, slope);
                 }).at;
    const double reach = 3.0 * reach_rad / length_m;
    slope = largest(slope - reach, slope + reach, 12, [&](double value) {
              return power(height_rad, value);
            }).at;
    reach_rad *= 0.5;
  }
  lay(height_rad, slope);
}

std::vector<PracticalBlade> practical_blades(const DesignTask& task, const DesignOptions& options,
                                             const Compromises& compromises) {
  std::vector<PracticalBlade> blades;
  for (const Way& way : ways_of(compromises))
    blades.push_back(build(way, task, options, compromises));
  return blades;
}

std::vector<DesignStation> stations_at_work(const Rotor& rotor, const DesignTask& task) {
  std::vector<DesignStation> table;
  for (const RotorStation& station : rotor.stations) {
    const ElementLoad load = station_load(rotor, station, task);
    table.push_back(
        {.radius_m = station.radius_m,
         .local_speed_ratio = task.tip_speed_ratio * station.radius_m / task.tip_radius_m,
         .chord_m = station.chord_m,
         .twist_rad = station.twist_rad,
         .inflow_angle_rad = load.inflow_angle_rad,
         .angle_of_attack_rad = load.angle_of_attack_rad,
         .cl = load.cl,
         .cd = load.cd,
         .reynolds = load.reynolds,
         .loss_factor = load.loss_factor,
         .axial_induction = load.axial_induction,
         .tangential_induction = load.tangential_induction,
         .blade_loading =
             rotor.blades * station.chord_m * load.cl * task.tip_speed_ratio / rotor.tip_radius_m,
         .below_reynolds = load.below_reynolds,
         .above_reynolds = load.above_reynolds});
  }
  return table;
}

}  // namespace windwright::physics
