// SPDX-License-Identifier: Apache-2.0
// What a bench looks like to viewers: docs/openapi.json, Bench, State, Values, Chain.
#include "analysis/live_chain.h"
#include "base/json.h"
#include "base/units.h"
#include "bench/certificates.h"
#include "bench/chain_tables.h"
#include "bench/safe_state.h"
#include "bench/texts_table.h"
#include "metrology/certificate.h"
#include "server/readings.h"
#include "server/serving.h"
#include "station/trip_json.h"

#include <boost/json.hpp>

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

namespace windwright::server {

namespace json = boost::json;

namespace {

// Where in the chain from wind to load something acts or is measured, by how its name begins.
struct Place {
  std::string_view begins;
  std::string_view stage;
};
constexpr std::array actuator_places{
    Place{"fan_", "wind"},
    Place{"blade_", "rotor"},
    Place{"pitch_", "rotor"},
    Place{"load_selector", "dc_load"},
    Place{"rheostat_", "dc_load"},
    Place{"dc_load_", "dc_loads"},
    Place{"ac_load_", "ac_loads"},
    Place{"inverter_", "inverter"},
    Place{"mains_charger_", "battery"},
};
constexpr std::array channel_places{
    Place{"air_", "wind"},
    Place{"disc_air_", "wind"},
    Place{"rotor_", "rotor"},
    Place{"tip_speed_", "rotor"},
    Place{"vibration_", "rotor"},
    Place{"thrust_", "rotor"},
    Place{"torque_", "shaft"},
    Place{"winding_", "generator"},
    Place{"ac_", "generator"},
    Place{"dc_", "dc_load"},
    Place{"dc_", "charge_controller"},
    Place{"charge_", "charge_controller"},
    Place{"dump_", "dump_load"},
    Place{"battery_", "battery"},
    Place{"inverter_", "inverter"},
};

// Empty where that is not known, or the bench has no such stage.
std::string_view place_of(const bench::Bench& bench, std::span<const Place> places,
                          std::string_view name) {
  const std::vector<analysis::LiveStage> stages = analysis::stages_of(bench);
  for (const Place& place : places) {
    const bool there = std::any_of(stages.begin(), stages.end(),
                                   [&](const auto& stage) { return stage.name == place.stage; });
    if (there && name.starts_with(place.begins)) return place.stage;
  }
  return {};
}

json::object channel_json(const bench::Bench& bench, const acquisition::LiveChannel& channel,
                          std::size_t index) {
  json::object entry{{"name", channel.name},
                     {"long_name", channel.name},
                     {"unit", channel.unit},
                     {"calibrated", channel.calibrated},
                     {"power", channel.pair.has_value()},
                     {"alternating", bench::is_alternating(channel.name)},
                     {"measured_at", place_of(bench, channel_places, channel.name)}};
  if (channel.pair) entry["long_name"] = "mean product of voltage and current";
  for (const bench::DerivedChannel& derived : bench.derived.list) {
    if (derived.name == channel.name) entry["long_name"] = derived.long_name;
  }
  if (index >= bench.channels.size()) return entry;
  const bench::Channel& description = bench.channels[index];
  entry["long_name"] = description.long_name;
  if (description.check_standard) {
    entry["check_standard"] = json::object{{"value", description.check_standard->value},
                                           {"u", description.check_standard->u}};
  }
  return entry;
}

void add_certificate(const bench::Channel& channel,
                     const std::optional<metrology::Certificate>& certificate,
                     json::object& entry) {
  if (!certificate) {
    entry["lowest"] = channel.converter.lower_V;
    entry["highest"] = channel.converter.upper_V;
    return;
  }
  const double lower = metrology::value_of(*certificate, channel.converter.lower_V);
  const double upper = metrology::value_of(*certificate, channel.converter.upper_V);
  entry["lowest"] = base::or_null(std::min(lower, upper));
  entry["highest"] = base::or_null(std::max(lower, upper));
  entry["valid_until"] = base::utc_text(certificate->valid_until);
}

json::array channels_json(const bench::Bench& bench,
                          const std::vector<acquisition::LiveChannel>& channels) {
  const auto certificates = bench::certificates_there_are(bench);
  json::array list;
  for (std::size_t i = 0; i < channels.size(); ++i) {
    json::object entry = channel_json(bench, channels[i], i);
    if (i < bench.channels.size()) add_certificate(bench.channels[i], certificates[i], entry);
    list.push_back(std::move(entry));
  }
  return list;
}

json::array actuators_json(const bench::Bench& bench) {
  json::array list;
  for (const bench::Actuator& actuator : bench.actuators) {
    list.push_back(json::object{{"name", actuator.name},
                                {"long_name", actuator.long_name},
                                {"unit", base::unit_of_name(actuator.name)},
                                {"lowest", actuator.lowest},
                                {"highest", actuator.highest},
                                {"manual", actuator.manual},
                                {"drives", bench::is_switched_off(actuator.name)},
                                {"acts_at", place_of(bench, actuator_places, actuator.name)},
                                {"positions", json::value_from(actuator.positions)},
                                {"full_travel_s", actuator.full_travel_s}});
  }
  return list;
}

json::array interlocks_json(const bench::Bench& bench, const std::vector<std::string>& standing) {
  constexpr std::array kinds{"bound", "lost", "stuck", "clock", "disk"};
  json::array list;
  for (const bench::Interlock& interlock : bench.interlocks) {
    const bool stands =
        std::find(standing.begin(), standing.end(), interlock.name) != standing.end();
    list.push_back(json::object{{"name", interlock.name},
                                {"kind", kinds[static_cast<std::size_t>(interlock.kind)]},
                                {"channel", interlock.channel},
                                {"with", interlock.with},
                                {"factor", interlock.factor},
                                {"lowest", base::or_null(interlock.lowest)},
                                {"highest", base::or_null(interlock.highest)},
                                {"hysteresis", interlock.hysteresis},
                                {"hold_s", interlock.hold_s},
                                {"stop_category", interlock.stop_category},
                                {"cause", interlock.cause},
                                {"check", interlock.check},
                                {"standing", stands}});
  }
  return list;
}

// The id says which, for readers of another language.
json::array cautions_of(const bench::Bench& bench) {
  json::array cautions;
  const auto add = [&](std::string_view id, std::string_view text) {
    cautions.push_back(json::object{{"id", id}, {"text", text}});
  };
  add("rotating_blades",
      "Rotating blades: keep the guard closed, and nobody near the rotor while the fan may run.");
  add("hard_wired_first",
      "The hard-wired emergency stop comes first; this page is one layer of protection and never "
      "the last.");
  add("stored_charge", "Stored charge and hot loads: wait before touching terminals.");
  if (bench.chain) {
    add("batteries", "Batteries: acid, short-circuit currents, hydrogen while charging.");
    if (bench.chain->setup.chain.inverter)
      add("mains_voltage", "Mains voltage at the inverter's output: qualified persons only.");
    if (const auto risk = bench::overspeed_caution(*bench.chain)) add("unloaded_rotor", *risk);
  }
  add("local_codes", "Local codes and the rules of your laboratory come before this list.");
  return cautions;
}

}  // namespace

json::object BenchDesk::description() const {
  const bench::Bench& bench = station.bench();
  const station::Snapshot now = station.snapshot();
  json::array stages;
  for (const analysis::LiveStage& stage : analysis::stages_of(bench))
    stages.push_back(json::object{{"name", stage.name}, {"long_name", stage.long_name}});
  return {{"id", station.id()},
          {"name", bench.name},
          {"device", now.device},
          {"simulated", std::holds_alternative<bench::SimulatedDevice>(bench.device)},
          {"sample_rate_hz", bench.sample_rate_hz},
          {"block_s", bench.block_s},
          {"channels", channels_json(bench, station.channels())},
          {"actuators", actuators_json(bench)},
          {"interlocks", interlocks_json(bench, now.standing)},
          {"stages", std::move(stages)},
          {"rotor", json::object{{"blade_count", bench.rotor.blades},
                                 {"pitch_deg", bench.rotor.pitch_rad * 180.0 / std::numbers::pi},
                                 {"tip_radius_m", bench.rotor.tip_radius_m},
                                 {"hub_radius_m", bench.rotor.hub_radius_m}}},
          {"cautions", cautions_of(bench)},
          {"texts", json::value_from(bench::texts_of(bench))}};
}

json::object BenchDesk::state() const {
  const station::Snapshot now = station.snapshot();
  json::object commanded;
  for (const auto& [actuator, value] : now.commanded)
    commanded[actuator] = value;
  json::object state{{"bench", station.id()},
                     {"state", guard::name(now.state)},
                     {"activity", now.activity},
                     {"host_time", base::utc_text(base::host_now())},
                     {"device_time", nullptr},
                     {"age_s", now.age_s},
                     {"stale", now.stale},
                     {"tripped", nullptr},
                     {"fault", nullptr},
                     {"commanded", std::move(commanded)},
                     {"lease", lease.document()},
                     {"campaign", campaigns.document()},
                     {"ask", nullptr},
                     {"load", json::object{{"gaps", now.gaps}, {"samples", now.samples}}}};
  if (now.device_time) state["device_time"] = base::utc_text(*now.device_time);
  if (!now.fault.empty()) state["fault"] = now.fault;
  if (now.ask) state["ask"] = json::object{{"number", now.ask->number}, {"what", now.ask->what}};
  if (now.tripped) {
    json::object tripped = station::trip_json(*now.tripped);
    tripped["standing"] = json::value_from(now.standing);
    state["tripped"] = std::move(tripped);
  }
  return state;
}

json::object BenchDesk::values() const {
  const station::Snapshot now = station.snapshot();
  const auto channels = station.channels();
  const auto newest = station.newest();
  json::array values;
  for (std::size_t i = 0; i < channels.size() && i < newest.size(); ++i) {
    values.push_back(json::object{{"name", channels[i].name},
                                  {"unit", channels[i].unit},
                                  {"value", base::or_null(newest[i].mean)},
                                  {"lowest", base::or_null(newest[i].lowest)},
                                  {"highest", base::or_null(newest[i].highest)},
                                  {"deviation", base::or_null(newest[i].deviation)}});
  }
  return {{"bench", station.id()},
          {"time", base::utc_text(now.device_time.value_or(base::UtcTime{}))},
          {"age_s", now.age_s},
          {"stale", now.stale},
          {"values", std::move(values)},
          {"chain", chain()}};
}

json::object BenchDesk::readings() const {
  const station::LiveMeans means = station.means();
  const auto channels = station.channels();
  json::object document{
      {"bench", station.id()}, {"time", base::utc_text(means.time)}, {"readings", json::array()}};
  station.look([&](const station::Station::Seen& seen) {
    if (means.number == 0 || seen.newest.size() != channels.size()) return;
    document["readings"] = readings_json(station.bench(), seen.bins, channels, means.means);
  });
  return document;
}

json::value BenchDesk::chain() const {
  const station::LiveMeans means = station.means();
  if (means.number == 0) return nullptr;
  const std::optional<analysis::LiveChain> chain =
      analysis::live_chain(station.bench(), {.means = means.means,
                                             .air_speed_cubed_m3_s3 = means.air_speed_cubed_m3_s3,
                                             .settings = station.snapshot().commanded});
  if (!chain) return nullptr;
  json::array stages;
  for (const analysis::LiveStage& stage : chain->stages) {
    stages.push_back(json::object{{"name", stage.name},
                                  {"lost_W", base::or_null(stage.lost_W)},
                                  {"stored_W", nullptr},
                                  {"basis", stage.lost_W ? "balance" : "unknown"}});
  }
  json::array flows;
  for (const analysis::LiveFlow& flow : chain->flows) {
    flows.push_back(json::object{{"from", flow.from},
                                 {"to", flow.to},
                                 {"measured_W", base::or_null(flow.measured_W)},
                                 {"predicted_W", base::or_null(flow.predicted_W)},
                                 {"basis", flow.basis}});
  }
  json::object numbers;
  for (const auto& [name, number] : chain->numbers)
    numbers[name] = base::or_null(number);
  return json::object{{"bench", station.id()},     {"time", base::utc_text(means.time)},
                      {"seconds", means.seconds},  {"stages", std::move(stages)},
                      {"flows", std::move(flows)}, {"numbers", std::move(numbers)}};
}

}  // namespace windwright::server
