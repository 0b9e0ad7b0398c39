// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "physics/generator.h"

namespace windwright::physics {

/// What temperature does to the machine, and how its heat leaves. The defaults change nothing: no
/// coefficient, and heat capacities so large that nothing warms.
struct GeneratorHeat {
  double reference_K = 293.15;      // at which Generator's resistance and flux hold
  double zero_resistance_C = 0.0;   // copper 235, aluminium 225 (IEC 60034-1 form); 0: constant
  double magnet_flux_K1 = 0.0;      // reversible coefficient, ferrite about -0.002
  double winding_heat_J_K = 1e300;  // capacity of the winding
  double frame_heat_J_K = 1e300;    // of iron and frame
  double winding_to_frame_W_K = 0.0;
  double frame_to_air_W_K = 0.0;
};

struct MachineTemperature {
  double winding_K;
  double frame_K;  // also of iron and magnets
};

/// The machine as it is when warm: winding resistance times (z + t) / (z + t_ref), z being
/// zero_resistance_C and t in degC; flux linkage times 1 + coefficient (frame_K - reference_K).
/// @throws BadInput  a temperature at which either factor is not above 0
/// Source: IEC 60034-1, 8.6.2 (from memory). Checked in tests/published/generator_heat_test.cpp.
Generator generator_at(const Generator& generator, const GeneratorHeat& heat,
                       const MachineTemperature& temperature);

/// Heat flows at one instant. Winding loss heats the winding, iron and bearing loss the frame;
/// winding_W + frame_W + to_air_W is the sum of the three losses exactly.
struct HeatFlow {
  double winding_W;  // that stays in the winding
  double frame_W;    // that stays in the frame
  double to_air_W;
  double winding_rate_K_s;
  double frame_rate_K_s;
};
HeatFlow heat_flow(const GeneratorHeat& heat, const MachineTemperature& temperature,
                   const GeneratorLoad& load, double air_temperature_K);

/// Over a time in which losses and air temperature stand still, exactly: both temperatures at its
/// end and the energy that went to the air. Stored and given off heat is what the losses brought,
/// to rounding.
struct HeatStep {
  MachineTemperature end;
  double stored_J;
  double to_air_J;
};
/// @throws BadInput  a capacity not above 0, a conductance below 0, a time below 0
HeatStep heat_step(const GeneratorHeat& heat, const MachineTemperature& start,
                   const GeneratorLoad& load, double air_temperature_K, double duration_s);

}  // namespace windwright::physics
