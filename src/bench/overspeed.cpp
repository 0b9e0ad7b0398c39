// SPDX-License-Identifier: Apache-2.0
#include "bench/overspeed.h"

#include "base/errors.h"
#include "base/settings.h"
#include "bench/bench.h"
#include "physics/blade_strength.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numbers>
#include <optional>
#include <string>
#include <string_view>

namespace windwright::bench {

namespace {

constexpr double degree = std::numbers::pi / 180.0;
constexpr double dense_air_kg_m3 = 1.3;  // 0 degC and 1020 hPa
constexpr double viscosity_Pa_s = 1.75e-5;
constexpr double gust_deviations = 3.0;
constexpr std::string_view speed_channel = "rotor_speed_rad_s";

}  // namespace

physics::LoadEnvelope load_envelope(const Bench& bench) {
  physics::LoadEnvelope envelope{
      .highest_air_speed_m_s = bench.tunnel.rated_air_speed_m_s * bench.position_factor *
                               (1.0 + gust_deviations * bench.tunnel.turbulence_intensity),
      .pitches_rad = {bench.rotor.pitch_rad},
      .blades = bench.rotor.blades,
      .density_kg_m3 = dense_air_kg_m3,
      .dynamic_viscosity_Pa_s = viscosity_Pa_s,
      .section_area_m2 = bench.tunnel.section_area_m2};
  for (const Actuator& actuator : bench.actuators) {
    if (actuator.name == "pitch_deg") {
      envelope.pitches_rad.push_back(actuator.lowest * degree);
      envelope.pitches_rad.push_back(actuator.highest * degree);
    }
    if (actuator.name == "blade_count") {
      envelope.blades = std::min(envelope.blades, static_cast<int>(actuator.lowest));
    }
  }
  return envelope;
}

std::optional<physics::SafeSpeed> safe_speed(const Bench& bench) {
  if (!bench.blade) return std::nullopt;
  return physics::safe_rotor_speed(bench.rotor, bench.blade->blade, load_envelope(bench));
}

double overspeed_bound(const base::Settings& table, const Bench& bench) {
  const auto safe = safe_speed(bench);
  if (table.holds_text("highest")) {
    const std::string word = table.text("highest");
    if (word != "blades") {
      throw base::BadInput(table.place("highest"), fmt::format("highest is '{}'", word),
                           "a number, or \"blades\" for the speed that the blades may see");
    }
    if (!safe) {
      throw base::BadInput(table.place("highest"),
                           "the rotor file does not say what the blades are made of",
                           "a table [blade] in the rotor file, or a number");
    }
    return std::floor(safe->rotor_speed_rad_s);
  }
  const double highest = table.number("highest", {.at_least = -1e9, .at_most = 1e9});
  if (safe && highest > safe->rotor_speed_rad_s) {
    throw base::BadInput(
        table.place("highest"),
        fmt::format("the blades are safe up to {:.4g} rad/s ({} at {:.4g} m/s, pitch {:.3g} "
                    "degrees), the interlock lets them turn at {:.6g}",
                    safe->rotor_speed_rad_s,
                    safe->bound == physics::SpeedBound::stress ? "stress" : "tip speed",
                    safe->air_speed_m_s, safe->pitch_rad / degree, highest),
        fmt::format("at most {:.0f}, or \"blades\"", std::floor(safe->rotor_speed_rad_s)));
  }
  return highest;
}

void require_overspeed_interlock(const base::Settings& root, const Bench& bench) {
  if (!bench.blade) return;
  const bool watched =
      std::any_of(bench.interlocks.begin(), bench.interlocks.end(), [](const Interlock& interlock) {
        return interlock.channel == speed_channel && interlock.with.empty() &&
               std::isfinite(interlock.highest);
      });
  if (watched) return;
  throw base::BadInput(root.place(), "no interlock watches rotor_speed_rad_s",
                       "[[interlock]] channel = \"rotor_speed_rad_s\", highest = \"blades\"");
}

}  // namespace windwright::bench
