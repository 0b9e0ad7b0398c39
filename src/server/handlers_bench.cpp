// SPDX-License-Identifier: Apache-2.0
// What a bench is, what goes on there, and what theory says of its rotor.
#include "analysis/foresight.h"
#include "analysis/turning_lines.h"
#include "base/text.h"
#include "physics/air.h"
#include "physics/rotor.h"
#include "server/body.h"
#include "server/call.h"
#include "server/foreseen.h"
#include "signal/spectrum.h"
#include "station/live_tail.h"

#include <boost/json.hpp>
#include <fmt/format.h>

#include <algorithm>
#include <bit>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <map>
#include <numbers>
#include <span>
#include <string>
#include <variant>
#include <vector>

namespace windwright::server {

namespace json = boost::json;

namespace {

json::object with_mine(json::object state, const Call& call) {
  state["lease"].as_object()["mine"] = call.desk->lease.is_holder(call.session->id);
  state["lease"].as_object()["place"] = guard::name(place_of(call.serving, call.request.peer));
  return state;
}

[[noreturn]] void refuse(std::string_view parameter, double value, std::string_view right) {
  station::Refusal refusal(422, fmt::format("{} is {:g}", parameter, value), right);
  refusal.where = std::string(parameter);
  throw refusal;
}

const bench::Actuator& find_actuator(const bench::Bench& bench, const std::string* asked) {
  for (const bench::Actuator& actuator : bench.actuators) {
    if (asked != nullptr && actuator.name == *asked) return actuator;
  }
  station::Refusal refusal(422, fmt::format("there is no actuator '{}'", asked ? *asked : ""),
                           "an actuator of the bench");
  refusal.where = "actuator";
  throw refusal;
}

json::array rows(const std::vector<physics::RotorLoad>& loads, std::size_t width,
                 double physics::RotorLoad::* what) {
  json::array all;
  for (std::size_t first = 0; first < loads.size(); first += width) {
    json::array row;
    for (std::size_t i = 0; i < width; ++i)
      row.emplace_back(loads[first + i].*what);
    all.push_back(std::move(row));
  }
  return all;
}

json::array turning_json(const station::Station& station, const signal::Spectrum& spectrum) {
  const bench::Bench& bench = station.bench();
  const int blade_count = analysis::blade_count(bench, station.snapshot().commanded);
  const auto means = station.means().means;
  const auto speed = means.find("rotor_speed_rad_s");
  json::array lines;
  if (speed == means.end()) return lines;
  for (const analysis::TurningLine& line :
       analysis::turning_lines(bench, speed->second, blade_count, spectrum)) {
    lines.push_back(json::object{{"code", line.code},
                                 {"true_Hz", line.true_Hz},
                                 {"frequency_Hz", line.frequency_Hz},
                                 {"amplitude", line.amplitude}});
  }
  return lines;
}

}  // namespace

Answer benches(Call& call) {
  json::array list;
  for (const auto& desk : call.serving.benches()) {
    const station::Snapshot now = desk->station.snapshot();
    const bench::Bench& bench = desk->station.bench();
    json::object entry{{"id", desk->id},
                       {"name", bench.name},
                       {"simulated", std::holds_alternative<bench::SimulatedDevice>(bench.device)},
                       {"state", guard::name(now.state)},
                       {"activity", now.activity},
                       {"fault", nullptr}};
    if (!now.fault.empty()) entry["fault"] = now.fault;
    list.push_back(std::move(entry));
  }
  return json_answer(json::object{{"benches", std::move(list)}});
}

Answer bench_description(Call& call) {
  return json_answer(call.desk->description());
}

Answer bench_state(Call& call) {
  return json_answer(with_mine(call.desk->state(), call));
}

Answer bench_values(Call& call) {
  return json_answer(call.desk->values());
}

Answer surface(Call& call) {
  const bench::Bench& bench = call.desk->station.bench();
  const long long blades = whole_parameter(call.target, "blade_count", bench.rotor.blades);
  const double air_speed_m_s = number_parameter(call.target, "air_speed_m_s", 10.0);
  const std::vector<double> ratios = range_parameter(call.target, "tip_speed_ratio", "1:0.25:10");
  const std::vector<double> pitches_deg = range_parameter(call.target, "pitch_deg", "0:1:20");
  if (blades < 1 || blades > 12) refuse("blade_count", static_cast<double>(blades), "1 to 12");
  if (!(air_speed_m_s > 0.0 && air_speed_m_s <= 60.0)) {
    refuse("air_speed_m_s", air_speed_m_s, "above 0, up to 60");
  }
  for (const double ratio : ratios) {
    if (!(ratio >= 0.0 && ratio <= 25.0)) refuse("tip_speed_ratio", ratio, "0 to 25");
  }
  std::vector<double> pitches_rad;
  for (const double pitch_deg : pitches_deg) {
    if (std::abs(pitch_deg) > 90.0) refuse("pitch_deg", pitch_deg, "-90 to 90");
    pitches_rad.push_back(pitch_deg * std::numbers::pi / 180.0);
  }
  constexpr std::size_t most_points = 20'000;
  if (ratios.size() * pitches_deg.size() > most_points) {
    refuse("pitch_deg", static_cast<double>(pitches_deg.size()), "at most 20 000 points in all");
  }
  physics::Rotor rotor = bench.rotor;
  rotor.blades = static_cast<int>(blades);
  const physics::Air air = bench.simulation
                               ? bench.simulation->air
                               : physics::Air{.temperature_K = physics::standard_temperature_K,
                                              .pressure_Pa = physics::standard_pressure_Pa,
                                              .relative_humidity = 0.0};
  const std::vector<physics::RotorLoad> loads =
      physics::rotor_surface(rotor,
                             {.air_speed_m_s = air_speed_m_s,
                              .rotor_speed_rad_s = 0.0,
                              .density_kg_m3 = physics::density_kg_m3(air),
                              .dynamic_viscosity_Pa_s = physics::dynamic_viscosity_Pa_s(air)},
                             ratios, pitches_rad);
  return json_answer(json::object{{"tip_speed_ratio", json::value_from(ratios)},
                                  {"pitch_deg", json::value_from(pitches_deg)},
                                  {"cp", rows(loads, ratios.size(), &physics::RotorLoad::cp)},
                                  {"ct", rows(loads, ratios.size(), &physics::RotorLoad::ct)},
                                  {"blade_count", blades},
                                  {"air_speed_m_s", air_speed_m_s}});
}

Answer bench_readings(Call& call) {
  return json_answer(call.desk->readings());
}

Answer foreseen(Call& call) {
  const station::Station& station = call.desk->station;
  const bench::Bench& bench = station.bench();
  const bench::Actuator& actuator = find_actuator(bench, call.target.find("actuator"));
  constexpr double none = std::numeric_limits<double>::quiet_NaN();
  const double value = number_parameter(call.target, "value", none);
  if (!(value >= actuator.lowest && value <= actuator.highest)) {
    refuse("value", value, fmt::format("{:g} to {:g}", actuator.lowest, actuator.highest));
  }
  std::map<std::string, double> settings = station.snapshot().commanded;
  json::object document{{"now", foreseen_json(bench, settings)}};
  settings[actuator.name] = value;
  document["then"] = foreseen_json(bench, settings);
  return json_answer(document);
}

Answer live_spectrum(Call& call) {
  const station::Station& station = call.desk->station;
  const std::string* asked = call.target.find("channel");
  const auto channels = station.channels();
  const auto found = std::find_if(channels.begin(), channels.end(), [&](const auto& each) {
    return asked != nullptr && each.name == *asked;
  });
  if (found == channels.end()) {
    station::Refusal refusal(422, fmt::format("there is no channel '{}'", asked ? *asked : ""),
                             "a channel of the bench or a power");
    refusal.where = "channel";
    throw refusal;
  }
  const auto samples = station.tail(static_cast<std::size_t>(found - channels.begin()));
  const double rate_hz = station.bench().sample_rate_hz;
  json::object document{{"channel", found->name},
                        {"unit", found->unit},
                        {"seconds", static_cast<double>(samples.size()) / rate_hz},
                        {"line_spacing_Hz", nullptr},
                        {"segments", 0},
                        {"amplitude", json::array()},
                        {"turning", json::array()}};
  const bool whole = std::all_of(samples.begin(), samples.end(),
                                 [](double value) { return std::isfinite(value); });
  // Until there is enough since the last gap; and of no number there is no spectrum.
  if (!whole || samples.size() < station::LiveTail::least) return json_answer(document);
  signal::Welch welch(signal::Taper::hann, std::bit_floor(samples.size() / 4));
  for (std::size_t at = 0; at + welch.segment() <= samples.size(); at += welch.step())
    welch.add(std::span(samples).subspan(at, welch.segment()), static_cast<std::int64_t>(at));
  const signal::Spectrum spectrum = welch.spectrum(rate_hz);
  document["line_spacing_Hz"] = spectrum.line_spacing_Hz;
  document["segments"] = spectrum.segments;
  document["amplitude"] = json::value_from(spectrum.amplitude);
  document["turning"] = turning_json(station, spectrum);
  return json_answer(document);
}

Answer stop(Call& call) {
  double category = 0.0;
  try {
    if (call.body.contains("category")) category = call.body.at("category").to_number<double>();
  } catch (const std::exception&) {
    category = 0.0;  // never refused: what cannot be understood is the harder stop
  }
  const std::string by = fmt::format("{} from {}", call.person(), call.request.peer);
  call.desk->station.stop(category == 1.0 ? 1 : 0, by);
  call.desk->record("stop", {{"person", call.person()},
                             {"text", category == 1.0 ? "under control" : "power off"}});
  return json_answer(with_mine(call.desk->state(), call));
}

Answer command(Call& call) {
  const bench::Bench& bench = call.desk->station.bench();
  const std::string& asked = call.name("actuator");
  const auto found = std::find_if(bench.actuators.begin(), bench.actuators.end(),
                                  [&](const auto& each) { return each.name == asked; });
  if (found == bench.actuators.end()) {
    throw station::Refusal(404, fmt::format("there is no actuator '{}'", asked), "GET the bench");
  }
  double value = 0.0;
  if (call.body.contains("position")) {
    const std::string position = text_member(call.body, "position");
    const auto index = found->position(position);
    if (!index) {
      throw station::Refusal(422, fmt::format("{} has no position '{}'", asked, position),
                             base::either_of(found->positions));
    }
    value = *index;
  } else {
    value = number_member(call.body, "value");
  }
  call.desk->lease.require_may_drive(call.for_lease());
  const std::string reason(base::trimmed(text_member_or(call.body, "reason", "")));
  call.desk->station.command(
      {.actuator = asked, .value = value, .reason = reason}, call.person(),
      [desk = call.desk, who = call.for_lease()] { desk->lease.require_still_may_drive(who); });
  return json_answer(with_mine(call.desk->state(), call));
}

Answer reset(Call& call) {
  const std::string reason(base::trimmed(text_member(call.body, "reason")));
  if (reason.empty()) throw station::Refusal(422, "reason is empty", "what was found and done");
  call.desk->station.reset(reason, is_at_bench(call), call.person());
  return json_answer(with_mine(call.desk->state(), call));
}

Answer answer_ask(Call& call) {
  if (!is_at_bench(call)) {
    throw station::Refusal(403, "what is done by hand is seen at the bench only",
                           "somebody there answers")
        .as("not_at_the_bench");
  }
  call.desk->station.answer(static_cast<int>(number_member(call.body, "number")));
  return json_answer(with_mine(call.desk->state(), call));
}

}  // namespace windwright::server
