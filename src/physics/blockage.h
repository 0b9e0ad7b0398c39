// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "physics/rotor.h"

namespace windwright::physics {

/// An actuator disc in a closed, straight section with rigid walls. Speeds are ratios to the
/// tunnel's own, the even speed far upstream in the section.
struct ConfinedDisc {
  double ct;                  // on the tunnel's speed, of the state that the speeds belong to
  double disc_speed_ratio;    // through the disc
  double wake_speed_ratio;    // in the wake, where its pressure is that of the flow around it
  double bypass_speed_ratio;  // between wake and walls, at the same place
  double free_speed_ratio;    // of the open-air speed that gives the same thrust and disc speed
  double free_induction;      // axial induction there; above 0.4 open air follows measurements
  bool held;                  // beyond the theory: this is the state at its limit
};

/// What was measured in the tunnel: the disc's state from its thrust coefficient on the tunnel's
/// speed. Mass; Bernoulli upstream of the disc, in the wake and around it; momentum of the whole
/// section. With wake over bypass speed x, blockage b: bypass = (1 + x + sqrt(x^2 + b (1 - x^2))) /
/// (1 + 2 x - b (1 - x^2)), ct = bypass^2 (1 - x^2), which falls with x; x is a bracketed root.
///
/// The open-air speed V is that of a disc with the same thrust and speed u through it: V = u + ct /
/// (4 u) up to an axial induction of 0.4; above, Buhl's relation (see rotor_load), so that
/// blade-element theory and this agree. Where the wake is slower than a fifth of the bypass, as it
/// is in open air above 0.4, it breaks up and the theory has nothing to say; nor for a disc that
/// drives the air beyond the mirror of that (1.4). There the state at the limit is given and marked
/// `held`: a correction that stops growing, never a made-up one.
/// @param blockage  rotor area over section area, in [0, 1); 0 is open air
/// @param ct        finite; thrust over 1/2 rho v^2 A with the tunnel's v
/// @throws BadInput  outside these domains
/// Source: Glauert, The Elements of Aerofoil and Airscrew Theory, 2nd ed. (1947); Mikkelsen and
/// Sorensen, Modelling of wind tunnel blockage, Global Windpower Conference, Paris 2002; Garrett
/// and Cummins, J. Fluid Mech. 588 (2007) 243-251. Checked in tests/published/blockage_test.cpp;
/// limits: docs/theory/tunnel.md.
ConfinedDisc confined_disc(double blockage, double ct);

/// What a tunnel will show: the state of the disc that in open air has the thrust coefficient
/// `free_ct`. The inverse of the above: its ct is free_ct times free_speed_ratio^2.
ConfinedDisc confined_disc_from_free(double blockage, double free_ct);

/// The thrust coefficient on the tunnel's speed above which confined_disc holds: 0.96 in open air,
/// more with blockage.
double largest_confined_ct(double blockage);

/// The most power that a confined stream yields, over 1/2 rho v^3 A with the tunnel's v: 16/27 / (1
/// - blockage)^2. Above 16/27, without any harm to Betz: the walls keep the air from going around.
/// @param blockage  in [0, 1); above 1/3 its wake is slower than confined_disc follows
/// Source: Garrett and Cummins (2007), section 2. Checked in tests/published/blockage_test.cpp.
double largest_cp(double blockage);

struct RotorInTunnel {
  RotorLoad load;  // all ratios and coefficients on the tunnel's speed
  ConfinedDisc disc;
  double free_air_speed_m_s;  // gives the same loads in open air
};

/// Predicts what a closed section shows: finds the open-air speed at which the rotor, turning as
/// fast, has the disc state that the tunnel's speed gives it; to 1e-12 by a bracketed root.
/// @param flow             air_speed_m_s is the tunnel's; 0 gives the loads of still air
/// @param section_area_m2  above the rotor's swept area
/// @throws BadInput  as rotor_load; a section that the rotor does not fit into
RotorInTunnel rotor_in_tunnel(const Rotor& rotor, const RotorFlow& flow, double section_area_m2,
                              const RotorOptions& options = {});
/// Its load alone.
RotorLoad rotor_load_in_tunnel(const Rotor& rotor, const RotorFlow& flow, double section_area_m2,
                               const RotorOptions& options = {});

}  // namespace windwright::physics
