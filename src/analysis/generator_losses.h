// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "physics/generator.h"

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

}  // namespace windwright::analysis
