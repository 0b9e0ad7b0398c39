// SPDX-License-Identifier: Apache-2.0
#include "analysis/waveforms.h"
#include "base/json.h"
#include "cli/power_shown.h"
#include "signal/ac_power.h"
#include "signal/bandwidth.h"
#include "signal/harmonic_groups.h"
#include "signal/power_terms.h"

#include <boost/json.hpp>

#include <cstddef>
#include <numbers>
#include <optional>
#include <string>

namespace windwright::cli {

namespace {

namespace json = boost::json;

constexpr double percent = 100.0;

json::value or_null(const std::optional<double>& value, double scale = 1.0) {
  return value ? json::value(*value * scale) : json::value(nullptr);
}

double degrees(double angle_rad) {
  return angle_rad * 180.0 / std::numbers::pi;
}

void put_distortion(const std::string& name, const std::optional<signal::Distortion>& distortion,
                    json::object& document) {
  const auto put = [&](const char* which, double signal::Distortion::* part) {
    document[name + which] =
        distortion ? json::value(percent * (*distortion).*part) : json::value(nullptr);
  };
  put("_thd_pct", &signal::Distortion::thd);
  put("_thdg_pct", &signal::Distortion::thdg);
  put("_thds_pct", &signal::Distortion::thds);
}

// The names that stay, in the order of the quantities; null where the voltage is direct.
void put_alternating(const signal::AlternatingPower& ac, json::object& document) {
  const signal::PowerTerms& terms = ac.terms;
  document["frequency_Hz"] = ac.frequency_Hz;
  document["power_factor"] = terms.power_factor;
  document["fundamental_active_power_W"] = ac.parts.fundamental_active_power_W;
  document["fundamental_reactive_power_var"] = ac.parts.fundamental_reactive_power_var;
  document["fundamental_apparent_power_VA"] = terms.fundamental_apparent_power_VA;
  document["non_fundamental_apparent_power_VA"] = terms.non_fundamental_apparent_power_VA;
  document["voltage_distortion_power_var"] = terms.voltage_distortion_power_var;
  document["current_distortion_power_var"] = terms.current_distortion_power_var;
  document["harmonic_apparent_power_VA"] = terms.harmonic_apparent_power_VA;
  document["harmonic_active_power_W"] = terms.harmonic_active_power_W;
  document["harmonic_distortion_power_var"] = terms.harmonic_distortion_power_var;
  document["nonactive_power_var"] = terms.nonactive_power_var;
  document["displacement_factor"] = terms.displacement_factor;
  put_distortion("voltage", ac.voltage_distortion, document);
  put_distortion("current", ac.current_distortion, document);
  document["voltage_total_distortion_pct"] = percent * terms.voltage_distortion;
  document["current_total_distortion_pct"] = percent * terms.current_distortion;
}

void put_no_alternating(json::object& document) {
  put_alternating({}, document);
  for (auto& member : document)
    member.value() = nullptr;
}

void put_waveform(const signal::WaveformFigures& figures, const std::string& name,
                  const std::string& unit, json::object& document) {
  document[name + "_crest_factor"] = or_null(figures.crest_factor);
  document[name + "_mean_" + unit] = figures.mean;
  document[name + "_rectified_mean_" + unit] = figures.rectified_mean;
  document[name + "_least_" + unit] = figures.least;
  document[name + "_largest_" + unit] = figures.largest;
  document[name + "_peak_to_peak_" + unit] = figures.largest - figures.least;
  document[name + "_ripple_rms_" + unit] = figures.ripple_rms;
  document[name + "_ripple_factor_pct"] = or_null(figures.ripple_factor, percent);
}

// Orders 0 to 50; null where the sample rate does not carry them.
json::array harmonics_of(const signal::AlternatingPower& ac) {
  json::array harmonics;
  for (std::size_t order = 0; order <= signal::most_orders; ++order) {
    json::object one{{"order", order},
                     {"voltage_V", nullptr},
                     {"current_A", nullptr},
                     {"voltage_phase_deg", nullptr},
                     {"current_phase_deg", nullptr}};
    if (order < ac.harmonics.size()) {
      const signal::PairHarmonic& harmonic = ac.harmonics[order];
      one["voltage_V"] = harmonic.voltage_V;
      one["current_A"] = harmonic.current_A;
      one["voltage_phase_deg"] = degrees(harmonic.voltage_phase_rad);
      one["current_phase_deg"] = degrees(harmonic.current_phase_rad);
    }
    harmonics.push_back(one);
  }
  return harmonics;
}

json::array groups_of(const signal::AlternatingPower& ac) {
  json::array groups;
  for (std::size_t order = 0; order < ac.voltage_groups.size(); ++order) {
    const signal::HarmonicGroup& v = ac.voltage_groups[order];
    const signal::HarmonicGroup& i = ac.current_groups[order];
    groups.push_back({{"order", order},
                      {"voltage_group_V", v.group},
                      {"voltage_subgroup_V", v.subgroup},
                      {"voltage_interharmonic_subgroup_V", v.interharmonic_subgroup},
                      {"current_group_A", i.group},
                      {"current_subgroup_A", i.subgroup},
                      {"current_interharmonic_subgroup_A", i.interharmonic_subgroup}});
  }
  return groups;
}

void put_windows(const ShownPower& shown, json::object& document) {
  const auto& ac = shown.power.alternating;
  document["analysed_s"] = shown.power.analysed_s;
  document["sample_rate_hz"] = shown.waveforms.sample_rate_hz;
  if (ac) {
    document["windows"] = {{"count", ac->windows},
                           {"cycles", ac->cycles},
                           {"lowest_frequency_Hz", ac->lowest_frequency_Hz},
                           {"highest_frequency_Hz", ac->highest_frequency_Hz}};
    document["bandwidth"] = {{"highest_order", ac->bandwidth.highest_order},
                             {"pass_Hz", ac->bandwidth.pass_Hz},
                             {"stop_Hz", ac->bandwidth.stop_Hz},
                             {"text", signal::bandwidth_text(ac->bandwidth)}};
  }
  json::array gaps;
  for (const analysis::WaveformGap& gap : shown.waveforms.gaps)
    gaps.push_back({{"at_s", gap.at_s}, {"missing_s", gap.missing_s}});
  document["gaps"] = gaps;
  json::array remarks;
  for (const std::string& remark : shown.waveforms.remarks)
    remarks.emplace_back(remark);
  document["remarks"] = remarks;
}

}  // namespace

std::string power_json(const ShownPower& shown) {
  const signal::PairPower& power = shown.power;
  json::object document;
  if (power.alternating) {
    put_alternating(*power.alternating, document);
  } else {
    put_no_alternating(document);
  }
  document["direct"] = !power.alternating.has_value();
  document["voltage_rms_V"] = power.voltage.rms;
  document["current_rms_A"] = power.current.rms;
  document["active_power_W"] = power.active_power_W;
  document["apparent_power_VA"] = power.apparent_power_VA;
  put_waveform(power.voltage, "voltage", "V", document);
  put_waveform(power.current, "current", "A", document);
  put_windows(shown, document);
  document["harmonics"] = power.alternating ? harmonics_of(*power.alternating) : json::array();
  document["groups"] = power.alternating ? groups_of(*power.alternating) : json::array();
  return base::json_text(document);
}

}  // namespace windwright::cli
