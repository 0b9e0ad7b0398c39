// SPDX-License-Identifier: Apache-2.0
#include "physics/rotor_optimum.h"

#include "base/errors.h"
#include "physics/blockage.h"
#include "physics/rotor.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <functional>
#include <optional>
#include <span>
#include <vector>

namespace windwright::physics {

namespace {

constexpr double golden = 0.6180339887498949;
constexpr int steps_between_neighbours = 16;

using Curve = std::function<double(double)>;

void check_ascending(std::span<const double> values, const char* what) {
  for (std::size_t i = 1; i < values.size(); ++i) {
    if (!(values[i] > values[i - 1])) {
      throw base::BadInput(what, fmt::format("{} after {}", values[i], values[i - 1]),
                           "ascending values");
    }
  }
}

RotorFlow flow_at(const Rotor& rotor, const OperatingLine& line, double tip_speed_ratio) {
  RotorFlow flow = line.flow;
  if (line.holds_rotor_speed) {
    flow.air_speed_m_s = flow.rotor_speed_rad_s * rotor.tip_radius_m / tip_speed_ratio;
  } else {
    flow.rotor_speed_rad_s = tip_speed_ratio * flow.air_speed_m_s / rotor.tip_radius_m;
  }
  return flow;
}

RotorLoad load_at(const Rotor& rotor, const OperatingLine& line, double tip_speed_ratio,
                  const RotorOptions& options) {
  const RotorFlow flow = flow_at(rotor, line, tip_speed_ratio);
  if (!line.section_area_m2) return rotor_load(rotor, flow, options);
  return rotor_load_in_tunnel(rotor, flow, *line.section_area_m2, options);
}

// Position of the largest between low and high, taken as the only summit there.
double golden_section(const Curve& curve, double low, double high, double tolerance) {
  double left = high - golden * (high - low);
  double right = low + golden * (high - low);
  double at_left = curve(left);
  double at_right = curve(right);
  while (high - low > tolerance) {
    if (at_left >= at_right) {
      high = right;
      right = left;
      at_right = at_left;
      left = high - golden * (high - low);
      at_left = curve(left);
    } else {
      low = left;
      left = right;
      at_left = at_right;
      right = low + golden * (high - low);
      at_right = curve(right);
    }
  }
  return at_left >= at_right ? left : right;
}

double largest_between(const Curve& curve, double low, double high, double tolerance) {
  const double step = (high - low) / steps_between_neighbours;
  double best = low;
  double most = curve(low);
  for (int i = 1; i <= steps_between_neighbours; ++i) {
    const double x = low + i * step;
    const double y = curve(x);
    if (y > most) {
      most = y;
      best = x;
    }
  }
  return golden_section(curve, std::max(low, best - step), std::min(high, best + step), tolerance);
}

// Where the curve crosses the level between one place where it does not fall short of it and one
// where it does.
double crossing(const Curve& curve, double level, double enough, double short_of) {
  const double tolerance = 1e-5 * std::max(enough, short_of);
  while (std::abs(enough - short_of) > tolerance) {
    const double middle = 0.5 * (enough + short_of);
    (curve(middle) >= level ? enough : short_of) = middle;
  }
  return 0.5 * (enough + short_of);
}

RatioRange range_above(const Curve& curve, double level, double optimum,
                       std::span<const double> ratios, std::span<const double> values) {
  RatioRange range;
  double enough = optimum;
  for (std::size_t i = 0; i < ratios.size() && !range.to; ++i) {
    if (ratios[i] <= optimum) continue;
    if (values[i] < level) range.to = crossing(curve, level, enough, ratios[i]);
    enough = ratios[i];
  }
  enough = optimum;
  for (std::size_t i = ratios.size(); i-- > 0 && !range.from;) {
    if (ratios[i] >= optimum) continue;
    if (values[i] < level) range.from = crossing(curve, level, enough, ratios[i]);
    enough = ratios[i];
  }
  return range;
}

struct Summit {
  double tip_speed_ratio;
  std::vector<double> values;  // cp on the sweep's ratios
};

std::optional<Summit> summit(const Curve& curve, std::span<const double> ratios) {
  std::vector<double> values;
  for (const double ratio : ratios)
    values.push_back(curve(ratio));
  if (values.size() < 3) return std::nullopt;
  const auto most = std::max_element(values.begin(), values.end());
  const auto best = static_cast<std::size_t>(most - values.begin());
  if (best == 0 || best + 1 == values.size() || !(*most > 0.0)) return std::nullopt;
  const double at = largest_between(curve, ratios[best - 1], ratios[best + 1], 1e-5 * ratios[best]);
  return Summit{at, std::move(values)};
}

}  // namespace

std::optional<RotorOptimum> optimum_over_ratio(const Rotor& rotor, const OperatingLine& line,
                                               std::span<const double> tip_speed_ratios,
                                               const RotorOptions& options) {
  check_ascending(tip_speed_ratios, "tip-speed ratios");
  const Curve cp = [&](double ratio) { return load_at(rotor, line, ratio, options).cp; };
  const auto found = summit(cp, tip_speed_ratios);
  if (!found) return std::nullopt;
  RotorOptimum optimum{.pitch_rad = rotor.pitch_rad,
                       .flow = flow_at(rotor, line, found->tip_speed_ratio),
                       .load = load_at(rotor, line, found->tip_speed_ratio, options),
                       .within_1_percent = {},
                       .within_5_percent = {}};
  optimum.load.tip_speed_ratio = found->tip_speed_ratio;
  const auto within = [&](double share) {
    return range_above(cp, share * optimum.load.cp, found->tip_speed_ratio, tip_speed_ratios,
                       found->values);
  };
  optimum.within_1_percent = within(0.99);
  optimum.within_5_percent = within(0.95);
  return optimum;
}

std::optional<RotorOptimum> optimum_over_ratio_and_pitch(const Rotor& rotor,
                                                         const OperatingLine& line,
                                                         std::span<const double> tip_speed_ratios,
                                                         std::span<const double> pitches_rad,
                                                         const RotorOptions& options) {
  check_ascending(tip_speed_ratios, "tip-speed ratios");
  check_ascending(pitches_rad, "pitches");
  if (pitches_rad.size() < 3 || tip_speed_ratios.size() < 3) return std::nullopt;
  Rotor turned = rotor;
  // The largest cp at a pitch, also at the sweep's end: whether that ends the search is judged for
  // the best pitch alone.
  const Curve best_cp = [&](double pitch_rad) {
    turned.pitch_rad = pitch_rad;
    const Curve cp = [&](double ratio) { return load_at(turned, line, ratio, options).cp; };
    if (const auto found = summit(cp, tip_speed_ratios)) return cp(found->tip_speed_ratio);
    double most = cp(tip_speed_ratios.front());
    for (const double ratio : tip_speed_ratios)
      most = std::max(most, cp(ratio));
    return most;
  };
  std::vector<double> values;
  for (const double pitch_rad : pitches_rad)
    values.push_back(best_cp(pitch_rad));
  const auto best =
      static_cast<std::size_t>(std::max_element(values.begin(), values.end()) - values.begin());
  if (best == 0 || best + 1 == values.size()) return std::nullopt;
  turned.pitch_rad = golden_section(best_cp, pitches_rad[best - 1], pitches_rad[best + 1], 1e-4);
  return optimum_over_ratio(turned, line, tip_speed_ratios, options);
}

}  // namespace windwright::physics
