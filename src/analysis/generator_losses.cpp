// SPDX-License-Identifier: Apache-2.0
#include "analysis/generator_losses.h"

#include "physics/generator.h"

#include <algorithm>
#include <cmath>
#include <limits>

namespace windwright::analysis {

namespace {

GeneratorLosses losses_of(const physics::GeneratorLoad& load) {
  return {.rectifier_W = load.rectifier_loss_W,
          .winding_W = load.winding_loss_W,
          .iron_W = load.iron_loss_W,
          .bearing_W = load.bearing_loss_W};
}

}  // namespace

GeneratorLosses generator_losses(const physics::Generator& generator, double rotor_speed_rad_s,
                                 double dc_current_A) {
  const double speed_rad_s = std::max(rotor_speed_rad_s, 0.0);
  const double wanted_A = std::max(dc_current_A, 0.0);
  const auto at = [&](double resistance_ohm) {
    return physics::generator_load(generator, speed_rad_s, resistance_ohm);
  };
  const auto open = at(std::numeric_limits<double>::infinity());
  if (wanted_A <= 0.0) return losses_of(open);

  // The current falls as the load resistance rises: bisection on its logarithm.
  double low = std::log(1e-6);
  double high = std::log(1e9);
  const auto short_circuit = at(std::exp(low));
  if (short_circuit.dc_current_A <= wanted_A) {
    GeneratorLosses losses = losses_of(short_circuit);
    if (short_circuit.dc_current_A > 0.0) {
      const double ratio = wanted_A / short_circuit.dc_current_A;
      losses.winding_W *= ratio * ratio;
      losses.rectifier_W *= ratio;
    }
    return losses;
  }
  for (int step = 0; step < 80; ++step) {
    const double middle = 0.5 * (low + high);
    (at(std::exp(middle)).dc_current_A > wanted_A ? low : high) = middle;
  }
  return losses_of(at(std::exp(0.5 * (low + high))));
}

}  // namespace windwright::analysis
