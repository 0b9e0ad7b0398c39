// SPDX-License-Identifier: Apache-2.0
#include "analysis/generator_losses.h"

#include "physics/generator.h"

#include <algorithm>

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
  const physics::GeneratorLoad load =
      physics::generator_at_current(generator, speed_rad_s, wanted_A);
  if (load.dc_current_A >= wanted_A && (load.dc_voltage_V >= 0.0 || wanted_A == 0.0)) {
    return losses_of(load);
  }
  const physics::GeneratorLoad short_circuit =
      physics::generator_load(generator, speed_rad_s, 1e-6);
  GeneratorLosses losses = losses_of(short_circuit);
  if (short_circuit.dc_current_A > 0.0) {
    const double ratio = wanted_A / short_circuit.dc_current_A;
    losses.winding_W *= ratio * ratio;
    losses.rectifier_W *= ratio;
  }
  return losses;
}

}  // namespace windwright::analysis
