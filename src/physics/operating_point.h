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
/// this flow; nothing where even no load or a short circuit cannot.
std::optional<OperatingPoint> operating_point(const Rotor& rotor, const Generator& generator,
                                              const RotorFlow& flow);

}  // namespace windwright::physics
