// SPDX-License-Identifier: Apache-2.0
#include "twin/bookmark.h"

#include "base/errors.h"
#include "base/json.h"
#include "base/text.h"

#include <boost/json.hpp>
#include <fmt/format.h>

#include <charconv>
#include <cstdint>
#include <string>
#include <string_view>
#include <type_traits>

namespace windwright::twin {

namespace {

namespace json = boost::json;

constexpr std::string_view where = "bookmark of the simulated bench";

// One list of members for writing and reading, so that none is forgotten on one side.
template <typename State, typename Visit>
void visit_plant(State& s, Visit&& visit) {
  visit("tick", s.tick);
  visit("rotor_speed_rad_s", s.rotor_speed_rad_s);
  visit("rotor_angle_rad", s.rotor_angle_rad);
  visit("mean_air_speed_m_s", s.mean_air_speed_m_s);
  visit("turbulence", s.turbulence);
  visit("next_turbulence", s.next_turbulence);
  visit("lamp_temperature_K", s.lamp_temperature_K);
  visit("lagging_inflow_m_s", s.lagging_inflow_m_s);
  visit("induced_air_speed_m_s", s.induced_air_speed_m_s);
  visit("at_rest", s.at_rest);
  visit("mounting", s.mounting);
  visit("fan_pct", s.fan_pct);
  visit("load_selection", s.load_selection);
  visit("rheostat_ohm", s.rheostat_ohm);
  visit("blades", s.blades);
  visit("pitch_rad", s.pitch_rad);
  visit("gust_tick", s.gust_tick);
  visit("gust_shape", s.gust_shape);
  visit("gust_duration_s", s.gust_duration_s);
  visit("gust_amplitude_m_s", s.gust_amplitude_m_s);
  visit("wind_imposed", s.wind_imposed);
  visit("wind_rise_m_s2", s.wind_rise_m_s2);
  visit("fan_share", s.fan_share);
  visit("bearing_factor", s.bearing_factor);
  visit("seconds", s.tally.seconds);
  visit("wind_J", s.tally.wind_J);
  visit("rotor_J", s.tally.rotor_J);
  visit("bearing_J", s.tally.bearing_J);
  visit("iron_J", s.tally.iron_J);
  visit("winding_J", s.tally.winding_J);
  visit("rectifier_J", s.tally.rectifier_J);
  visit("load_J", s.tally.load_J);
  visit("brake_J", s.tally.brake_J);
  visit("kinetic_J", s.tally.kinetic_J);
  visit("revolutions", s.tally.revolutions);
  visit("air_path_m", s.tally.air_path_m);
  visit("disc_air_path_m", s.tally.disc_air_path_m);
}

template <typename Memory, typename Visit>
void visit_sensor(Memory& m, Visit&& visit) {
  visit("settled", m.settled);
  visit("input_V", m.input_V);
  visit("output_V", m.output_V);
  visit("counts", m.counts);
  visit("fault", m.fault);
  visit("fault_sample", m.fault_sample);
  visit("fault_amount", m.fault_amount);
  visit("fault_over_s", m.fault_over_s);
}

template <typename Mark, typename Visit>
void visit_rest(Mark& b, Visit&& visit) {
  visit("seed", b.seed);
  visit("sample", b.sample);
  visit("gap_before", b.gap_before);
}

auto writer(json::object& object) {
  return [&object](std::string_view key, const auto& value) {
    using Value = std::remove_cvref_t<decltype(value)>;
    if constexpr (std::is_same_v<Value, double>) {
      object[key] = base::number_text(value);
    } else if constexpr (std::is_same_v<Value, bool>) {
      object[key] = value;
    } else {
      object[key] = fmt::format("{}", value);
    }
  };
}

template <typename Value>
void read_value(std::string_view key, const std::string& text, Value& value) {
  if constexpr (std::is_same_v<Value, double>) {
    const auto number = base::number_from_text(text);
    if (!number) throw base::BadInput(where, fmt::format("{} is '{}'", key, text), "a number");
    value = *number;
  } else {
    const auto read = std::from_chars(text.data(), text.data() + text.size(), value);
    if (read.ec != std::errc{} || read.ptr != text.data() + text.size()) {
      throw base::BadInput(where, fmt::format("{} is '{}'", key, text), "a whole number");
    }
  }
}

auto reader(const json::value& object) {
  return [&object](std::string_view key, auto& value) {
    using Value = std::remove_reference_t<decltype(value)>;
    if constexpr (std::is_same_v<Value, bool>) {
      const json::value& member = base::json_member(object, key, where);
      if (!member.is_bool()) {
        throw base::BadInput(where, fmt::format("{} is no truth value", key), "true or false");
      }
      value = member.get_bool();
    } else {
      read_value(key, base::json_string(object, key, where), value);
    }
  };
}

}  // namespace

std::string bookmark_text(const Bookmark& bookmark) {
  json::object root;
  visit_rest(bookmark, writer(root));
  json::object plant;
  visit_plant(bookmark.plant, writer(plant));
  root["plant"] = std::move(plant);
  json::array sensors;
  for (const Sensor::Memory& memory : bookmark.sensors) {
    json::object sensor;
    visit_sensor(memory, writer(sensor));
    sensors.emplace_back(std::move(sensor));
  }
  root["sensors"] = std::move(sensors);
  return base::json_line(root);
}

Bookmark bookmark_from_text(std::string_view text) {
  const json::value root = base::json_from_text(text, std::string(where));
  Bookmark bookmark{};
  visit_rest(bookmark, reader(root));
  visit_plant(bookmark.plant, reader(base::json_member(root, "plant", where)));
  const json::value& sensors = base::json_member(root, "sensors", where);
  if (!sensors.is_array()) throw base::BadInput(where, "sensors is no list", "a list of sensors");
  for (const json::value& sensor : sensors.get_array()) {
    visit_sensor(bookmark.sensors.emplace_back(), reader(sensor));
  }
  return bookmark;
}

}  // namespace windwright::twin
