// SPDX-License-Identifier: Apache-2.0
#pragma once

namespace windwright::twin {

/// What flowed and passed since the tally was reset, in truth: time integrals by the integrator
/// itself, not sums over samples. The energy balance of the bench is
///   rotor = bearing + iron + winding + rectifier + load + brake + kinetic.
/// Means over the time are the integrals over `seconds`; the mean cube of the air speed is in
/// wind_J = integral of 1/2 rho pi R^2 v_disc^3 (true density, radius and disc air speed).
struct EnergyTally {
  double seconds;
  double wind_J;
  double rotor_J;      // aerodynamic work on the rotor
  double bearing_J;    // lost
  double iron_J;       // lost
  double winding_J;    // lost
  double rectifier_J;  // lost
  double load_J;       // into the load: the integral of the DC power
  double brake_J;      // taken by the person who holds the rotor for a change of blades
  double kinetic_J;    // change of the rotor's kinetic energy
  double revolutions;
  double air_path_m;       // integral of the air speed at the sensor
  double disc_air_path_m;  // integral of the air speed at the rotor disc
  // Where the generator's heat is described; bearing + iron + winding = stored + to air.
  double generator_stored_J;  // in winding and frame
  double generator_to_air_J;
};

}  // namespace windwright::twin
