// SPDX-License-Identifier: Apache-2.0
#include "physics/led_lamp.h"

#include "base/errors.h"
#include "physics/ac_supply.h"
#include "physics/load_flow.h"

#include <boost/math/tools/toms748_solve.hpp>
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <cstdint>
#include <numbers>
#include <span>

namespace windwright::physics {
namespace {

constexpr double pi = std::numbers::pi;
constexpr int sine_steps = 512;
constexpr int fine_sine_steps = 2048;
constexpr int pulse_steps = 192;
constexpr int rest_steps = 8;

double capacitor_V(const LedLamp& lamp, double capacitor_J) {
  return std::sqrt(2.0 * std::max(0.0, capacitor_J) / lamp.capacitance_F);
}

// Of the driver below its lowest voltage: power over voltage squared.
double driver_conductance(const LedLamp& lamp) {
  return lamp.power_W / (lamp.lowest_voltage_V * lamp.lowest_voltage_V);
}

double driver_W(const LedLamp& lamp, double capacitor_voltage_V) {
  const double part = std::min(1.0, capacitor_voltage_V / lamp.lowest_voltage_V);
  return lamp.power_W * part * part;
}

// Midpoint voltage u of a step, with du/d(right hand): a u^2 - b u + P = 0 above the lowest
// voltage, (a + g) u = b below it. One of them fits, because a > g.
struct Root {
  double voltage_V;
  double slope;  // du / db
};

Root root_of(const LedLamp& lamp, double a, double b) {
  const double square = b * b - 4.0 * a * lamp.power_W;
  if (square > 0.0) {
    const double upper_V = (b + std::sqrt(square)) / (2.0 * a);
    if (upper_V >= lamp.lowest_voltage_V)
      return {.voltage_V = upper_V, .slope = upper_V / std::sqrt(square)};
  }
  const double sum = a + driver_conductance(lamp);
  return {.voltage_V = b / sum, .slope = 1.0 / sum};
}

struct Step {
  double from_turns;
  double to_turns;
  double length_s;
  double magnitude_V;  // of the supply at its middle
};

// What half a period adds up to. The slope is by the scale of the supply's voltage.
struct HalfPeriod {
  double capacitor_V;
  double capacitor_slope_V = 0.0;
  double electrical_J = 0.0;
  double series_J = 0.0;
  double bridge_J = 0.0;
  double driver_J = 0.0;
  double stored_J = 0.0;
  double square_A2_s = 0.0;
  double slope_J = 0.0;
};

// Implicit midpoint: i u = C u (u1 - u0) / h + driver, and C u (u1 - u0) is the change of C u^2
// / 2.
double advance(const LedLamp& lamp, const Step& step, HalfPeriod& sum) {
  const double start_V = sum.capacitor_V;
  const double c = 2.0 * lamp.capacitance_F / step.length_s;
  const double forward_V = step.magnitude_V - lamp.bridge_drop_V;
  Root middle = root_of(lamp, c, c * start_V);
  double middle_slope_V = middle.slope * c * sum.capacitor_slope_V;
  double current_A = 0.0;
  if (forward_V > middle.voltage_V) {
    middle = root_of(lamp, c + 1.0 / lamp.series_ohm, c * start_V + forward_V / lamp.series_ohm);
    middle_slope_V =
        middle.slope * (c * sum.capacitor_slope_V + step.magnitude_V / lamp.series_ohm);
    current_A = std::max(0.0, (forward_V - middle.voltage_V) / lamp.series_ohm);
    const double current_slope_A = (step.magnitude_V - middle_slope_V) / lamp.series_ohm;
    sum.slope_J += step.length_s * step.magnitude_V * (current_A + current_slope_A);
  }
  const double end_V = std::max(0.0, 2.0 * middle.voltage_V - start_V);
  const double charge_A_s = current_A * step.length_s;
  const double bridge_J = lamp.bridge_drop_V * charge_A_s;
  const double series_J = lamp.series_ohm * current_A * charge_A_s;
  const double into_J = std::max(0.0, step.magnitude_V * charge_A_s - bridge_J - series_J);
  const double stored_J = 0.5 * lamp.capacitance_F * (end_V - start_V) * (end_V + start_V);
  sum.electrical_J += bridge_J + series_J + into_J;
  sum.bridge_J += bridge_J;
  sum.series_J += series_J;
  sum.driver_J += into_J - stored_J;
  sum.stored_J += stored_J;
  sum.square_A2_s += current_A * charge_A_s;
  sum.capacitor_V = end_V;
  sum.capacitor_slope_V = 2.0 * middle_slope_V - sum.capacitor_slope_V;
  return current_A;
}

// Steps of equal length, or growing along the stretch from a part of the charging time on: the
// current that starts with a pulse's edge decays in that time.
struct Stretch {
  double from_turns;
  double to_turns;
  int steps;
  double growth;  // ln of last over first step, about
};

template <class Visit>
void run_stretch(const LedLamp& lamp, const AcSupply& supply, const Stretch& stretch,
                 HalfPeriod& sum, Visit& visit) {
  const double span = stretch.to_turns - stretch.from_turns;
  double before = stretch.from_turns;
  for (int i = 1; i <= stretch.steps; ++i) {
    const double part = static_cast<double>(i) / stretch.steps;
    const double grown = stretch.growth > 0.0
                             ? std::expm1(stretch.growth * part) / std::expm1(stretch.growth)
                             : part;
    const double next = i == stretch.steps ? stretch.to_turns : stretch.from_turns + span * grown;
    const double middle = 0.5 * (before + next);
    const double magnitude_V = supply.kind == OutputKind::sine
                                   ? supply.peak_V * std::sin(2.0 * pi * middle)
                                   : voltage_V(supply, middle);
    const Step step{.from_turns = before,
                    .to_turns = next,
                    .length_s = (next - before) / supply.frequency_Hz,
                    .magnitude_V = std::max(0.0, magnitude_V)};
    visit(step, advance(lamp, step, sum));
    before = next;
  }
}

// First step of a pulse about a 24th of the charging time: (exp(g) - 1) / g = wanted.
double pulse_growth(const LedLamp& lamp, double pulse_s) {
  const double wanted = pulse_s / (lamp.series_ohm * lamp.capacitance_F) * 24.0 / pulse_steps;
  if (wanted <= 1.0) return 0.0;
  double growth = 9.0;
  for (int i = 0; i < 40; ++i)
    growth = std::log1p(wanted * growth);
  return std::min(growth, 9.0);
}

template <class Visit>
HalfPeriod half_period(const LedLamp& lamp, double capacitor_J, const AcSupply& supply,
                       int steps_on_sine, Visit visit) {
  HalfPeriod sum{.capacitor_V = capacitor_V(lamp, capacitor_J)};
  if (supply.kind == OutputKind::sine) {
    run_stretch(lamp, supply,
                {.from_turns = 0.0, .to_turns = 0.5, .steps = steps_on_sine, .growth = 0.0}, sum,
                visit);
    return sum;
  }
  const double share = supply.kind == OutputKind::square ? 1.0 : supply.pulse_share;
  const double rest = 0.25 * (1.0 - share);
  const Stretch pause{.from_turns = 0.0, .to_turns = rest, .steps = rest_steps, .growth = 0.0};
  if (rest > 0.0) run_stretch(lamp, supply, pause, sum, visit);
  if (share > 0.0) {
    run_stretch(lamp, supply,
                {.from_turns = rest,
                 .to_turns = 0.5 - rest,
                 .steps = pulse_steps,
                 .growth = pulse_growth(lamp, 0.5 * share / supply.frequency_Hz)},
                sum, visit);
  }
  if (rest > 0.0) {
    run_stretch(lamp, supply,
                {.from_turns = 0.5 - rest, .to_turns = 0.5, .steps = rest_steps, .growth = 0.0},
                sum, visit);
  }
  return sum;
}

// exp(-j order 2 pi turns) of every order.
struct Turned {
  double turns;
  Harmonics powers;
};

Turned turned_by(double turns) {
  Turned result{.turns = turns, .powers = {}};
  std::complex<double> power = std::polar(1.0, -2.0 * pi * turns);
  const double cosine = power.real() * power.real() - power.imag() * power.imag();
  const double sine = 2.0 * power.real() * power.imag();
  for (std::complex<double>& each : result.powers) {
    each = power;
    power = {power.real() * cosine - power.imag() * sine,
             power.real() * sine + power.imag() * cosine};
  }
  return result;
}

PowerSplit split_of(const LedLamp& lamp, const HalfPeriod& sum, double length_s) {
  const double light_J = lamp.light_share * sum.driver_J;
  return {.electrical_W = sum.electrical_J / length_s,
          .heat_W = (sum.bridge_J + sum.series_J + sum.driver_J - light_J) / length_s,
          .radiated_W = light_J / length_s,
          .mechanical_W = 0.0,
          .stored_W = sum.stored_J / length_s};
}

}  // namespace

void check(const LedLamp& lamp) {
  const auto need = [](bool right, const char* wrong, const char* what) {
    if (!right) throw base::BadInput("LED lamp", wrong, what);
  };
  need(lamp.power_W > 0.0 && std::isfinite(lamp.power_W), "power is not above 0", "above 0 W");
  need(lamp.lowest_voltage_V > 0.0, "lowest voltage is not above 0", "above 0 V");
  need(lamp.bridge_drop_V >= 0.0, "bridge drop is below 0", "0 V or more");
  need(lamp.capacitance_F > 0.0, "capacitance is not above 0", "above 0 F");
  need(lamp.series_ohm > 0.0 && lamp.series_ohm < 1.0 / driver_conductance(lamp),
       "series resistance leaves more than one current to a voltage",
       "above 0 and below lowest voltage squared over power");
  need(lamp.series_ohm * lamp.capacitance_F >= 1e-5, "charging is too fast for the steps",
       "series resistance times capacitance at least 10 us");
  need(lamp.light_share >= 0.0 && lamp.light_share <= 1.0, "light share is not a share", "0 to 1");
}

DcFlow led_dc_flow(const LedLamp& lamp, double capacitor_J, double voltage_V) {
  const double held_V = capacitor_V(lamp, capacitor_J);
  const double forward_V = std::abs(voltage_V) - lamp.bridge_drop_V - held_V;
  const double current_A = std::max(0.0, forward_V / lamp.series_ohm);
  const double driver = driver_W(lamp, held_V);
  DcFlow flow;
  flow.current_A = std::copysign(current_A, voltage_V);
  flow.slope_S = current_A > 0.0 ? 1.0 / lamp.series_ohm : 0.0;
  flow.power.electrical_W = std::abs(voltage_V) * current_A;
  flow.power.radiated_W = lamp.light_share * driver;
  flow.power.heat_W = current_A * (lamp.bridge_drop_V + lamp.series_ohm * current_A) + driver -
                      flow.power.radiated_W;
  flow.power.stored_W = held_V * current_A - driver;
  flow.rates.capacitor_W = flow.power.stored_W;
  return flow;
}

AcFlow led_ac_flow(const LedLamp& lamp, double capacitor_J, const AcSupply& supply) {
  AcFlow flow;
  // Exact for a current constant over each step, so that the orders never hold more than the whole.
  Turned before = turned_by(0.0);
  const auto add_harmonics = [&](const Step& step, double current_A) {
    if (!(current_A > 0.0)) return;
    if (before.turns != step.from_turns) before = turned_by(step.from_turns);
    const Turned after = turned_by(step.to_turns);
    const double weight_A = std::numbers::sqrt2 / pi * current_A;
    for (std::size_t i = 0; i < harmonic_orders; ++i)
      flow.harmonics_A[i] += weight_A / order_of(i) * (before.powers[i] - after.powers[i]);
    before = after;
  };
  const HalfPeriod sum = half_period(lamp, capacitor_J, supply, sine_steps, add_harmonics);
  const double length_s = 0.5 / supply.frequency_Hz;
  const double supply_V = rms_V(supply);
  flow.power = split_of(lamp, sum, length_s);
  flow.rates.capacitor_W = flow.power.stored_W;
  flow.rms_current_A = std::sqrt(sum.square_A2_s / length_s);
  flow.reactive_power_var = -harmonic_V(supply, 1) * flow.harmonics_A[0].imag();
  flow.active_slope_A = supply_V > 0.0 ? sum.slope_J / length_s / supply_V : 0.0;
  return flow;
}

DcFlow led_off_flow(const LedLamp& lamp, double capacitor_J) {
  return led_dc_flow(lamp, capacitor_J, 0.0);
}

double settled_capacitor_J(const LedLamp& lamp, const AcSupply& supply) {
  const auto nothing = [](const Step&, double) {};
  const auto gained_J = [&](double capacitor_J) {
    return half_period(lamp, capacitor_J, supply, sine_steps, nothing).stored_J;
  };
  const double highest_J = 0.5 * lamp.capacitance_F * supply.peak_V * supply.peak_V;
  const double at_empty_J = gained_J(0.0);
  const double at_full_J = gained_J(highest_J);
  if (!(at_empty_J > 0.0) || !(at_full_J < 0.0)) return 0.0;
  std::uintmax_t most = 60;
  const auto bracket =
      boost::math::tools::toms748_solve(gained_J, 0.0, highest_J, at_empty_J, at_full_J,
                                        boost::math::tools::eps_tolerance<double>(46), most);
  return 0.5 * (bracket.first + bracket.second);
}

std::size_t led_current(const LedLamp& lamp, double capacitor_J, const AcSupply& supply,
                        std::span<LedPoint> points) {
  std::size_t count = 0;
  const auto keep = [&](const Step& step, double current_A) {
    if (supply.kind != OutputKind::sine && !(step.magnitude_V > 0.0)) return;
    if (count == points.size()) return;
    points[count++] = {.turns = 0.5 * (step.from_turns + step.to_turns), .current_A = current_A};
  };
  half_period(lamp, capacitor_J, supply, fine_sine_steps, keep);
  return count;
}

}  // namespace windwright::physics
