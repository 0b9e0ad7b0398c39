// SPDX-License-Identifier: Apache-2.0
#include "analysis/wall_correction.h"

#include "analysis/remarks.h"
#include "analysis/results.h"
#include "base/errors.h"
#include "metrology/estimate.h"
#include "physics/blockage.h"
#include "physics/rotor.h"

#include <fmt/format.h>

#include <array>
#include <cmath>
#include <limits>
#include <numbers>
#include <optional>
#include <set>
#include <span>
#include <string>
#include <vector>

namespace windwright::analysis {

namespace {

using metrology::Estimate;

constexpr double infinity = std::numeric_limits<double>::infinity();
constexpr double betz = 16.0 / 27.0;

// On the tunnel's speed.
Estimate theory_ct(const ReductionInput& input, const Section& section, const PointResult& point) {
  physics::Rotor rotor = input.rotor;
  rotor.blades = point.blade_count;
  rotor.pitch_rad = point.pitch_deg * std::numbers::pi / 180.0;
  const physics::RotorFlow flow{.air_speed_m_s = point.air_speed_m_s.value(),
                                .rotor_speed_rad_s = point.rotor_speed_rad_s.value(),
                                .density_kg_m3 = point.air_density_kg_m3.value(),
                                .dynamic_viscosity_Pa_s = point.dynamic_viscosity_Pa_s};
  Estimate ct(physics::rotor_load_in_tunnel(rotor, flow, section.section_area_m2).ct);
  ct.add("tunnel:theory-thrust", {.u = u_theory_thrust_relative * ct.value(), .dof = infinity});
  return ct;
}

// What is not stated stays so: the correction's own part would pass for the whole.
Estimate divided(const Estimate& raw, const Estimate& ratio, double exponent) {
  Estimate result = raw / metrology::power(ratio, exponent);
  return raw.contributions().empty() ? Estimate(result.value()) : result;
}

CorrectedPoint corrected(const Section& section, const PointResult& point, const Estimate& ct) {
  const physics::ConfinedDisc disc = physics::confined_disc(section.blockage, ct.value());
  const std::array<Estimate, 1> thrust{ct};
  Estimate ratio = metrology::propagate(
      [&](std::span<const double> x) {
        return physics::confined_disc(section.blockage, x[0]).free_speed_ratio;
      },
      thrust);
  const bool beyond = disc.held || disc.free_induction > 0.4;
  ratio.add(
      "tunnel:wall-correction",
      {.u = (beyond ? u_correction_part_beyond : u_correction_part) * std::abs(ratio.value() - 1.0),
       .dof = infinity});
  CorrectedPoint result{.speed_ratio = ratio,
                        .free_air_speed_m_s = divided(point.air_speed_m_s, ratio, -1.0),
                        .tip_speed_ratio = divided(point.tip_speed_ratio, ratio, 1.0),
                        .cp_electrical = std::nullopt,
                        .cp_shaft = std::nullopt,
                        .ct = std::nullopt,
                        .ct_of_correction = ct,
                        .thrust_basis = point.ct ? "measured" : "theory",
                        .held = disc.held};
  if (point.cp_electrical) result.cp_electrical = divided(*point.cp_electrical, ratio, 3.0);
  if (point.cp_shaft) result.cp_shaft = divided(*point.cp_shaft, ratio, 3.0);
  if (point.ct) result.ct = divided(*point.ct, ratio, 2.0);
  return result;
}

std::string points_text(const std::set<int>& points) {
  return fmt::format("{} {}", points.size() == 1 ? "point" : "points", fmt::join(points, ", "));
}

// The largest power coefficient that a point shows, with what speaks for it.
const Estimate* largest_cp_of(const PointResult& point) {
  if (point.cp_shaft) return &*point.cp_shaft;
  return point.cp_electrical ? &*point.cp_electrical : nullptr;
}

constexpr const char* what_to_check =
    "Check the air speed first (its error counts three times in cp): its sensor, and its place "
    "against the disc; then the zero and gain of torque or of voltage and current, and the tip "
    "radius";

}  // namespace

std::optional<Section> section_of(const ReductionInput& input) {
  std::optional<double> area_m2 = input.section_area_m2;
  if (!area_m2 && input.bench != nullptr) area_m2 = input.bench->tunnel.section_area_m2;
  if (!area_m2) return std::nullopt;
  const double rotor_m2 = physics::swept_area_m2(input.rotor);
  if (!(*area_m2 > rotor_m2)) {
    throw base::BadInput("tunnel area",
                         fmt::format("{} m2 do not hold the rotor's {:.4g} m2", *area_m2, rotor_m2),
                         "the clear cross-section of the tunnel at the rotor");
  }
  const double blockage = rotor_m2 / *area_m2;
  return Section{.section_area_m2 = *area_m2,
                 .blockage = blockage,
                 .largest_cp = physics::largest_cp(blockage)};
}

void correct_for_walls(const ReductionInput& input, const Section& section,
                       std::vector<PointResult>& points, Remarks& remarks) {
  std::set<int> by_theory;
  std::set<int> held;
  for (PointResult& point : points) {
    const Estimate ct = point.ct ? *point.ct : theory_ct(input, section, point);
    point.corrected = corrected(section, point, ct);
    if (!point.ct) by_theory.insert(point.number);
    if (point.corrected->held) held.insert(point.number);
  }
  const bool all = by_theory.size() == points.size();
  remarks.sentences.insert(fmt::format(
      "Closed section of {:.4g} m2, blockage {:.1f} %: results stand both on the tunnel's own air "
      "speed and corrected to open air by momentum theory in a confined stream.",
      section.section_area_m2, 100.0 * section.blockage));
  if (!by_theory.empty()) {
    remarks.sentences.insert(fmt::format(
        "The wall correction takes its thrust from theory, since none was measured: {}.",
        all ? "all points" : points_text(by_theory)));
  }
  if (!held.empty()) {
    remarks.sentences.insert(fmt::format(
        "Beyond the reach of the wall correction's theory (wake slower than a fifth of the flow "
        "around it, or a rotor that drives the air), corrected by the most that it supports: {}.",
        points_text(held)));
  }
}

std::vector<PointResult> open_air_points(std::vector<PointResult> points) {
  for (PointResult& point : points) {
    const CorrectedPoint& corrected = *point.corrected;
    point.wind_power_W = point.wind_power_W * metrology::power(corrected.speed_ratio, 3.0);
    point.air_speed_m_s = corrected.free_air_speed_m_s;
    point.tip_speed_ratio = corrected.tip_speed_ratio;
    point.cp_electrical = corrected.cp_electrical;
    point.cp_shaft = corrected.cp_shaft;
    point.ct = corrected.ct;
    point.stages.clear();
  }
  return points;
}

void remark_on_limits(const ReductionInput& input, const std::optional<Section>& section,
                      const std::vector<PointResult>& points, Remarks& remarks) {
  if (!section) {
    remarks.sentences.insert(
        input.bench != nullptr
            ? "Open jet: no wall correction."
            : "No closed section stated, so taken as an open jet or open air: no wall correction.");
  }
  const double limit = section ? section->largest_cp : betz;
  std::set<int> explained;
  std::set<int> within;
  std::set<int> wrong;
  for (const PointResult& point : points) {
    const Estimate* cp = largest_cp_of(point);
    if (cp == nullptr || !(cp->value() > betz)) continue;
    if (cp->value() <= limit) {
      explained.insert(point.number);
    } else if (!cp->contributions().empty() && cp->value() - cp->expanded() <= limit) {
      within.insert(point.number);
    } else {
      wrong.insert(point.number);
    }
  }
  const std::string most =
      section ? fmt::format(
                    "{:.3f}, the most that a stream confined to a blockage of {:.1f} % can "
                    "yield (16/27 over the square of the open part)",
                    limit, 100.0 * section->blockage)
              : "16/27 = 0.593, the most that an open stream can yield";
  if (!explained.empty()) {
    remarks.sentences.insert(fmt::format(
        "cp above 16/27 = 0.593 on the tunnel's air speed is no mistake here: the walls keep the "
        "air from going around the rotor, and theory allows up to {:.3f} at this blockage. What "
        "the rotor would do in open air is the corrected value: {}.",
        limit, points_text(explained)));
  }
  if (!within.empty()) {
    remarks.sentences.insert(
        fmt::format("cp above {}, by less than its uncertainty: {}.", most, points_text(within)));
  }
  if (!wrong.empty()) {
    remarks.sentences.insert(fmt::format(
        "cp above {}: something is wrong. {}{}: {}.", most, what_to_check,
        section ? ", and the area of the section" : "; if the section is closed, state its area",
        points_text(wrong)));
  }
}

}  // namespace windwright::analysis
