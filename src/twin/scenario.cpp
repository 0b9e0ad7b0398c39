// SPDX-License-Identifier: Apache-2.0
#include "twin/scenario.h"

#include "base/errors.h"
#include "base/text.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <functional>
#include <optional>
#include <string>
#include <vector>

namespace windwright::twin {

namespace {

std::int64_t whole_samples(double seconds, double rate_hz) {
  return std::llround(seconds * rate_hz);
}

double shown_value(const bench::Channel& channel,
                   const std::optional<metrology::Certificate>& certificate, double counts) {
  const double reading_V = bench::volts(channel.converter, counts);
  if (certificate) return metrology::value_of(*certificate, reading_V);
  return (reading_V - channel.simulated->offset_V) / channel.simulated->sensitivity_V;
}

void add_energies(std::map<std::string, double>& truth, const EnergyTally& tally) {
  truth["wind_J"] = tally.wind_J;
  truth["rotor_J"] = tally.rotor_J;
  truth["bearing_J"] = tally.bearing_J;
  truth["iron_J"] = tally.iron_J;
  truth["winding_J"] = tally.winding_J;
  truth["rectifier_J"] = tally.rectifier_J;
  truth["load_J"] = tally.load_J;
  truth["brake_J"] = tally.brake_J;
  truth["kinetic_J"] = tally.kinetic_J;
  if (truth.contains("winding_temperature_C")) {
    truth["generator_stored_J"] = tally.generator_stored_J;
    truth["generator_to_air_J"] = tally.generator_to_air_J;
  }
}

struct Event {
  std::int64_t sample;
  std::function<void(SimulatedBench&)> happen;
};

void add_wind(const std::vector<WindPoint>& wind, double rate_hz, std::vector<Event>& events) {
  for (std::size_t i = 0; i < wind.size(); ++i) {
    double rise_m_s2 = 0.0;
    if (i + 1 < wind.size() && wind[i + 1].at_s > wind[i].at_s) {
      rise_m_s2 =
          (wind[i + 1].air_speed_m_s - wind[i].air_speed_m_s) / (wind[i + 1].at_s - wind[i].at_s);
    }
    events.push_back({whole_samples(wind[i].at_s, rate_hz),
                      [air_speed_m_s = wind[i].air_speed_m_s, rise_m_s2](SimulatedBench& device) {
                        device.impose_wind(air_speed_m_s, rise_m_s2);
                      }});
  }
}

// In time; what happens at the same time in the order wind, steps, gusts, faults.
std::vector<Event> events_of(const Scenario& scenario, double rate_hz) {
  std::vector<Event> events;
  add_wind(scenario.wind, rate_hz, events);
  for (const ScenarioStep& step : scenario.steps) {
    for (const ScenarioCommand& command : step.commands) {
      events.push_back({whole_samples(step.at_s, rate_hz), [command](SimulatedBench& device) {
                          device.set(command.actuator, command.value);
                        }});
    }
  }
  for (const ScenarioGust& gust : scenario.gusts) {
    events.push_back({whole_samples(gust.at_s, rate_hz),
                      [gust](SimulatedBench& device) { device.start_gust(gust.gust); }});
  }
  for (const ScenarioFault& fault : scenario.faults) {
    events.push_back({whole_samples(fault.at_s, rate_hz),
                      [fault](SimulatedBench& device) { device.start_fault(fault.fault); }});
    events.push_back({whole_samples(fault.until_s, rate_hz),
                      [fault](SimulatedBench& device) { device.end_fault(fault.fault); }});
  }
  std::stable_sort(events.begin(), events.end(),
                   [](const Event& a, const Event& b) { return a.sample < b.sample; });
  return events;
}

}  // namespace

void play(SimulatedBench& device, const bench::Bench& bench, const Scenario& scenario,
          const std::vector<std::optional<metrology::Certificate>>& certificates,
          const ScenarioPace& pace, const std::function<void(const ScenarioRow&)>& take) {
  const double rate_hz = device.sample_rate_hz();
  const std::int64_t every = whole_samples(pace.every_s, rate_hz);
  if (every < 1 || std::abs(static_cast<double>(every) - pace.every_s * rate_hz) > 1e-6) {
    throw base::BadInput("--every", fmt::format("{} s is no whole number of samples", pace.every_s),
                         fmt::format("a multiple of {} s", base::number_text(1.0 / rate_hz)));
  }
  const std::int64_t last = whole_samples(pace.seconds, rate_hz);
  const base::UtcTime start = device.now();
  const auto sample_now = [&] {
    return whole_samples(std::chrono::duration<double>(device.now() - start).count(), rate_hz);
  };
  const std::vector<Event> events = events_of(scenario, rate_hz);
  std::size_t next_event = 0;
  std::int64_t next_row = whole_samples(pace.from_s, rate_hz);
  bench::SampleBlock block;
  for (std::int64_t now = 0; now <= last; now = sample_now()) {
    if (next_event < events.size() && events[next_event].sample <= now) {
      events[next_event++].happen(device);  // a change of blades takes its time
      continue;
    }
    const bool row_due = next_row <= now;
    ScenarioRow row{.time_s = static_cast<double>(now) / rate_hz, .shown = {}, .truth = {}};
    if (row_due) {
      row.truth = device.truth();
      add_energies(row.truth, device.energy());
      row.truth.merge(device.chain_energy());
      next_row = now - now % every + every;
    }
    std::int64_t until = std::min(next_row, last + 1);
    if (next_event < events.size()) until = std::min(until, events[next_event].sample);
    device.read(block, static_cast<std::size_t>(until - now));
    if (!row_due) continue;
    for (std::size_t i = 0; i < bench.channels.size(); ++i) {
      row.shown.push_back(
          shown_value(bench.channels[i], certificates[i], block.channel(i).front()));
    }
    take(row);
  }
}

}  // namespace windwright::twin
