// SPDX-License-Identifier: Apache-2.0
#include "cli/rotor_start_up.h"

#include "base/json.h"
#include "base/text.h"
#include "bench/bench.h"
#include "cli/rotor_text.h"
#include "physics/start_up.h"

#include <boost/json.hpp>
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <limits>
#include <numbers>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::cli {

namespace {

constexpr double degree = std::numbers::pi / 180.0;
constexpr std::string_view interlocked_channel = "rotor_speed_rad_s";

// A value, or a gap where there is none.
using Column = std::pair<const char*, std::optional<double>>;

struct Point {
  double air_speed_m_s;
  physics::StartUp start_up;
  std::optional<double> overspeed_after_s;
};

struct Pitch {
  double pitch_deg;
  physics::CutIn cut_in;
  std::vector<Point> points;
};

struct Answer {
  std::string bench;
  double load_ohm;
  double highest_air_speed_m_s;
  std::optional<double> overspeed_limit_rad_s;
  double tip_radius_m;
  double conducting_rad_s;
  std::vector<Pitch> pitches;
};

std::optional<double> overspeed_limit_rad_s(const bench::Bench& bench) {
  std::optional<double> limit_rad_s;
  for (const bench::Interlock& interlock : bench.interlocks) {
    if (interlock.channel != interlocked_channel || !interlock.with.empty() ||
        std::isinf(interlock.highest))
      continue;
    limit_rad_s = std::min(limit_rad_s.value_or(interlock.highest), interlock.highest);
  }
  return limit_rad_s;
}

std::vector<double> every_m_s(double highest_m_s) {
  std::vector<double> all;
  for (int v = 1; v <= static_cast<int>(highest_m_s); ++v)
    all.push_back(v);
  return all;
}

Point point_at(const physics::TurningSet& set, physics::RotorFlow flow, const Answer& answer) {
  Point point{.air_speed_m_s = flow.air_speed_m_s,
              .start_up = physics::start_up(set, flow, answer.load_ohm),
              .overspeed_after_s = std::nullopt};
  const physics::StartUp& found = point.start_up;
  if (found.running_rad_s && found.runaway_rad_s && answer.overspeed_limit_rad_s &&
      *found.runaway_rad_s > *answer.overspeed_limit_rad_s) {
    flow.rotor_speed_rad_s = *found.running_rad_s;
    point.overspeed_after_s = physics::seconds_to_speed(
        set, flow, std::numeric_limits<double>::infinity(), *answer.overspeed_limit_rad_s);
  }
  return point;
}

Answer answer_of(const RotorStartUp& request) {
  const bench::Bench bench = bench::bench_from_file(request.bench);
  Answer answer{.bench = bench.name,
                .load_ohm = request.load_ohm.value_or(bench.loads.rheostat_highest_ohm),
                .highest_air_speed_m_s = bench.tunnel.rated_air_speed_m_s * bench.position_factor,
                .overspeed_limit_rad_s = overspeed_limit_rad_s(bench),
                .tip_radius_m = request.rotor.tip_radius_m,
                .conducting_rad_s = physics::conducting_speed_rad_s(bench.generator),
                .pitches = {}};
  physics::TurningSet set{
      .rotor = request.rotor,
      .generator = bench.generator,
      .inertia_kg_m2 = bench.hub_inertia_kg_m2 + request.rotor.blades * bench.blade_inertia_kg_m2,
      .section_area_m2 = bench.tunnel.section_area_m2.value_or(0.0)};
  physics::RotorFlow flow{.air_speed_m_s = answer.highest_air_speed_m_s,
                          .rotor_speed_rad_s = 0.0,
                          .density_kg_m3 = request.density_kg_m3,
                          .dynamic_viscosity_Pa_s = request.dynamic_viscosity_Pa_s};
  const std::vector<double> air_speeds_m_s = request.air_speeds_m_s.empty()
                                                 ? every_m_s(answer.highest_air_speed_m_s)
                                                 : request.air_speeds_m_s;
  for (const double pitch_deg : request.pitches_deg) {
    set.rotor.pitch_rad = pitch_deg * degree;
    Pitch pitch{.pitch_deg = pitch_deg, .cut_in = {}, .points = {}};
    flow.air_speed_m_s = answer.highest_air_speed_m_s;
    pitch.cut_in = physics::cut_in(set, flow, answer.load_ohm);
    for (const double air_speed_m_s : air_speeds_m_s) {
      flow.air_speed_m_s = air_speed_m_s;
      pitch.points.push_back(point_at(set, flow, answer));
    }
    answer.pitches.push_back(std::move(pitch));
  }
  return answer;
}

std::vector<Column> columns(const physics::CutIn& cut_in) {
  return {{"keeps_turning_from_m_s", cut_in.keeps_turning_m_s},
          {"keeps_delivering_from_m_s", cut_in.keeps_delivering_m_s},
          {"starts_from_m_s", cut_in.starts_m_s},
          {"delivers_from_rest_from_m_s", cut_in.delivers_from_rest_m_s},
          {"runs_up_from_rest_from_m_s", cut_in.runs_up_from_rest_m_s}};
}

std::vector<Column> columns(const Point& point, const Answer& answer) {
  const physics::StartUp& found = point.start_up;
  std::optional<double> tip_speed_m_s;
  std::optional<double> share;
  if (found.runaway_rad_s) {
    tip_speed_m_s = *found.runaway_rad_s * answer.tip_radius_m;
    if (answer.overspeed_limit_rad_s) share = *found.runaway_rad_s / *answer.overspeed_limit_rad_s;
  }
  return {{"air_speed_m_s", point.air_speed_m_s},
          {"starting_torque_N_m", found.starting_torque_N_m},
          {"holding_torque_N_m", found.holding_torque_N_m},
          {"starts", found.starts ? 1.0 : 0.0},
          {"from_rest_rotor_speed_rad_s", found.from_rest_rad_s},
          {"running_rotor_speed_rad_s", found.running_rad_s},
          {"dc_power_W", found.dc_power_W},
          {"runaway_rotor_speed_rad_s", found.runaway_rad_s},
          {"runaway_tip_speed_m_s", tip_speed_m_s},
          {"runaway_over_limit", share},
          {"overspeed_after_s", point.overspeed_after_s}};
}

std::string csv(const Answer& answer) {
  std::string text;
  const auto line = [&](const std::vector<Column>& all, bool names) {
    for (std::size_t i = 0; i < all.size(); ++i) {
      if (i > 0) text += ',';
      if (names) {
        text += all[i].first;
      } else if (all[i].second) {
        text += base::number_text(*all[i].second);
      }
    }
    text += '\n';
  };
  for (const Pitch& pitch : answer.pitches) {
    for (const Point& point : pitch.points) {
      std::vector<Column> all{{"pitch_deg", pitch.pitch_deg}};
      for (const auto& some : {columns(point, answer), columns(pitch.cut_in)})
        all.insert(all.end(), some.begin(), some.end());
      if (text.empty()) line(all, true);
      line(all, false);
    }
  }
  return text;
}

boost::json::value number_or_null(std::optional<double> value) {
  if (!value || !std::isfinite(*value)) return nullptr;
  return *value;
}

boost::json::object object_of(const std::vector<Column>& all) {
  boost::json::object object;
  for (const auto& [name, value] : all)
    object[name] = number_or_null(value);
  return object;
}

std::string json(const Answer& answer) {
  boost::json::array pitches;
  for (const Pitch& pitch : answer.pitches) {
    boost::json::array points;
    for (const Point& point : pitch.points) {
      boost::json::object row = object_of(columns(point, answer));
      row["starts"] = point.start_up.starts;
      row["no_runaway_found"] = point.start_up.no_runaway_found;
      points.push_back(std::move(row));
    }
    pitches.push_back({{"pitch_deg", pitch.pitch_deg},
                       {"cut_in", object_of(columns(pitch.cut_in))},
                       {"points", std::move(points)}});
  }
  return base::json_text(
      boost::json::object{{"bench", answer.bench},
                          {"load_ohm", number_or_null(answer.load_ohm)},  // null: open circuit
                          {"conducting_rotor_speed_rad_s", answer.conducting_rad_s},
                          {"overspeed_limit_rad_s", number_or_null(answer.overspeed_limit_rad_s)},
                          {"pitches", std::move(pitches)}});
}

std::string from(std::optional<double> air_speed_m_s, double highest_m_s) {
  return air_speed_m_s ? fmt::format("from {:.2f} m/s", *air_speed_m_s)
                       : fmt::format("not up to {:g} m/s", highest_m_s);
}

void note(const Answer& answer) {
  const std::string load = std::isfinite(answer.load_ohm) ? fmt::format("{:g} ohm", answer.load_ohm)
                                                          : std::string("an open circuit");
  bool beyond = false;
  bool unending = false;
  double fastest_rad_s = 0.0;
  for (const Pitch& pitch : answer.pitches) {
    const auto say = [&](std::string_view what, std::optional<double> air_speed_m_s) {
      fmt::print(stderr, "note: pitch {:g} deg, {}: {} {}\n", pitch.pitch_deg, load, what,
                 from(air_speed_m_s, answer.highest_air_speed_m_s));
    };
    say("a standing rotor starts", pitch.cut_in.starts_m_s);
    const bool open = std::isinf(answer.load_ohm);
    if (!open) say("and delivers current", pitch.cut_in.delivers_from_rest_m_s);
    say("and runs up to the running speed", pitch.cut_in.runs_up_from_rest_m_s);
    say("a turning rotor keeps turning", pitch.cut_in.keeps_turning_m_s);
    if (!open) say("and delivers current", pitch.cut_in.keeps_delivering_m_s);
    for (const Point& point : pitch.points) {
      beyond = beyond || (point.start_up.runaway_rad_s && answer.overspeed_limit_rad_s &&
                          *point.start_up.runaway_rad_s > *answer.overspeed_limit_rad_s);
      unending = unending || point.start_up.no_runaway_found;
      fastest_rad_s = std::max(fastest_rad_s, point.start_up.runaway_rad_s.value_or(0.0));
    }
  }
  if (beyond) {
    fmt::print(stderr,
               "caution: without load the rotor runs past the bench's overspeed limit of {:g} "
               "rad/s. Run-away can throw blades: guard closed, nobody in the plane of the rotor, "
               "the hard-wired stop within reach; local codes and a qualified person decide\n",
               *answer.overspeed_limit_rad_s);
  }
  if (!answer.overspeed_limit_rad_s) {
    fmt::print(stderr, "caution: the bench has no interlock on {}; run-away can throw blades\n",
               interlocked_channel);
  }
  const std::string remark = tip_speed_remark(fastest_rad_s * answer.tip_radius_m);
  if (!remark.empty()) fmt::print(stderr, "note: run-away as far as asked for{}\n", remark);
  if (unending) {
    fmt::print(stderr,
               "caution: at some points the rotor still speeds up at tip-speed ratio 25; its "
               "run-away speed is higher than is sought\n");
  }
}

}  // namespace

void print_rotor_start_up(const RotorStartUp& request) {
  const Answer answer = answer_of(request);
  fmt::print("{}", request.json ? json(answer) : csv(answer));
  note(answer);
}

}  // namespace windwright::cli
