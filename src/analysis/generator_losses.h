// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "bench/bench.h"
#include "metrology/estimate.h"
#include "physics/generator.h"

#include <string_view>

namespace windwright::analysis {

/// What is lost between the shaft and the DC terminals.
struct GeneratorLosses {
  double rectifier_W;
  double winding_W;
  double iron_W;
  double bearing_W;
};

/// The generator model's losses at a measured speed and direct current. A current that the model
/// cannot carry at this speed (the measured one is larger than its short-circuit current) gives the
/// losses at short circuit with winding and rectifier losses scaled as current squared and current.
/// @param rotor_speed_rad_s  0 or above
/// @param dc_current_A       mean; below 0 (noise about zero) counts as 0
/// @return losses, all 0 or above. The ripple of the current over a dwell is left out: it adds its
///         relative variance to the winding loss.
GeneratorLosses generator_losses(const physics::Generator& generator, double rotor_speed_rad_s,
                                 double dc_current_A);

/// One of these losses of a bench as an estimate: the uncertainties of speed and current carried
/// through the model, and the model's own as the input `generator:<name>-loss`.
struct LossPart {
  std::string_view name;  // "rectifier"
  double GeneratorLosses::* watts;
};
metrology::Estimate modelled_loss(const bench::Bench& bench,
                                  const metrology::Estimate& rotor_speed_rad_s,
                                  const metrology::Estimate& dc_current_A, const LossPart& part);

inline constexpr LossPart rectifier_loss{.name = "rectifier",
                                         .watts = &GeneratorLosses::rectifier_W};
inline constexpr LossPart winding_loss{.name = "winding", .watts = &GeneratorLosses::winding_W};
inline constexpr LossPart iron_loss{.name = "iron", .watts = &GeneratorLosses::iron_W};
inline constexpr LossPart bearing_loss{.name = "bearing", .watts = &GeneratorLosses::bearing_W};

}  // namespace windwright::analysis
