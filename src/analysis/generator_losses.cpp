// SPDX-License-Identifier: Apache-2.0
#include "analysis/generator_losses.h"

#include "bench/bench.h"
#include "metrology/estimate.h"
#include "physics/generator.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <limits>
#include <span>

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

metrology::Estimate modelled_loss(const bench::Bench& bench,
                                  const metrology::Estimate& rotor_speed_rad_s,
                                  const metrology::Estimate& dc_current_A, const LossPart& part) {
  const std::array<metrology::Estimate, 2> arguments{rotor_speed_rad_s, dc_current_A};
  metrology::Estimate loss = metrology::propagate(
      [&](std::span<const double> x) {
        return generator_losses(bench.generator, x[0], x[1]).*part.watts;
      },
      arguments);
  loss.add(
      fmt::format("generator:{}-loss", part.name),
      {.u = bench.u_loss_relative * loss.value(), .dof = std::numeric_limits<double>::infinity()});
  return loss;
}

}  // namespace windwright::analysis
