// SPDX-License-Identifier: Apache-2.0
#include "metrology/tail_moments.h"

#include "metrology/program.h"
#include "metrology/uncertain_input.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>
#include <utility>
#include <vector>

namespace windwright::metrology {

namespace {

constexpr double infinity = std::numeric_limits<double>::infinity();

// Inputs that go out together, and the one they are named by.
struct Direction {
  std::vector<std::size_t> members;
  double degrees_of_freedom;
};

bool has_tails(const UncertainInput& input) {
  return input.distribution == Distribution::normal && input.standard_uncertainty > 0.0 &&
         std::isfinite(input.degrees_of_freedom);
}

std::vector<Direction> directions_of(const MeasurementModel& model,
                                     const std::vector<bool>& behind) {
  std::vector<Direction> directions;
  std::vector<bool> taken(model.inputs.size(), false);
  for (const InputGroup& group : model.groups) {
    if (group.shared_degrees_of_freedom == 0.0) continue;
    Direction together{.members = {}, .degrees_of_freedom = group.shared_degrees_of_freedom};
    for (const std::size_t member : group.members) {
      taken[member] = true;
      if (behind[member] && has_tails(model.inputs[member])) together.members.push_back(member);
    }
    if (!together.members.empty()) directions.push_back(std::move(together));
  }
  for (std::size_t i = 0; i < model.inputs.size(); ++i) {
    if (taken[i] || !behind[i] || !has_tails(model.inputs[i])) continue;
    directions.push_back(
        {.members = {i}, .degrees_of_freedom = model.inputs[i].degrees_of_freedom});
  }
  return directions;
}

// The output with the members that far out, in standard uncertainties or values, whichever is
// larger: nearer, a value far above its uncertainty would still be seen. The pattern makes sure
// that no two of them stay equal, or cancel, by chance.
double output_at(const MeasurementModel& model, std::size_t output, const Direction& direction,
                 double distance, bool alternating) {
  std::vector<double> at(model.inputs.size());
  for (std::size_t i = 0; i < at.size(); ++i) {
    const double off = i % 2 == 0 ? 0.37 : -0.61;
    at[i] = model.inputs[i].value + off * model.inputs[i].standard_uncertainty;
  }
  double share = 1.0;
  for (const std::size_t member : direction.members) {
    const UncertainInput& input = model.inputs[member];
    at[member] = input.value +
                 share * distance * std::max(input.standard_uncertainty, std::abs(input.value));
    share *= alternating ? -0.83 : 0.83;
  }
  return values_of(model.program, at)[model.program.outputs[output]];
}

// How far the output goes from where it is, at most, around a distance. A large value at home hides
// no growth. NaN where it has no value there.
double farthest_around(double distance, double home, auto&& output) {
  constexpr int places = 16;
  constexpr double golden = 0.6180339887498949;  // never in step with a swing
  double most = std::numeric_limits<double>::quiet_NaN();
  for (int i = 0; i < places; ++i) {
    const double share = i * golden - std::floor(i * golden);
    most = std::fmax(most, std::abs(output(distance * (1.0 + share)) - home));
  }
  return most;
}

double growth_along(const MeasurementModel& model, std::size_t output, const Direction& direction) {
  constexpr double near = 1e4;
  constexpr double far = 1e8;
  double growth = 0.0;
  for (const double side : {1.0, -1.0}) {
    for (const bool alternating : {false, true}) {
      const auto at = [&](double distance) {
        return output_at(model, output, direction, side * distance, alternating);
      };
      const double home = at(0.0);
      const double origin = std::isfinite(home) ? home : 0.0;
      const double nearer = farthest_around(near, origin, at);
      const double farther = farthest_around(far, origin, at);
      // Trials without a value are left out, so what has none far out takes no moment away.
      if (std::isnan(nearer) || std::isnan(farther)) continue;
      if (std::isinf(farther)) return infinity;
      if (nearer == 0.0 || farther == 0.0) continue;
      growth = std::max(growth, std::log10(farther / nearer) / std::log10(far / near));
    }
  }
  constexpr double rounding = 0.01;  // of a power read off at finite distances
  const double whole = 0.5 * std::round(2.0 * growth);
  return std::abs(growth - whole) < rounding ? whole : growth;
}

}  // namespace

TailMoments tail_moments(const MeasurementModel& model, std::size_t output) {
  const std::vector<bool> behind = inputs_behind(model.program, model.program.outputs[output]);
  TailMoments moments;
  double worst = infinity;  // degrees of freedom per power
  for (const Direction& direction : directions_of(model, behind)) {
    const double growth = growth_along(model, output, direction);
    const double per_power = direction.degrees_of_freedom / growth;
    moments.mean = moments.mean && per_power > 1.0;
    moments.variance = moments.variance && per_power > 2.0;
    if (per_power > 2.0 || per_power >= worst) continue;
    worst = per_power;
    moments.input = model.inputs[direction.members.front()].name;
    moments.degrees_of_freedom = direction.degrees_of_freedom;
    moments.growth = growth;
  }
  Poles within_reach = poles(model, output);
  moments.pole = std::move(within_reach.worst);
  moments.mean = moments.mean && moments.pole.leaves_mean();
  moments.variance = moments.variance && moments.pole.leaves_variance();
  if (moments.mean) moments.undecided = std::move(within_reach.undecided);
  return moments;
}

}  // namespace windwright::metrology
