// SPDX-License-Identifier: Apache-2.0
#include "bench/bench.h"

#include "base/errors.h"
#include "base/files.h"
#include "base/settings.h"
#include "base/text.h"
#include "base/units.h"
#include "bench/device_table.h"
#include "bench/generator_table.h"
#include "bench/guard_table.h"
#include "bench/interlock_table.h"
#include "bench/load_table.h"
#include "bench/overspeed.h"
#include "bench/protection_table.h"
#include "bench/publish_table.h"
#include "bench/recording_table.h"
#include "bench/rotor_file.h"
#include "bench/safe_state.h"
#include "bench/texts_table.h"
#include "bench/tunnel_table.h"
#include "metrology/law.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <limits>
#include <set>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::bench {

namespace {

using base::BadInput;
using base::Bounds;
using base::Settings;

struct KnownName {
  std::string_view name;
  bool required;
};

// What the rest of the program understands. A bench without one of the required channels cannot be
// reduced to power coefficient and tip-speed ratio.
constexpr std::array<KnownName, 34> known_channels{
    {{"air_temperature_C", true},      {"air_pressure_hPa", true},
     {"air_humidity_pct", true},       {"air_speed_m_s", true},
     {"rotor_speed_rad_s", true},      {"dc_voltage_V", true},
     {"dc_current_A", true},           {"winding_temperature_C", false},
     {"frame_temperature_C", false},   {"vibration_m_s2", false},
     {"emergency_stop_loop_V", false}, {"cover_loop_V", false},
     {"fuse_loop_V", false},           {"sample_counter", false},
     {"ac_voltage_V", false},          {"ac_current_A", false},
     {"ac_voltage_b_V", false},        {"ac_current_b_A", false},
     {"ac_voltage_c_V", false},        {"ac_current_c_A", false},
     {"ac_line_voltage_ab_V", false},  {"ac_line_voltage_bc_V", false},
     {"ac_line_voltage_ca_V", false},  {"battery_voltage_V", false},
     {"battery_current_A", false},     {"battery_temperature_C", false},
     {"charge_current_A", false},      {"dump_current_A", false},
     {"inverter_input_A", false},      {"inverter_output_rms_V", false},
     {"inverter_output_rms_A", false}, {"inverter_output_W", false},
     {"inverter_output_V", false},     {"inverter_output_A", false}}};
constexpr std::array<KnownName, 9> known_actuators{{{"fan_pct", true},
                                                    {"load_selector", false},
                                                    {"rheostat_ohm", false},
                                                    {"blade_count", false},
                                                    {"pitch_deg", false},
                                                    {"dc_load_selector", false},
                                                    {"ac_load_selector", false},
                                                    {"inverter_switch", false},
                                                    {"mains_charger_switch", false}}};
const std::vector<std::string> load_positions{"none", "rheostat", "lamps", "rheostat_and_lamps"};

template <std::size_t N>
void require_known(const Settings& table, const std::string& name,
                   const std::array<KnownName, N>& known) {
  std::vector<std::string> names;
  for (const KnownName& entry : known) {
    if (entry.name == name) return;
    names.emplace_back(entry.name);
  }
  throw BadInput(table.place("name"), fmt::format("name '{}' is not known", name),
                 base::either_of(names));
}

template <std::size_t N, typename Entry>
void require_all(const Settings& root, std::string_view kind, const std::vector<Entry>& entries,
                 const std::array<KnownName, N>& known) {
  for (const KnownName& wanted : known) {
    if (!wanted.required) continue;
    const bool found = std::any_of(entries.begin(), entries.end(),
                                   [&](const Entry& entry) { return entry.name == wanted.name; });
    if (!found) {
      throw BadInput(root.place(), fmt::format("{} '{}' is missing", kind, wanted.name),
                     fmt::format("[[{}]] name = \"{}\"", kind, wanted.name));
    }
  }
}

std::string unique_name(const Settings& table, std::set<std::string>& taken) {
  std::string name = table.text("name");
  if (!taken.insert(name).second) {
    throw BadInput(table.place("name"), fmt::format("name '{}' is there twice", name),
                   "one table for each name");
  }
  return name;
}

Converter read_converter(const Settings& table) {
  const std::vector<double> range = table.numbers("range_V", {.at_least = -1e3, .at_most = 1e3});
  if (range.size() != 2 || range[0] >= range[1]) {
    throw BadInput(table.place("range_V"), "range_V is not a range",
                   "[lower, upper] in volts, lower first");
  }
  return {.lower_V = range[0],
          .upper_V = range[1],
          .bits = table.integer("bits", {.at_least = 8, .at_most = 24})};
}

// Coefficients of a model that a channel in volts can have.
std::size_t coefficients_of_model(const Settings& table, const std::string& model) {
  constexpr std::size_t highest = 3;  // a chosen degree needs something to choose from
  if (model == "polynomial:auto") return highest;
  try {
    const auto law = metrology::law_of_model(model, "model");
    if (law->reading_unit().empty()) return law->names().size();
  } catch (const BadInput&) {
    // Said below, with the place in the file.
  }
  throw BadInput(table.place("model"), fmt::format("model '{}' is not known", model),
                 "\"line\", \"polynomial:N\" with N from 1 to 6, \"polynomial:auto\", \"king\", "
                 "\"pitot\", \"cup\", \"tachometer\", \"shunt\" or \"divider\"");
}

CalibrationPlan read_calibration(const Settings& table) {
  CalibrationPlan plan{
      .model = table.text("model"),
      .references = table.numbers("references", {.at_least = -1e6, .at_most = 1e6}),
      .repeats = table.integer("repeats", {.at_least = 1, .at_most = 100}),
      .standard = table.text("standard"),
      .u_standard = table.number("u_standard", {.at_least = 0.0, .at_most = 1e6}),
      .u_standard_relative =
          table.number_or("u_standard_pct", 0.0, {.at_least = 0.0, .at_most = 50.0}) / 100.0,
      .valid_days = table.integer("valid_days", {.at_least = 1, .at_most = 3660})};
  const std::size_t coefficients = coefficients_of_model(table, plan.model);
  const std::set<double> distinct(plan.references.begin(), plan.references.end());
  if (distinct.size() < coefficients + 1) {
    throw BadInput(table.place("references"),
                   fmt::format("{} different references are too few for the model '{}'",
                               distinct.size(), plan.model),
                   fmt::format("at least {}", coefficients + 1));
  }
  return plan;
}

CheckStandard read_check_standard(const Settings& table, const CalibrationPlan& plan) {
  const auto [lowest, highest] =
      std::minmax_element(plan.references.begin(), plan.references.end());
  const CheckStandard check{.value = table.number("value"),
                            .u = table.number("u", {.at_least = 0.0, .at_most = 1e6})};
  if (check.value < *lowest || check.value > *highest) {
    throw BadInput(table.place("value"),
                   fmt::format("the check standard {} lies outside the calibration", check.value),
                   fmt::format("a value from {} to {}", *lowest, *highest));
  }
  if (std::find(plan.references.begin(), plan.references.end(), check.value) !=
      plan.references.end()) {
    throw BadInput(table.place("value"),
                   fmt::format("{} is also a calibration reference", check.value),
                   "a value between two references, so that the check is independent");
  }
  return check;
}

SimulatedSensor read_simulated(const Settings& table) {
  const Bounds volt_spread{.at_least = 0.0, .at_most = 1e3};
  const Bounds part_pct{.at_least = 0.0, .at_most = 20.0};
  const SimulatedSensor sensor{
      .offset_V = table.number("offset_V", {.at_least = -1e3, .at_most = 1e3}),
      .sensitivity_V = table.number("sensitivity_V", {.at_least = -1e6, .at_most = 1e6}),
      .u_offset_V = table.number("u_offset_V", volt_spread),
      .u_sensitivity_relative = table.number("u_sensitivity_pct", part_pct) / 100.0,
      .nonlinearity_relative = table.number("nonlinearity_pct", part_pct) / 100.0,
      .noise_V = table.number("noise_V", volt_spread),
      .bandwidth_Hz = table.number_or("bandwidth_Hz", std::numeric_limits<double>::infinity(),
                                      {.at_least = 1e-3, .at_most = 1e9})};
  if (sensor.sensitivity_V == 0.0) {
    throw BadInput(table.place("sensitivity_V"), "sensitivity_V is 0",
                   "volts per unit of the channel, not 0");
  }
  return sensor;
}

void require_seen(const Settings& table, const Channel& channel) {
  const auto& sensor = *channel.simulated;
  for (const double reference : channel.calibration.references) {
    const double reading_V = sensor.offset_V + sensor.sensitivity_V * reference;
    if (reading_V < channel.converter.lower_V || reading_V > channel.converter.upper_V) {
      throw BadInput(table.place("range_V"),
                     fmt::format("at the calibration reference {} the sensor of '{}' gives {:.6g} "
                                 "V, outside the converter's range",
                                 reference, channel.name, reading_V),
                     "a range_V that covers all references, or another sensitivity_V");
    }
  }
}

// The certificate need not exist yet, so base::named_file cannot be asked.
std::filesystem::path certificate_path(const Settings& table, const std::filesystem::path& folder) {
  const std::string name = table.text("certificate");
  const std::filesystem::path relative(name);
  const auto full = std::filesystem::weakly_canonical(folder / relative);
  const auto inside = full.lexically_relative(std::filesystem::weakly_canonical(folder));
  if (relative.is_absolute() || inside.empty() || *inside.begin() == ".." || inside == ".") {
    throw BadInput(table.place("certificate"),
                   fmt::format("path '{}' leads outside the bench's folder", name),
                   "a path inside it, such as \"certificates/air_speed_m_s.json\"");
  }
  return full;
}

// A channel of what the bench does not have could never show anything.
void require_part(const Settings& table, const std::string& channel, const Bench& bench) {
  const bool of_loop =
      std::find(loop_channels.begin(), loop_channels.end(), channel) != loop_channels.end();
  if (of_loop && !bench.hard_wired) {
    throw BadInput(table.place("name"),
                   fmt::format("the bench has no hard-wired chain for '{}'", channel),
                   "a table [hard_wired]");
  }
  const bool of_inverter = channel.starts_with("inverter_");
  const bool of_chain = of_inverter || channel.starts_with("battery_") ||
                        channel == "charge_current_A" || channel == "dump_current_A";
  if ((of_chain && !bench.chain) || (of_inverter && !bench.chain->setup.chain.inverter)) {
    const char* part = of_inverter ? "inverter" : "battery";
    throw BadInput(table.place("name"), fmt::format("the bench has no {} for '{}'", part, channel),
                   fmt::format("a channel of what it has, or a table [{}]", part));
  }
}

// Powers are means of products of samples, the wind's the mean of a cube: those channels are kept
// at the full rate.
bool is_multiplied(std::string_view channel) {
  if (channel.find("_rms_") != std::string_view::npos) return false;
  if (std::find(loop_channels.begin(), loop_channels.end(), channel) != loop_channels.end())
    return false;
  return channel.ends_with("_V") || channel.ends_with("_A") || channel == "air_speed_m_s" ||
         channel == "rotor_speed_rad_s";
}

std::int64_t samples_for_one(const Settings& table, const Channel& channel, double bench_rate_hz) {
  const double rate_hz =
      table.number_or("sample_rate_hz", bench_rate_hz, {.at_most = bench_rate_hz, .above = 0.0});
  const double every = bench_rate_hz / rate_hz;
  if (every > 1e9 || std::abs(every - std::round(every)) > 1e-9 * every) {
    throw BadInput(
        table.place("sample_rate_hz"),
        fmt::format("the bench's {} samples/s are not a whole number of times this", bench_rate_hz),
        fmt::format("such as {} or {}", bench_rate_hz / std::ceil(every),
                    bench_rate_hz / std::max(1.0, std::floor(every))));
  }
  if (every > 1.5 && is_multiplied(channel.name)) {
    throw BadInput(table.place("sample_rate_hz"),
                   fmt::format("{} is multiplied sample by sample", channel.name),
                   "the bench's rate, without this key");
  }
  return std::llround(every);
}

Channel read_channel(const Settings& table, std::set<std::string>& taken, const Bench& bench) {
  Channel channel{};
  channel.name = unique_name(table, taken);
  require_known(table, channel.name, known_channels);
  require_part(table, channel.name, bench);
  channel.long_name = table.text("long_name");
  channel.unit = base::unit_of_name(channel.name);
  channel.converter = read_converter(table);
  channel.every = samples_for_one(table, channel, bench.sample_rate_hz);
  channel.certificate = certificate_path(table, bench.file.parent_path());
  channel.u_drift = table.number("u_drift", {.at_least = 0.0, .at_most = 1e6});
  channel.calibration = read_calibration(table.table("calibration"));
  if (const auto check = table.optional_table("check_standard")) {
    channel.check_standard = read_check_standard(*check, channel.calibration);
  }
  if (const auto simulated = table.optional_table("simulated")) {
    channel.simulated = read_simulated(*simulated);
    require_seen(table, channel);
  }
  return channel;
}

std::vector<std::string> read_positions(const Settings& table) {
  std::vector<std::string> positions = table.texts("positions");
  const std::set<std::string> distinct(positions.begin(), positions.end());
  for (const std::string& position : distinct) {
    if (std::find(load_positions.begin(), load_positions.end(), position) == load_positions.end()) {
      throw BadInput(table.place("positions"), fmt::format("position '{}' is not known", position),
                     base::either_of(load_positions));
    }
  }
  if (distinct.size() != positions.size()) {
    throw BadInput(table.place("positions"), "a position is there twice", "each position once");
  }
  return positions;
}

// The widest range that each actuator may be given; a bench's own is inside it.
Bounds widest_range(std::string_view actuator, const physics::Loads& loads) {
  if (actuator == "fan_pct") return {.at_least = 0.0, .at_most = 100.0};
  if (actuator == "rheostat_ohm") {
    return {.at_least = loads.rheostat_lowest_ohm, .at_most = loads.rheostat_highest_ohm};
  }
  if (actuator == "blade_count") return {.at_least = 1.0, .at_most = 12.0};
  return {.at_least = -90.0, .at_most = 90.0};  // pitch_deg
}

Actuator read_actuator(const Settings& table, std::set<std::string>& taken, Bench& bench) {
  const physics::Loads& loads = bench.loads;
  Actuator actuator{};
  actuator.name = unique_name(table, taken);
  require_known(table, actuator.name, known_actuators);
  actuator.long_name = table.text("long_name");
  actuator.manual = table.flag_or("manual", false);
  if (actuator.manual && is_switched_off(actuator.name)) {
    throw BadInput(table.place("manual"),
                   fmt::format("no program could switch {} off in a stop", actuator.name),
                   "one that is commanded");
  }
  if (bench.chain && (actuator.name == "load_selector" || actuator.name == "rheostat_ohm")) {
    throw BadInput(
        table.place("name"),
        fmt::format("'{}' is for loads at the bridge, not behind a battery", actuator.name),
        "dc_load_selector or ac_load_selector");
  }
  if (is_chain_actuator(actuator.name)) {
    actuator.positions = read_chain_positions(table, actuator.name, bench.chain);
    actuator.highest = static_cast<double>(actuator.positions.size()) - 1.0;
  } else if (actuator.name == "load_selector") {
    actuator.positions = read_positions(table);
    actuator.highest = static_cast<double>(actuator.positions.size()) - 1.0;
    const bool lamps = std::any_of(actuator.positions.begin(), actuator.positions.end(),
                                   [](const std::string& p) { return p.ends_with("lamps"); });
    if (lamps && loads.lamps == 0) {
      throw BadInput(table.place("positions"), "there are no lamps to select",
                     "positions without lamps, or lamps above 0 in [loads]");
    }
  } else {
    const Bounds widest = widest_range(actuator.name, loads);
    actuator.lowest = table.number("lowest", widest);
    actuator.highest = table.number("highest", widest);
    if (actuator.lowest >= actuator.highest) {
      throw BadInput(table.place("highest"), "highest is not above lowest",
                     fmt::format("a number above {}", actuator.lowest));
    }
  }
  const bool whole = actuator.lowest == std::floor(actuator.lowest) &&
                     actuator.highest == std::floor(actuator.highest);
  if (actuator.name == "blade_count" && !whole) {
    throw BadInput(table.place("lowest"), "blade_count is not counted in whole blades",
                   "whole numbers for lowest and highest");
  }
  const bool continuous = actuator.name == "pitch_deg";
  actuator.u_setting =
      table.number_or("u_setting", 0.0, {.at_least = 0.0, .at_most = continuous ? 10.0 : 0.0});
  const bool travels = actuator.positions.empty() && !actuator.manual;
  actuator.full_travel_s =
      table.number_or("full_travel_s", 0.0, {.at_least = 0.0, .at_most = travels ? 600.0 : 0.0});
  return actuator;
}

Simulation read_simulation(const Settings& table, double described_u_loss) {
  constexpr double zero_celsius_K = 273.15;
  const double temperature_C =
      table.number("air_temperature_C", {.at_least = -40.0, .at_most = 60.0});
  return {
      .seed = static_cast<std::uint64_t>(table.integer("seed", {.at_least = 0})),
      .start = base::utc_from_text(table.text("start"), table.place("start")),
      .air = {.temperature_K = temperature_C + zero_celsius_K,
              .pressure_Pa =
                  table.number("air_pressure_hPa", {.at_least = 500.0, .at_most = 1100.0}) * 100.0,
              .relative_humidity =
                  table.number("air_humidity_pct", {.at_least = 0.0, .at_most = 100.0}) / 100.0},
      .air_temperature_drift_K_h =
          table.number_or("air_temperature_drift_K_h", 0.0, {.at_least = -10.0, .at_most = 10.0}),
      .u_loss_relative = table.number_or("u_loss_pct", described_u_loss * 100.0,
                                         {.at_least = 0.0, .at_most = 50.0}) /
                         100.0};
}

void read_bench_table(const Settings& table, Bench& bench) {
  bench.name = table.text("name");
  bench.sample_rate_hz = table.number("sample_rate_hz", {.at_least = 1.0, .at_most = 1e6});
  bench.block_s = table.number("block_s", {.at_least = 1e-3, .at_most = 10.0});
  const double samples = bench.block_s * bench.sample_rate_hz;
  if (samples < 0.5 || std::abs(samples - std::round(samples)) > 1e-6) {
    throw BadInput(table.place("block_s"),
                   fmt::format("block_s holds {:.6g} samples at this sample_rate_hz", samples),
                   "a whole number of samples, at least 1");
  }
  // What is being gathered is in no file yet: a killed recording loses it.
  constexpr double longest_block_s = 0.5;
  if (bench.block_s > longest_block_s && samples > 1.5) {
    throw BadInput(table.place("block_s"), fmt::format("block_s is {:g}", bench.block_s),
                   fmt::format("at most {:g}, which is what a kill may cost", longest_block_s));
  }
  const auto folder = bench.file.parent_path();
  bench.rotor_file = base::named_file(folder, folder, table.text("rotor"), table.place("rotor"));
  bench.rotor_text = base::text_of_file(bench.rotor_file);
  RotorFile rotor = rotor_and_blade_from_file(bench.rotor_file);
  bench.rotor = std::move(rotor.rotor);
  bench.blade = std::move(rotor.blade);
  bench.u_tip_radius_m =
      table.number("u_tip_radius_m", {.at_least = 0.0, .at_most = 0.1 * bench.rotor.tip_radius_m});
  bench.blade_inertia_kg_m2 = table.number("blade_inertia_kg_m2", {.at_most = 1e6, .above = 0.0});
  bench.hub_inertia_kg_m2 = table.number("hub_inertia_kg_m2", {.at_most = 1e6, .above = 0.0});
}

}  // namespace

double volts(const Converter& converter, double counts) {
  return converter.lower_V +
         (counts + 0.5) * (converter.upper_V - converter.lower_V) / std::ldexp(1.0, converter.bits);
}

bool is_alternating(std::string_view channel) {
  return channel.starts_with("ac_voltage") || channel.starts_with("ac_current") ||
         channel.starts_with("ac_line_voltage") || channel == "inverter_output_V" ||
         channel == "inverter_output_A";
}

std::optional<double> Actuator::position(std::string_view name_of_position) const {
  const auto found = std::find(positions.begin(), positions.end(), name_of_position);
  if (found == positions.end()) return std::nullopt;
  return static_cast<double>(found - positions.begin());
}

std::size_t Bench::channel_index(std::string_view wanted) const {
  std::vector<std::string> names;
  for (std::size_t i = 0; i < channels.size(); ++i) {
    if (channels[i].name == wanted) return i;
    names.push_back(channels[i].name);
  }
  throw BadInput(file.string(), fmt::format("channel '{}' is not on this bench", wanted),
                 base::either_of(names));
}

const Actuator& Bench::actuator(std::string_view wanted) const {
  std::vector<std::string> names;
  for (const Actuator& candidate : actuators) {
    if (candidate.name == wanted) return candidate;
    names.push_back(candidate.name);
  }
  throw BadInput(file.string(), fmt::format("actuator '{}' is not on this bench", wanted),
                 base::either_of(names));
}

Bench bench_from_file(const std::filesystem::path& file) {
  Bench bench{};
  bench.text = base::text_of_file(file);
  bench.file = std::filesystem::absolute(file).lexically_normal();
  const Settings root = Settings::from_text(bench.text, file.string());
  read_bench_table(root.table("bench"), bench);
  read_tunnel_table(root.table("tunnel"), bench);
  read_generator_table(root.table("generator"), bench);
  bench.chain = chain_from_tables(root);
  if (bench.chain) {
    bench.chain->setup.chain.generator = bench.generator;
    bench.loads = no_bridge_loads();
  } else {
    bench.loads = read_bridge_loads(root.table("loads"));
  }
  read_protection_tables(root, bench);
  std::set<std::string> taken;
  for (const Settings& table : root.tables("channel"))
    bench.channels.push_back(read_channel(table, taken, bench));
  require_all(root, "channel", bench.channels, known_channels);
  std::vector<std::string> names;
  for (const Channel& channel : bench.channels)
    names.push_back(channel.name);
  bench.derived = derived_from_tables(root, names, bench.rotor.tip_radius_m);
  taken.clear();
  for (const Settings& table : root.tables("actuator"))
    bench.actuators.push_back(read_actuator(table, taken, bench));
  require_all(root, "actuator", bench.actuators, known_actuators);
  taken.clear();
  for (const Settings& table : root.tables("interlock")) {
    Interlock interlock = interlock_from_table(table, bench);
    interlock.name = unique_name(table, taken);
    bench.interlocks.push_back(std::move(interlock));
  }
  require_overspeed_interlock(root, bench);
  if (const auto simulation = root.optional_table("simulation")) {
    bench.simulation = read_simulation(*simulation, bench.u_loss_relative);
  }
  bench.device = device_from_tables(root, bench);
  bench.publish = publish_from_tables(root, bench.file.parent_path());
  bench.guard = guard_from_table(root.optional_table("guard"), bench.block_s);
  bench.recording = recording_from_table(root.optional_table("recording"));
  texts_from_tables(root);  // refused now, not when somebody reads it
  root.refuse_unread_keys();
  return bench;
}

}  // namespace windwright::bench
