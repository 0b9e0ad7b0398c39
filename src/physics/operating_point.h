// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "physics/generator.h"
#include "physics/rotor.h"

#include <optional>

namespace windwright::physics {

/// Rotor and generator in balance at one tip-speed ratio: what theory predicts for a test point.
struct OperatingPoint {
  RotorLoad rotor;
  GeneratorLoad generator;
  double load_resistance_ohm;  // that holds this point
};

/// The point where the generator, loaded with a suitable resistance, takes up the rotor's torque at
/// this flow. A balance of torques only: whether the rotor stays there by itself depends on the
/// slopes of both torques, see steady_rotor_speed_rad_s.
/// @param flow  air speed and rotor speed above 0
/// @return      nothing where already the open circuit's drag exceeds the rotor's torque, or even a
///              short circuit takes up less
std::optional<OperatingPoint> operating_point(const Rotor& rotor, const Generator& generator,
                                              const RotorFlow& flow);

/// Rotor speed at which the set keeps turning with a given load: the highest balance of torques,
/// which is stable, since above it the generator and its losses brake more than the rotor drives.
/// All balances: torque_balances in start_up.h, which says how they are found.
/// @param flow                 its rotor speed is not used
/// @param load_resistance_ohm  above 0; infinity is the open circuit
/// @return                     nothing where the set comes to rest, or still speeds up at tip-speed
/// ratio 25
std::optional<double> steady_rotor_speed_rad_s(const Rotor& rotor, const Generator& generator,
                                               const RotorFlow& flow, double load_resistance_ohm);

}  // namespace windwright::physics
