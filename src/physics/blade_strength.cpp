// SPDX-License-Identifier: Apache-2.0
#include "physics/blade_strength.h"

#include "base/errors.h"
#include "physics/blade_section.h"
#include "physics/blockage.h"
#include "physics/rotor.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <numbers>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::physics {

namespace {

constexpr double gravity_m_s2 = 9.80665;  // standard acceleration of free fall
constexpr int cells = 48;                 // of the blade's mass and of the air's load
constexpr int cells_per_section = 4;      // stress is looked at in every fourth border
constexpr int points_per_side = 21;
constexpr RotorOptions span_options{.elements = 20};
constexpr int air_speeds = 8;  // steps from still air to the highest
constexpr int speed_steps = 16;
constexpr int halvings = 20;

struct Place {
  double chord_m;
  double twist_rad;
};

Place place_at(const Rotor& rotor, double radius_m) {
  const auto& stations = rotor.stations;
  std::size_t i = 1;
  while (i + 1 < stations.size() && stations[i].radius_m < radius_m)
    ++i;
  const RotorStation& a = stations[i - 1];
  const RotorStation& b = stations[i];
  const double part = std::clamp((radius_m - a.radius_m) / (b.radius_m - a.radius_m), 0.0, 1.0);
  return {a.chord_m + part * (b.chord_m - a.chord_m),
          a.twist_rad + part * (b.twist_rad - a.twist_rad)};
}

// What does not depend on the flow.
struct Frame {
  double radius_m;
  Place place;
  SectionOutline outline;
  double pull_kg_m;  // mass times radius outboard: the pull over the rotor speed squared
  double weight_moment_N_m;
};

struct Prepared {
  std::vector<Frame> sections;
  double mass_kg;
  double inertia_kg_m2;
};

struct Cell {
  double radius_m;  // middle
  double width_m;
};

std::vector<Cell> cells_of(const Rotor& rotor) {
  std::vector<Cell> list;
  list.reserve(cells);
  const double width_m = (rotor.tip_radius_m - rotor.hub_radius_m) / cells;
  for (int i = 0; i < cells; ++i)
    list.push_back({rotor.hub_radius_m + (i + 0.5) * width_m, width_m});
  return list;
}

void require(bool good, std::string_view what, double value, std::string_view right) {
  if (!good) throw base::BadInput("blade", fmt::format("{} is {}", what, value), right);
}

Prepared prepare(const Rotor& rotor, const Blade& blade) {
  require(blade.density_kg_m3 > 0.0, "the material's density in kg/m3", blade.density_kg_m3,
          "above 0");
  require(blade.allowable_stress_Pa > 0.0, "the allowable stress in Pa", blade.allowable_stress_Pa,
          "above 0");
  require(blade.highest_tip_speed_m_s > 0.0, "the highest tip speed in m/s",
          blade.highest_tip_speed_m_s, "above 0");
  require(!blade.root_diameter_m || *blade.root_diameter_m > 0.0, "the root's diameter in m",
          blade.root_diameter_m.value_or(0.0), "above 0");
  const std::vector<Cell> list = cells_of(rotor);
  std::vector<double> mass_kg;
  Prepared prepared{{}, 0.0, 0.0};
  for (const Cell& cell : list) {
    const double chord_m = place_at(rotor, cell.radius_m).chord_m;
    const SectionOutline outline = section_outline(blade.section, chord_m, points_per_side);
    mass_kg.push_back(blade.density_kg_m3 * section_properties(outline, chord_m).area_m2 *
                      cell.width_m);
    prepared.mass_kg += mass_kg.back();
    prepared.inertia_kg_m2 += mass_kg.back() * cell.radius_m * cell.radius_m;
  }
  for (int border = 0; border < cells; border += cells_per_section) {
    const double radius_m =
        rotor.hub_radius_m + border * (rotor.tip_radius_m - rotor.hub_radius_m) / cells;
    const Place place = place_at(rotor, radius_m);
    Frame frame{radius_m, place, section_outline(blade.section, place.chord_m, points_per_side),
                0.0, 0.0};
    for (std::size_t i = static_cast<std::size_t>(border); i < list.size(); ++i) {
      frame.pull_kg_m += mass_kg[i] * list[i].radius_m;
      frame.weight_moment_N_m += mass_kg[i] * gravity_m_s2 * (list[i].radius_m - radius_m);
    }
    prepared.sections.push_back(std::move(frame));
  }
  return prepared;
}

// The air's load, in the rotor's directions, linear between the elements and level beyond them.
struct AirLoad {
  double normal_N_m1;
  double tangential_N_m1;
};

std::vector<AirLoad> air_loads(const Rotor& rotor, const RotorFlow& flow,
                               const std::vector<Cell>& list) {
  const auto elements = rotor_span(rotor, flow, span_options).elements;
  std::vector<AirLoad> loads;
  std::size_t next = 1;
  for (const Cell& cell : list) {
    while (next + 1 < elements.size() && elements[next].radius_m < cell.radius_m)
      ++next;
    const ElementLoad& a = elements[next - 1];
    const ElementLoad& b = elements[next];
    const double part =
        std::clamp((cell.radius_m - a.radius_m) / (b.radius_m - a.radius_m), 0.0, 1.0);
    loads.push_back(
        {a.normal_load_N_m1 + part * (b.normal_load_N_m1 - a.normal_load_N_m1),
         a.tangential_load_N_m1 + part * (b.tangential_load_N_m1 - a.tangential_load_N_m1)});
  }
  return loads;
}

SectionStress stub_stress(double diameter_m, const SectionForces& forces) {
  const double area_m2 = std::numbers::pi / 4.0 * diameter_m * diameter_m;
  const double modulus_m3 = std::numbers::pi / 32.0 * std::pow(diameter_m, 3);
  const double moment_N_m = std::hypot(forces.aft_moment_N_m, forces.suction_moment_N_m);
  const double tension_Pa = forces.tension_N / area_m2;
  const double bending_Pa = moment_N_m / modulus_m3;
  return {tension_Pa, bending_Pa, tension_Pa + bending_Pa};
}

SectionLoad section_load(const Frame& frame, const SectionForces& air, double rotor_speed_rad_s) {
  return {.radius_m = frame.radius_m,
          .centrifugal_force_N = frame.pull_kg_m * rotor_speed_rad_s * rotor_speed_rad_s,
          .flapwise_moment_N_m = air.suction_moment_N_m,
          .edgewise_moment_N_m = -air.aft_moment_N_m,
          .weight_moment_N_m = frame.weight_moment_N_m,
          .centrifugal_stress_Pa = 0.0,
          .bending_stress_Pa = 0.0,
          .stress_Pa = 0.0};
}

void put_stress(SectionLoad& load, const SectionStress& stress) {
  if (stress.largest_Pa <= load.stress_Pa) return;
  load.centrifugal_stress_Pa = stress.tension_Pa;
  load.bending_stress_Pa = stress.bending_Pa;
  load.stress_Pa = stress.largest_Pa;
}

// Leading edge along (cos, -sin) of the blade angle in (turning, downwind); suction side along
// (sin, cos).
SectionLoad loaded(const Frame& frame, const std::vector<Cell>& list,
                   const std::vector<AirLoad>& air, double pitch_rad, double rotor_speed_rad_s) {
  double turning_N_m = 0.0;
  double downwind_N_m = 0.0;
  for (std::size_t i = 0; i < list.size(); ++i) {
    if (list[i].radius_m < frame.radius_m) continue;
    const double arm_m = list[i].radius_m - frame.radius_m;
    turning_N_m += air[i].tangential_N_m1 * list[i].width_m * arm_m;
    downwind_N_m += air[i].normal_N_m1 * list[i].width_m * arm_m;
  }
  const double angle = frame.place.twist_rad + pitch_rad;
  SectionForces forces{
      .tension_N = frame.pull_kg_m * rotor_speed_rad_s * rotor_speed_rad_s,
      .aft_moment_N_m = -turning_N_m * std::cos(angle) + downwind_N_m * std::sin(angle),
      .suction_moment_N_m = turning_N_m * std::sin(angle) + downwind_N_m * std::cos(angle)};
  SectionLoad load = section_load(frame, forces, rotor_speed_rad_s);
  // The weight works both ways in one turn.
  const double aft_N_m = forces.aft_moment_N_m;
  for (const double sign : {1.0, -1.0}) {
    forces.aft_moment_N_m = aft_N_m + sign * frame.weight_moment_N_m;
    put_stress(load, section_stress(frame.outline, frame.place.chord_m, forces));
  }
  return load;
}

SectionLoad stub_load(const Frame& root, SectionLoad load, double diameter_m) {
  const SectionForces forces{
      .tension_N = load.centrifugal_force_N,
      .aft_moment_N_m = std::abs(load.edgewise_moment_N_m) + root.weight_moment_N_m,
      .suction_moment_N_m = load.flapwise_moment_N_m};
  load.stress_Pa = 0.0;
  put_stress(load, stub_stress(diameter_m, forces));
  return load;
}

BladeLoads loads_of(const Rotor& rotor, const Blade& blade, const Prepared& prepared,
                    const RotorFlow& flow) {
  const std::vector<Cell> list = cells_of(rotor);
  const std::vector<AirLoad> air = air_loads(rotor, flow, list);
  BladeLoads loads{.tip_speed_m_s = std::abs(flow.rotor_speed_rad_s) * rotor.tip_radius_m,
                   .blade_mass_kg = prepared.mass_kg,
                   .blade_inertia_kg_m2 = prepared.inertia_kg_m2,
                   .root = {},
                   .worst = {},
                   .sections = {}};
  for (const Frame& frame : prepared.sections)
    loads.sections.push_back(loaded(frame, list, air, rotor.pitch_rad, flow.rotor_speed_rad_s));
  loads.root = loads.sections.front();
  if (blade.root_diameter_m) {
    const SectionLoad stub =
        stub_load(prepared.sections.front(), loads.root, *blade.root_diameter_m);
    if (stub.stress_Pa > loads.root.stress_Pa) loads.root = stub;
  }
  loads.worst = loads.root;
  for (const SectionLoad& load : loads.sections)
    if (load.stress_Pa > loads.worst.stress_Pa) loads.worst = load;
  return loads;
}

// The worst of the envelope at one rotor speed.
SafeSpeed worst_case(Rotor rotor, const Blade& blade, const Prepared& prepared,
                     const LoadEnvelope& envelope, double rotor_speed_rad_s) {
  SafeSpeed worst{rotor_speed_rad_s, SpeedBound::stress, 0.0, envelope.pitches_rad.front(), {}};
  for (const double pitch_rad : envelope.pitches_rad) {
    rotor.pitch_rad = pitch_rad;
    for (int i = 0; i <= air_speeds; ++i) {
      const double air_speed_m_s = envelope.highest_air_speed_m_s * i / air_speeds;
      const RotorFlow flow = flow_at_blades(rotor, envelope, air_speed_m_s, rotor_speed_rad_s);
      const BladeLoads loads = loads_of(rotor, blade, prepared, flow);
      if (loads.worst.stress_Pa > worst.worst.stress_Pa) {
        worst.air_speed_m_s = air_speed_m_s;
        worst.pitch_rad = pitch_rad;
        worst.worst = loads.worst;
      }
    }
  }
  return worst;
}

// At this speed the pull alone reaches the allowable stress somewhere.
double pull_limit_rad_s(const Blade& blade, const Prepared& prepared) {
  double lowest = std::numeric_limits<double>::infinity();
  for (const Frame& frame : prepared.sections) {
    const double area_m2 = section_properties(frame.outline, frame.place.chord_m).area_m2;
    lowest = std::min(lowest, std::sqrt(blade.allowable_stress_Pa * area_m2 / frame.pull_kg_m));
  }
  return lowest;
}

}  // namespace

RotorFlow flow_at_blades(const Rotor& rotor, const LoadEnvelope& envelope, double air_speed_m_s,
                         double rotor_speed_rad_s) {
  RotorFlow flow{.air_speed_m_s = air_speed_m_s,
                 .rotor_speed_rad_s = rotor_speed_rad_s,
                 .density_kg_m3 = envelope.density_kg_m3,
                 .dynamic_viscosity_Pa_s = envelope.dynamic_viscosity_Pa_s};
  if (envelope.section_area_m2 && air_speed_m_s > 0.0) {
    flow.air_speed_m_s = rotor_in_tunnel(rotor, flow, *envelope.section_area_m2).free_air_speed_m_s;
  }
  return flow;
}

BladeLoads blade_loads(const Rotor& rotor, const Blade& blade, const RotorFlow& flow) {
  return loads_of(rotor, blade, prepare(rotor, blade), flow);
}

SafeSpeed safe_rotor_speed(const Rotor& rotor, const Blade& blade, const LoadEnvelope& envelope) {
  require(envelope.highest_air_speed_m_s >= 0.0, "the highest air speed in m/s",
          envelope.highest_air_speed_m_s, "not negative");
  if (envelope.pitches_rad.empty()) {
    throw base::BadInput("blade", "no pitch is given", "at least one");
  }
  const Prepared prepared = prepare(rotor, blade);
  Rotor fewest = rotor;
  fewest.blades = envelope.blades;
  const auto at = [&](double rotor_speed_rad_s) {
    return worst_case(fewest, blade, prepared, envelope, rotor_speed_rad_s);
  };
  const double pull_limit = pull_limit_rad_s(blade, prepared);
  const double tip_limit = blade.highest_tip_speed_m_s / rotor.tip_radius_m;
  const double top = std::min(pull_limit, tip_limit);
  const auto holds = [&](const SafeSpeed& one) {
    return one.worst.stress_Pa <= blade.allowable_stress_Pa;
  };
  SafeSpeed good = at(0.0);
  if (!holds(good)) return good;
  double beyond = 0.0;
  for (int step = 1; step <= speed_steps && beyond == 0.0; ++step) {
    const SafeSpeed here = at(top * step / speed_steps);
    if (holds(here)) {
      good = here;
    } else {
      beyond = here.rotor_speed_rad_s;
    }
  }
  if (beyond == 0.0) {
    good.bound = tip_limit <= pull_limit ? SpeedBound::tip_speed : SpeedBound::stress;
    return good;
  }
  for (int i = 0; i < halvings; ++i) {
    const SafeSpeed here = at(0.5 * (good.rotor_speed_rad_s + beyond));
    if (holds(here)) {
      good = here;
    } else {
      beyond = here.rotor_speed_rad_s;
    }
  }
  return good;
}

}  // namespace windwright::physics
