// SPDX-License-Identifier: Apache-2.0
#include "physics/generator_heat.h"

#include "base/errors.h"
#include "base/text.h"

#include <Eigen/Dense>

#include <algorithm>
#include <cmath>

namespace windwright::physics {
namespace {

constexpr double zero_celsius_K = 273.15;

void require(bool holds, const char* name, double value, const char* right) {
  if (!holds) throw base::BadInput(name, base::number_text(value), right);
}

/// (1 - exp(-x)) / x.
double relaxed(double x) {
  return x > 1e-300 ? -std::expm1(-x) / x : 1.0;
}

}  // namespace

Generator generator_at(const Generator& generator, const GeneratorHeat& heat,
                       const MachineTemperature& temperature) {
  Generator warm = generator;
  if (heat.zero_resistance_C > 0.0) {
    const double factor = (heat.zero_resistance_C + temperature.winding_K - zero_celsius_K) /
                          (heat.zero_resistance_C + heat.reference_K - zero_celsius_K);
    require(factor > 0.0 && std::isfinite(factor), "winding temperature", temperature.winding_K,
            "a temperature at which the conductor has a resistance");
    warm.winding_resistance_ohm *= factor;
  }
  const double flux = 1.0 + heat.magnet_flux_K1 * (temperature.frame_K - heat.reference_K);
  require(flux > 0.0 && std::isfinite(flux), "magnet temperature", temperature.frame_K,
          "a temperature at which the magnets have flux");
  warm.flux_linkage_V_s *= flux;
  return warm;
}

HeatFlow heat_flow(const GeneratorHeat& heat, const MachineTemperature& temperature,
                   const GeneratorLoad& load, double air_temperature_K) {
  const double inward_W = heat.winding_to_frame_W_K * (temperature.winding_K - temperature.frame_K);
  const double to_air_W = heat.frame_to_air_W_K * (temperature.frame_K - air_temperature_K);
  const double winding_W = load.winding_loss_W - inward_W;
  const double frame_W = load.iron_loss_W + load.bearing_loss_W + inward_W - to_air_W;
  return {.winding_W = winding_W,
          .frame_W = frame_W,
          .to_air_W = to_air_W,
          .winding_rate_K_s = winding_W / heat.winding_heat_J_K,
          .frame_rate_K_s = frame_W / heat.frame_heat_J_K};
}

HeatStep heat_step(const GeneratorHeat& heat, const MachineTemperature& start,
                   const GeneratorLoad& load, double air_temperature_K, double duration_s) {
  require(heat.winding_heat_J_K > 0.0, "winding heat capacity", heat.winding_heat_J_K, "above 0");
  require(heat.frame_heat_J_K > 0.0, "frame heat capacity", heat.frame_heat_J_K, "above 0");
  require(heat.winding_to_frame_W_K >= 0.0, "conductance", heat.winding_to_frame_W_K, "0 or more");
  require(heat.frame_to_air_W_K >= 0.0, "conductance", heat.frame_to_air_W_K, "0 or more");
  require(duration_s >= 0.0 && std::isfinite(duration_s), "duration", duration_s, "0 or more");
  // Scaled by the roots of the capacities the two equations are symmetric: x' = -A x + b with two
  // real rates, each of which relaxes on its own.
  const double root_w = std::sqrt(heat.winding_heat_J_K);
  const double root_f = std::sqrt(heat.frame_heat_J_K);
  Eigen::Matrix2d a;
  a(0, 0) = heat.winding_to_frame_W_K / root_w / root_w;
  a(1, 1) = (heat.winding_to_frame_W_K + heat.frame_to_air_W_K) / root_f / root_f;
  a(0, 1) = a(1, 0) = -heat.winding_to_frame_W_K / root_w / root_f;
  const HeatFlow flow = heat_flow(heat, start, load, air_temperature_K);
  const Eigen::SelfAdjointEigenSolver<Eigen::Matrix2d> modes(a);
  const Eigen::Vector2d pushed = modes.eigenvectors().transpose() *
                                 Eigen::Vector2d(flow.winding_W / root_w, flow.frame_W / root_f);
  Eigen::Vector2d moved;
  for (Eigen::Index i = 0; i < 2; ++i) {
    const double rate = std::max(0.0, modes.eigenvalues()(i));
    moved(i) = pushed(i) * duration_s * relaxed(rate * duration_s);
  }
  const Eigen::Vector2d change = modes.eigenvectors() * moved;
  const double winding_K = change(0) / root_w;
  const double frame_K = change(1) / root_f;
  const double stored_J = heat.winding_heat_J_K * winding_K + heat.frame_heat_J_K * frame_K;
  const double brought_J =
      (load.winding_loss_W + load.iron_loss_W + load.bearing_loss_W) * duration_s;
  return {.end = {.winding_K = start.winding_K + winding_K, .frame_K = start.frame_K + frame_K},
          .stored_J = stored_J,
          .to_air_J = brought_J - stored_J};
}

}  // namespace windwright::physics
