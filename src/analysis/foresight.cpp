// SPDX-License-Identifier: Apache-2.0
#include "analysis/foresight.h"

#include "physics/air.h"
#include "physics/generator.h"
#include "physics/loads.h"
#include "physics/operating_point.h"
#include "physics/rotor.h"
#include "physics/tunnel.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <limits>
#include <map>
#include <numbers>
#include <optional>
#include <string>
#include <string_view>
#include <utility>

namespace windwright::analysis {
namespace {

using Settings = std::map<std::string, double>;

std::optional<double> find(const Settings& settings, const std::string& name) {
  const auto found = settings.find(name);
  return found == settings.end() ? std::nullopt : std::optional(found->second);
}

physics::Rotor rotor_with(const bench::Bench& bench, const Settings& settings) {
  physics::Rotor rotor = bench.rotor;
  rotor.blades = blade_count(bench, settings);
  if (const auto pitch = find(settings, "pitch_deg")) {
    rotor.pitch_rad = *pitch * std::numbers::pi / 180.0;
  }
  return rotor;
}

double load_ohm(const bench::Bench& bench, const Settings& settings) {
  constexpr std::array names{"none", "rheostat", "lamps", "rheostat_and_lamps"};
  std::size_t selection = 1;
  for (const bench::Actuator& actuator : bench.actuators) {
    const auto value = find(settings, actuator.name);
    if (actuator.name != "load_selector" || !value) continue;
    const auto index = static_cast<std::size_t>(std::max(0.0, *value));
    const std::string position =
        index < actuator.positions.size() ? actuator.positions[index] : std::string();
    selection =
        static_cast<std::size_t>(std::find(names.begin(), names.end(), position) - names.begin());
  }
  if (selection >= names.size()) selection = 0;
  return physics::load_resistance_ohm(
      bench.loads, static_cast<physics::LoadSelection>(selection),
      find(settings, "rheostat_ohm").value_or(bench.loads.rheostat_highest_ohm),
      bench.loads.lamp_rated_temperature_K);
}

// Bounds that the expected means lie beyond.
void find_trips(const bench::Bench& bench, const std::map<std::string_view, double>& means,
                Foreseen& foreseen) {
  for (const bench::Interlock& interlock : bench.interlocks) {
    if (interlock.kind != bench::Interlock::Kind::bound || !interlock.with.empty()) continue;
    const auto mean = means.find(interlock.channel);
    if (mean == means.end()) continue;
    if (mean->second > interlock.highest || mean->second < interlock.lowest) {
      foreseen.trips.push_back(interlock.name);
    }
  }
}

}  // namespace

int blade_count(const bench::Bench& bench, const Settings& settings) {
  const auto set = find(settings, "blade_count");
  return set ? static_cast<int>(*set) : bench.rotor.blades;
}

std::optional<Foreseen> foresee(const bench::Bench& bench, const Settings& settings) {
  const auto fan_pct = find(settings, "fan_pct");
  if (bench.chain || !fan_pct) return std::nullopt;
  const physics::Air air = bench.simulation
                               ? bench.simulation->air
                               : physics::Air{.temperature_K = physics::standard_temperature_K,
                                              .pressure_Pa = physics::standard_pressure_Pa,
                                              .relative_humidity = 0.0};
  Foreseen foreseen{.air_speed_m_s = bench.position_factor *
                                     physics::settled_air_speed_m_s(bench.tunnel, *fan_pct),
                    .rotor_speed_rad_s = {},
                    .tip_speed_ratio = {},
                    .dc_power_W = {},
                    .cp = {},
                    .trips = {},
                    .code = {},
                    .remark = {}};
  if (!(foreseen.air_speed_m_s > 0.0)) {
    foreseen.below_cut_in = true;
    foreseen.code = "no_wind";
    foreseen.remark = "there is no wind";
    return foreseen;
  }
  const physics::Rotor rotor = rotor_with(bench, settings);
  physics::RotorFlow flow{.air_speed_m_s = foreseen.air_speed_m_s,
                          .rotor_speed_rad_s = 0.0,
                          .density_kg_m3 = physics::density_kg_m3(air),
                          .dynamic_viscosity_Pa_s = physics::dynamic_viscosity_Pa_s(air)};
  const double load = load_ohm(bench, settings);
  const auto speed = physics::steady_rotor_speed_rad_s(rotor, bench.generator, flow, load);
  if (!speed) {
    foreseen.below_cut_in = true;
    foreseen.code = "no_balance";
    foreseen.remark = "the rotor does not keep turning against this load, or runs away";
    return foreseen;
  }
  flow.rotor_speed_rad_s = *speed;
  const physics::GeneratorLoad electric = physics::generator_load(bench.generator, *speed, load);
  const physics::RotorLoad rotor_load = physics::rotor_load(rotor, flow);
  foreseen.rotor_speed_rad_s = *speed;
  foreseen.tip_speed_ratio = *speed * rotor.tip_radius_m / foreseen.air_speed_m_s;
  foreseen.dc_power_W = electric.dc_power_W;
  foreseen.cp = rotor_load.cp;
  find_trips(bench,
             {{"rotor_speed_rad_s", *speed},
              {"air_speed_m_s", foreseen.air_speed_m_s / bench.position_factor},
              {"dc_voltage_V", electric.dc_voltage_V},
              {"dc_current_A", electric.dc_current_A}},
             foreseen);
  if (!foreseen.trips.empty()) {
    foreseen.code = "trips";
    foreseen.remark = fmt::format("would trip {}", fmt::join(foreseen.trips, ", "));
  } else if (!(electric.dc_power_W > 0.0) && std::isfinite(load)) {
    foreseen.below_cut_in = true;
    foreseen.code = "too_slow";
    foreseen.remark = "turns too slowly to deliver anything";
  }
  return foreseen;
}

}  // namespace windwright::analysis
