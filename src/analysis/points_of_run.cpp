// SPDX-License-Identifier: Apache-2.0
// Samples become points here: docs/theory/reduction.md has the equations.
#include "analysis/points.h"
#include "base/errors.h"
#include "bench/bench.h"
#include "campaign/conductor.h"
#include "metrology/certificate.h"
#include "metrology/correlated.h"
#include "metrology/estimate.h"
#include "recording/recording.h"
#include "signal/statistics.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <limits>
#include <map>
#include <numeric>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace windwright::analysis {

namespace {

using metrology::Estimate;

constexpr double infinity = std::numeric_limits<double>::infinity();

double mean_of(std::size_t samples, auto&& term) {
  double sum = 0.0;
  for (std::size_t i = 0; i < samples; ++i)
    sum += term(i);
  return sum / static_cast<double>(samples);
}

// One channel over one dwell. A systematic input k shifts the value v by shift[k] + tilt[k] (v -
// middle): taken from the certificate one standard deviation below and above the mean. Exact for a
// line; for a curved certificate the second order of the scatter is left out.
struct Signal {
  std::string name;
  std::vector<double> values;
  double middle = 0.0;
  struct Systematic {
    double shift;
    double tilt;
    double dof;
  };
  std::map<std::string, Systematic> systematic;
  double resolution = 0.0;  // standard uncertainty of the converter's step where noise hides it not
  bool covered = true;

  bool alternating() const { return bench::is_alternating(name); }
};

bool is_residual(std::string_view input) {
  return input.find(":residual-") != std::string_view::npos;
}

// Of an alternating signal the residual counts as it is one standard deviation above the mean, for
// signals of like size to share it.
void take_systematic(const metrology::Certificate& certificate, double mean_V, double deviation_V,
                     Signal& signal) {
  const Estimate below = metrology::estimate_of(certificate, mean_V - deviation_V);
  const Estimate above = metrology::estimate_of(certificate, mean_V + deviation_V);
  signal.middle = 0.5 * (below.value() + above.value());
  const double width = above.value() - below.value();
  const auto u_in = [](const Estimate& estimate, const std::string& input) {
    const auto found = estimate.contributions().find(input);
    return found == estimate.contributions().end() ? 0.0 : found->second.u;
  };
  for (const Estimate* estimate : {&below, &above}) {
    for (const auto& [input, contribution] : estimate->contributions()) {
      const double at_above = u_in(above, input);
      const bool same = signal.alternating() && is_residual(input);
      const double at_below = same ? at_above : u_in(below, input);
      signal.systematic[input] = {.shift = 0.5 * (at_below + at_above),
                                  .tilt = (at_above - at_below) / width,
                                  .dof = contribution.dof};
    }
  }
}

// A slow channel's first sample after a gap is the mean since then: it stands for all of them.
std::vector<std::int32_t> counts_of(const recording::Recording& recording,
                                    const std::string& channel,
                                    const campaign::TestPoint& test_point) {
  auto counts = recording.counts(channel, test_point.first_sample, test_point.samples);
  const std::int64_t known =
      recording.known_from(channel, test_point.first_sample) - test_point.first_sample;
  if (known >= test_point.samples) {
    throw base::BadInput(fmt::format("test point {}", test_point.number),
                         fmt::format("has no sample of {} since the gap before it", channel),
                         "a longer dwell, or a quicker channel");
  }
  std::fill_n(counts.begin(), known, counts[static_cast<std::size_t>(known)]);
  return counts;
}

Signal signal_of(const campaign::Run& run, const recording::Recording& recording,
                 std::size_t channel, const campaign::TestPoint& test_point) {
  const bench::Channel& description = run.bench.channels[channel];
  const metrology::Certificate& certificate = run.certificates[channel];
  const auto counts = counts_of(recording, description.name, test_point);
  std::vector<double> volts(counts.size());
  for (std::size_t i = 0; i < counts.size(); ++i)
    volts[i] = bench::volts(description.converter, counts[i]);
  Signal signal;
  signal.name = description.name;
  signal.values.resize(volts.size());
  metrology::values_of(certificate, volts, signal.values);
  const double mean_V = signal::mean(volts);
  const double deviation_V = std::sqrt(signal::variance(volts));
  const double step_V = (description.converter.upper_V - description.converter.lower_V) *
                        std::pow(2.0, -description.converter.bits);
  take_systematic(certificate, mean_V, std::max(deviation_V, step_V), signal);
  // Noise that does not reach from one step to the next hides what lies between: the value is
  // anywhere in the step (rectangular distribution, JCGM 100:2008 F.2.2.1).
  if (deviation_V < step_V) {
    signal.resolution =
        step_V / std::sqrt(12.0) * std::abs(metrology::sensitivity(certificate, mean_V));
  }
  signal.covered = signal.alternating() ? metrology::covers(certificate, mean_V - deviation_V) &&
                                              metrology::covers(certificate, mean_V + deviation_V)
                                        : metrology::covers(certificate, mean_V);
  return signal;
}

// A quantity that is the mean over the dwell of a function f of one or two signals, then scaled.
struct Product {
  std::string name;
  std::vector<double> samples;  // f, sample by sample
  struct Part {
    const Signal* signal;
    double whole;   // mean of df/dv
    double tilted;  // mean of df/dv (v - middle)
    double rms;     // root mean square of df/dv
  };
  std::vector<Part> parts;
  bool is_square = false;  // the quantity is the root of the mean
};

Product::Part part_of(const Signal& signal, auto&& slope) {
  const std::size_t n = signal.values.size();
  return {.signal = &signal,
          .whole = mean_of(n, slope),
          .tilted = mean_of(
              n, [&](std::size_t i) { return slope(i) * (signal.values[i] - signal.middle); }),
          .rms = std::sqrt(mean_of(n, [&](std::size_t i) { return slope(i) * slope(i); }))};
}

Product plain_mean(const Signal& signal) {
  return {.name = signal.name,
          .samples = signal.values,
          .parts = {part_of(signal, [](std::size_t) { return 1.0; })}};
}

Product root_mean_square(const Signal& signal) {
  Product product{.name = signal.name, .samples = signal.values, .parts = {}, .is_square = true};
  for (double& v : product.samples)
    v *= v;
  product.parts = {part_of(signal, [&](std::size_t i) { return 2.0 * signal.values[i]; })};
  return product;
}

Product mean_cube(const Signal& speed) {
  Product product{.name = "air_speed_cubed_m3_s3", .samples = speed.values, .parts = {}};
  for (double& v : product.samples)
    v = v * v * v;
  product.parts = {
      part_of(speed, [&](std::size_t i) { return 3.0 * speed.values[i] * speed.values[i]; })};
  return product;
}

struct Pair {
  const Signal* voltage;
  const Signal* current;
};

Product mean_power(std::string name, double times, const std::vector<Pair>& pairs) {
  Product product{.name = std::move(name),
                  .samples = std::vector<double>(pairs.front().voltage->values.size()),
                  .parts = {}};
  for (const Pair& pair : pairs) {
    const std::vector<double>& voltage = pair.voltage->values;
    const std::vector<double>& current = pair.current->values;
    for (std::size_t i = 0; i < product.samples.size(); ++i)
      product.samples[i] += times * voltage[i] * current[i];
    product.parts.push_back(
        part_of(*pair.voltage, [&](std::size_t i) { return times * current[i]; }));
    product.parts.push_back(
        part_of(*pair.current, [&](std::size_t i) { return times * voltage[i]; }));
  }
  return product;
}

// An error of fixed size averages out over an alternating signal, one that grows with the signal
// does not. Of what the curve does not follow, and of drift, nobody knows which it is: both are
// taken at the most that they can do to the mean (Cauchy and Schwarz).
bool of_unknown_shape(const Signal& signal, std::string_view input) {
  return signal.alternating() && (is_residual(input) || input.ends_with(":drift"));
}

void add_systematic(const Product& product, double scale, Estimate& estimate) {
  for (const Product::Part& part : product.parts) {
    for (const auto& [input, effect] : part.signal->systematic) {
      const double u = of_unknown_shape(*part.signal, input)
                           ? effect.shift * part.rms
                           : effect.shift * part.whole + effect.tilt * part.tilted;
      estimate.add(input, {.u = scale * u, .dof = effect.dof});
    }
    if (part.signal->resolution > 0.0) {
      estimate.add(fmt::format("random-resolution-{}", part.signal->name),
                   {.u = scale * part.signal->resolution * part.whole, .dof = infinity});
    }
  }
}

// Root of a mean of squares; the derivative of the root scales what belongs to the mean.
struct Scaled {
  double value;
  double scale;
};
Scaled scaled(const Product& product, double mean) {
  if (!product.is_square) return {.value = mean, .scale = 1.0};
  const double root = std::sqrt(std::max(mean, 0.0));
  return {.value = root, .scale = root > 0.0 ? 0.5 / root : 0.0};
}

// Random inputs belong to their row: the file marks them by name, the point by its number.
std::string of_point(std::string_view input, int number) {
  return fmt::format("{}#{}", input, number);
}

Estimate estimate_of(const Product& product, const Scaled& at, int number) {
  Estimate fixed;
  add_systematic(product, at.scale, fixed);
  Estimate result(at.value);
  for (const auto& [input, contribution] : fixed.contributions())
    result.add(input.starts_with("random") ? of_point(input, number) : input, contribution);
  return result;
}

// Quantities of the same instants scatter together: their covariance becomes a few independent
// inputs, one column of its triangular root each.
void add_together(const std::vector<Product>& products, int number, Point& point) {
  std::vector<std::span<const double>> series;
  for (const Product& product : products)
    series.emplace_back(product.samples);
  const auto means = signal::means_of_correlated(series);
  const std::size_t size = products.size();
  const std::vector<double> root = metrology::decorrelated(means.covariance, size);
  for (std::size_t row = 0; row < size; ++row) {
    const Scaled at = scaled(products[row], means.means[row]);
    Estimate estimate = estimate_of(products[row], at, number);
    for (std::size_t input = 0; input <= row; ++input) {
      const double u = at.scale * root[row * size + input];
      if (u != 0.0) {
        estimate.add(of_point(fmt::format("random-{}", input), number), {.u = u, .dof = means.dof});
      }
    }
    point.quantities.emplace(products[row].name, std::move(estimate));
  }
}

void add_alone(const Product& product, int number, Point& point) {
  const auto mean = signal::mean_of_correlated(product.samples);
  const Scaled at = scaled(product, mean.mean);
  Estimate estimate = estimate_of(product, at, number);
  if (mean.u > 0.0) {
    estimate.add(of_point("random-" + product.name, number),
                 {.u = at.scale * mean.u, .dof = mean.dof});
  }
  point.quantities.emplace(product.name, std::move(estimate));
}

Estimate factor_of(double value, const char* input, double u) {
  Estimate factor(value);
  if (u > 0.0) factor.add(input, {.u = u, .dof = infinity});
  return factor;
}

// From the sensor's place to the rotor disc: the mean over it, and the mean of the cube.
void move_air_speed_to_disc(const bench::Bench& bench, Point& point) {
  const Estimate factor =
      factor_of(bench.position_factor, "air_speed:position", bench.u_position_factor);
  Estimate& speed_m_s = point.quantities.at("air_speed_m_s");
  speed_m_s = factor * speed_m_s;
  const bench::DiscCube& disc = bench.disc_cube;
  Estimate& cube = point.quantities.at("air_speed_cubed_m3_s3");
  cube = metrology::power(factor, 3.0) * cube;
  cube = factor_of(disc.profile, "air_speed:profile", disc.u_profile) * cube;
  cube = factor_of(disc.unresolved_turbulence, "air_speed:unresolved-turbulence",
                   disc.u_unresolved_turbulence) *
         cube;
}

Point settings_of(const campaign::Run& run, const campaign::TestPoint& test_point) {
  Point point;
  point.number = test_point.number;
  point.settled = test_point.settled;
  point.blade_count = run.bench.rotor.blades;
  point.pitch_deg = std::round(run.bench.rotor.pitch_rad * 180.0 / std::numbers::pi * 1e9) / 1e9;
  const auto take = [&](const campaign::Setting& setting) {
    const double value = campaign::commanded_value(setting, run.bench);
    if (setting.actuator == "blade_count") {
      point.blade_count = static_cast<int>(std::lround(value));
    } else if (setting.actuator == "pitch_deg") {
      point.pitch_deg = value;
    } else {
      const auto& factors = run.campaign.factors;
      const bool hard = std::any_of(factors.begin(), factors.end(), [&](const auto& factor) {
        return factor.actuator == setting.actuator && factor.hard_to_change;
      });
      (hard ? point.block_settings : point.settings)[setting.actuator] = value;
    }
  };
  std::for_each(run.campaign.constants.begin(), run.campaign.constants.end(), take);
  std::for_each(test_point.settings.begin(), test_point.settings.end(), take);
  return point;
}

// A pulsed charge controller's terminals show means over its pulses, and the product of means is
// not the power. It loses nothing itself, so what it gives to the bus is that power.
Pair dc_pair(const bench::Bench& bench, auto&& signal) {
  const Pair at_bridge{.voltage = signal("dc_voltage_V"), .current = signal("dc_current_A")};
  if (!bench.chain || !is_pulsed(bench.chain->setup.chain.controller.source)) return at_bridge;
  const Pair at_bus{.voltage = signal("battery_voltage_V"), .current = signal("charge_current_A")};
  if (at_bus.voltage == nullptr || at_bus.current == nullptr) {
    throw base::BadInput(
        bench.file.string(),
        "mean voltage times mean current of a pulsed charge controller is no power",
        "channels battery_voltage_V and charge_current_A");
  }
  return at_bus;
}

Point point_of(const campaign::Run& run, const recording::Recording& recording,
               const campaign::TestPoint& test_point) {
  Point point = settings_of(run, test_point);
  std::vector<Signal> signals;
  for (std::size_t channel = 0; channel < run.bench.channels.size(); ++channel)
    signals.push_back(signal_of(run, recording, channel, test_point));
  std::vector<Product> together;
  const auto signal = [&](std::string_view name) -> const Signal* {
    const auto found = std::find_if(signals.begin(), signals.end(),
                                    [&](const Signal& each) { return each.name == name; });
    return found == signals.end() ? nullptr : &*found;
  };
  for (const Signal& each : signals) {
    if (!each.covered) point.beyond_certificate.insert(each.name);
    const bool slow = each.name.starts_with("air_") && each.name != "air_speed_m_s";
    if (slow) {
      add_alone(plain_mean(each), point.number, point);
    } else {
      together.push_back(each.alternating() ? root_mean_square(each) : plain_mean(each));
    }
  }
  together.push_back(mean_cube(*signal("air_speed_m_s")));
  together.push_back(mean_power("dc_power_W", 1.0, {dc_pair(run.bench, signal)}));
  std::vector<Pair> phases;
  for (const char* phase : {"", "_b", "_c"}) {
    const Pair pair{.voltage = signal(fmt::format("ac_voltage{}_V", phase)),
                    .current = signal(fmt::format("ac_current{}_A", phase))};
    if (pair.voltage != nullptr && pair.current != nullptr) phases.push_back(pair);
  }
  // Of one phase alone the others are taken to be as it is; two without the third say no more.
  if (phases.size() == 2) phases.pop_back();
  if (!phases.empty()) {
    together.push_back(mean_power("ac_power_W", 3.0 / static_cast<double>(phases.size()), phases));
  }
  // Branches of the DC bus, all at its voltage.
  for (const auto& [current, power] : {std::pair{"battery_current_A", "battery_power_W"},
                                       {"charge_current_A", "charge_power_W"},
                                       {"dump_current_A", "dump_power_W"},
                                       {"inverter_input_A", "inverter_input_W"}}) {
    const Pair pair{.voltage = signal("battery_voltage_V"), .current = signal(current)};
    if (pair.voltage != nullptr && pair.current != nullptr)
      together.push_back(mean_power(power, 1.0, {pair}));
  }
  add_together(together, point.number, point);
  move_air_speed_to_disc(run.bench, point);
  return point;
}

campaign::TestPoint stretch_of(const campaign::Run& run, const recording::Recording& recording,
                               const Window& window, int number) {
  const std::string where = fmt::format("window {:g}:{:g}", window.from_s, window.to_s);
  const double rate_hz = recording.sample_rate_hz();
  const double length_s = static_cast<double>(recording.samples()) / rate_hz;
  const bool inside = window.from_s >= 0.0 && window.to_s <= length_s;
  if (!inside || !(window.to_s - window.from_s >= 4.0 * run.bench.block_s)) {
    throw base::BadInput(where, "is not a stretch of the recording",
                         fmt::format("FROM:TO inside 0 to {:g} s, at least {:g} s long", length_s,
                                     4.0 * run.bench.block_s));
  }
  const auto first = static_cast<std::int64_t>(std::llround(window.from_s * rate_hz));
  const auto end =
      std::min(static_cast<std::int64_t>(std::llround(window.to_s * rate_hz)), recording.samples());
  for (const recording::Gap& gap : recording.gaps()) {
    if (gap.before_sample > first && gap.before_sample < end) {
      throw base::BadInput(where, "holds a gap of the recording",
                           fmt::format("a window on one side of {:g} s",
                                       static_cast<double>(gap.before_sample) / rate_hz));
    }
  }
  const auto ahead = std::find_if(run.points.begin(), run.points.end(), [&](const auto& point) {
    return point.first_sample + point.samples > first;
  });
  campaign::TestPoint stretch =
      ahead != run.points.end() ? *ahead
                                : (run.points.empty() ? campaign::TestPoint{} : run.points.back());
  stretch.number = number;
  stretch.first_sample = first;
  stretch.samples = end - first;
  return stretch;
}

Estimate speed_of_block(std::span<const double> speed_rad_s, const std::string& name) {
  const auto mean = signal::mean_of_correlated(speed_rad_s);
  return Estimate(mean.mean, {{"random-speed-" + name, {.u = mean.u, .dof = mean.dof}}});
}

}  // namespace

std::vector<Point> points_of_run(const campaign::Run& run) {
  const recording::Recording recording(run.recording);
  std::vector<Point> points;
  for (const campaign::TestPoint& test_point : run.points)
    points.push_back(point_of(run, recording, test_point));
  return points;
}

std::vector<WindowPoint> points_of_windows(const campaign::Run& run,
                                           const std::vector<Window>& windows) {
  const recording::Recording recording(run.recording);
  std::vector<WindowPoint> points;
  for (const Window& window : windows) {
    const campaign::TestPoint stretch =
        stretch_of(run, recording, window, static_cast<int>(points.size()) + 1);
    const auto speeds =
        signal_of(run, recording, run.bench.channel_index("rotor_speed_rad_s"), stretch);
    const auto block =
        static_cast<std::size_t>(std::lround(run.bench.block_s * recording.sample_rate_hz()));
    const std::span<const double> values(speeds.values);
    points.push_back({.point = point_of(run, recording, stretch),
                      .first_speed_rad_s = speed_of_block(values.first(block),
                                                          fmt::format("first#{}", stretch.number)),
                      .last_speed_rad_s = speed_of_block(values.last(block),
                                                         fmt::format("last#{}", stretch.number))});
  }
  return points;
}

}  // namespace windwright::analysis
