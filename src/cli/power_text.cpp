// SPDX-License-Identifier: Apache-2.0
#include "analysis/waveforms.h"
#include "cli/power_shown.h"
#include "signal/ac_power.h"
#include "signal/bandwidth.h"
#include "signal/harmonic_groups.h"

#include <fmt/format.h>

#include <algorithm>
#include <cstddef>
#include <iterator>
#include <numbers>
#include <string>

namespace windwright::cli {

namespace {

constexpr double percent = 100.0;
constexpr double least_shown = 1e-3;  // of the fundamental

using Text = std::back_insert_iterator<std::string>;

void put(Text out, const char* name, double value, const char* unit) {
  fmt::format_to(out, "{:<34}{:>12.6g} {}\n", name, value, unit);
}

double degrees(double angle_rad) {
  return angle_rad * 180.0 / std::numbers::pi;
}

void put_waveforms(Text out, const ShownPower& shown) {
  const signal::WaveformFigures& v = shown.power.voltage;
  const signal::WaveformFigures& i = shown.power.current;
  const auto row = [&](const char* name, double of_v, double of_i) {
    fmt::format_to(out, "{:<34}{:>12.6g} {:>12.6g}\n", name, of_v, of_i);
  };
  fmt::format_to(out, "{:<34}{:>12} {:>12}\n", "", shown.voltage, shown.current);
  row("RMS (V, A)", v.rms, i.rms);
  row("mean", v.mean, i.mean);
  row("rectified mean", v.rectified_mean, i.rectified_mean);
  row("least", v.least, i.least);
  row("largest", v.largest, i.largest);
  row("peak to peak", v.largest - v.least, i.largest - i.least);
  if (!shown.power.alternating) {
    row("ripple, RMS", v.ripple_rms, i.ripple_rms);
    if (v.ripple_factor && i.ripple_factor) {
      row("ripple factor, %", percent * *v.ripple_factor, percent * *i.ripple_factor);
    }
    return;
  }
  const signal::AlternatingPower& ac = *shown.power.alternating;
  if (v.crest_factor && i.crest_factor) row("crest factor", *v.crest_factor, *i.crest_factor);
  row("fundamental, RMS", ac.parts.fundamental_voltage_V, ac.parts.fundamental_current_A);
  if (ac.voltage_distortion) {
    const signal::Distortion of_v = *ac.voltage_distortion;
    const signal::Distortion of_i = ac.current_distortion.value_or(signal::Distortion{});
    row(fmt::format("THD, orders 2 to {}, %", ac.bandwidth.highest_order).c_str(),
        percent * of_v.thd, percent * of_i.thd);
    row("THDG, groups, %", percent * of_v.thdg, percent * of_i.thdg);
    row("THDS, subgroups, %", percent * of_v.thds, percent * of_i.thds);
  }
  row("all that is not fundamental, %", percent * ac.terms.voltage_distortion,
      percent * ac.terms.current_distortion);
}

void put_powers(Text out, const signal::PairPower& power) {
  put(out, "active power", power.active_power_W, "W");
  if (!power.alternating) return;
  const signal::AlternatingPower& ac = *power.alternating;
  put(out, "apparent power", ac.terms.apparent_power_VA, "VA");
  put(out, "power factor", ac.terms.power_factor, "");
  put(out, "fundamental active power", ac.parts.fundamental_active_power_W, "W");
  put(out, "fundamental reactive power", ac.parts.fundamental_reactive_power_var, "var");
  put(out, "fundamental apparent power", ac.terms.fundamental_apparent_power_VA, "VA");
  put(out, "displacement factor", ac.terms.displacement_factor, "");
  put(out, "non-fundamental apparent power", ac.terms.non_fundamental_apparent_power_VA, "VA");
  put(out, "  current distortion power", ac.terms.current_distortion_power_var, "var");
  put(out, "  voltage distortion power", ac.terms.voltage_distortion_power_var, "var");
  put(out, "  harmonic apparent power", ac.terms.harmonic_apparent_power_VA, "VA");
}

void put_harmonics(Text out, const signal::AlternatingPower& ac) {
  fmt::format_to(out, "\n{:>5} {:>12} {:>9} {:>10} {:>12} {:>9} {:>10}\n", "order", "voltage, V",
                 "% of 1st", "phase, deg", "current, A", "% of 1st", "phase, deg");
  const signal::PairHarmonic& first = ac.harmonics[1];
  const auto share = [](double part, double whole) { return whole > 0.0 ? part / whole : 0.0; };
  for (std::size_t order = 0; order < ac.harmonics.size(); ++order) {
    const signal::PairHarmonic& one = ac.harmonics[order];
    const double of_v = share(one.voltage_V, first.voltage_V);
    const double of_i = share(one.current_A, first.current_A);
    if (std::max(of_v, of_i) < least_shown) continue;
    fmt::format_to(out, "{:>5} {:>12.6g} {:>9.3f} {:>10.2f} {:>12.6g} {:>9.3f} {:>10.2f}\n", order,
                   one.voltage_V, percent * of_v, degrees(one.voltage_phase_rad), one.current_A,
                   percent * of_i, degrees(one.current_phase_rad));
  }
}

}  // namespace

std::string power_text(const ShownPower& shown) {
  std::string text;
  Text out(text);
  const signal::PairPower& power = shown.power;
  if (power.alternating) {
    const signal::AlternatingPower& ac = *power.alternating;
    fmt::format_to(out, "{:.4f} Hz ({:.4f} to {:.4f}), {} windows of {} cycles, {:.4g} s\n\n",
                   ac.frequency_Hz, ac.lowest_frequency_Hz, ac.highest_frequency_Hz, ac.windows,
                   ac.cycles, power.analysed_s);
  } else {
    fmt::format_to(out,
                   "The voltage is direct: its alternating part is below a tenth of its mean. No "
                   "frequency, no harmonics. {:.4g} s\n\n",
                   power.analysed_s);
  }
  put_waveforms(out, shown);
  text += '\n';
  put_powers(out, power);
  if (power.alternating) {
    put_harmonics(out, *power.alternating);
    fmt::format_to(out, "\n{}\n", signal::bandwidth_text(power.alternating->bandwidth));
  }
  for (const analysis::WaveformGap& gap : shown.waveforms.gaps) {
    fmt::format_to(out, "gap: {:.6g} s are missing before {:.6g} s; no window bridges it\n",
                   gap.missing_s, gap.at_s);
  }
  for (const std::string& remark : shown.waveforms.remarks)
    fmt::format_to(out, "warning: {}\n", remark);
  return text;
}

}  // namespace windwright::cli
