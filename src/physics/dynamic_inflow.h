// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "physics/rotor.h"

#include <functional>

namespace windwright::physics {

/// Dynamic inflow: the wake needs time to follow the load, so the induced velocity w at the disc
/// lags behind the quasi-steady one that momentum theory gives. Oye's two first-order filters,
///   W_int + tau1 dW_int/dt = W_qs + k tau1 dW_qs/dt,   w + tau2 dw/dt = W_int,   k = 0.6,
///   tau1 = 1.1 / (1 - 1.3 a) R / V with a at most 0.5,   tau2 = (0.39 - 0.26 (r/R)^2) tau1.
/// Kept here as W_int = k W_qs + x, which leaves no derivative of W_qs:
///   tau1 dx/dt = (1 - k) W_qs - x,   tau2 dw/dt = k W_qs + x - w.
/// Limits: made for a disc in a free stream; one induced velocity for the disc, no skew, no
/// unsteady aerofoil. Theory and limits: docs/theory/transients.md.
/// Source: M. O. L. Hansen, Aerodynamics of Wind Turbines, 2nd ed. (2008), ch. 9 (from memory);
/// H. Snel, J. G. Schepers, Joint investigation of dynamic inflow effects, ECN-C--94-107 (1995).
struct InducedFlow {
  double lagging_m_s;  // x: the part of the quasi-steady velocity that follows with tau1
  double induced_m_s;  // w at the disc, positive against the wind
};
struct InducedFlowRates {
  double lagging_m_s2;
  double induced_m_s2;
};

struct InflowLags {
  double slow_s;  // tau1; infinity in still air without induced flow
  double fast_s;  // tau2
};
/// Mean of (r/R)^2 over the disc: what tau2 of a whole disc is taken at.
inline constexpr double disc_mean_radius_ratio_squared = 0.5;
/// @param air_speed_m_s         V, not negative
/// @param radius_ratio_squared  (r/R)^2, 0 to 1
/// Where the induced velocity exceeds the wind (fan off, rotor still turning), the wake is carried
/// off by itself: 1.1 R / tau1 is then 0.35 w, as a = 0.5 would give for a wind of that speed. Our
/// own continuation; the model has none there.
InflowLags inflow_lags(double air_speed_m_s, double induced_m_s, double tip_radius_m,
                       double radius_ratio_squared = disc_mean_radius_ratio_squared);

InducedFlowRates inflow_rates(const InducedFlow& flow, double quasi_steady_m_s,
                              const InflowLags& lags);

/// The flow that stays as it is: x = (1 - k) W_qs, w = W_qs.
InducedFlow settled_inflow(double quasi_steady_m_s);

/// W_qs over a step, linear in time.
struct QuasiSteadyRamp {
  double start_m_s;
  double slope_m_s2;
};
/// The flow a step later: the exact solution for such a ramp and constant lags.
/// @param lags  finite, above 0, slow_s not fast_s
InducedFlow inflow_after(const InducedFlow& flow, const QuasiSteadyRamp& quasi_steady,
                         const InflowLags& lags, double step_s);

/// Axial induction of the disc as a whole at a thrust coefficient: ct = 4 a (1 - a) up to a = 0.4,
/// Buhl's parabola above, and ct = 4 a (a - 1) where that overtakes it. The inverse of what
/// rotor_load takes for one element without loss factor. Any ct; rises with it.
double disc_axial_induction(double thrust_coefficient);

/// A steady air speed, what it leaves through the disc, and how fast that rises with it.
struct EquivalentAir {
  double air_speed_m_s;
  double disc_air_speed_m_s;
  double slope = 1.0;  // d disc_air_speed / d air_speed, above 0; about
};
/// The steady air speed v* in which the rotor would see the flow that it sees now through the disc:
/// v* - w_qs(v*) = V - w. Loads follow the flow through the disc, so they are those of v*.
/// @param induced_m_s         w_qs of a steady air speed, at the present rotor speed; v* less it
///                            rises with v*
/// @param disc_air_speed_m_s  V - w
/// @param near                where the search begins: an earlier answer, or V for both, which is
///                            the answer once w has settled; its air speed not negative
/// @return                    to 1e-11 of v*; v* = 0 where no wind would leave so little flow
EquivalentAir equivalent_air(const std::function<double(double)>& induced_m_s,
                             double disc_air_speed_m_s, const EquivalentAir& near);

/// What a rotor gives while the induced flow is not the one of its load.
struct UnsteadyLoad {
  double torque_N_m;
  double thrust_N;
  double equivalent_air_speed_m_s;
  double quasi_steady_m_s;  // W_qs: what the present load would induce in the long run
};
/// With induced_m_s at its quasi-steady value, rotor_load at this flow.
/// @throws BadInput  as rotor_load
UnsteadyLoad unsteady_load(const Rotor& rotor, const RotorFlow& flow, double induced_m_s);

/// Mean induced velocity over the disc that a thrust keeps up in steady flow. In still air
/// sqrt(|thrust| / (2 rho A)), which is its limit.
/// @param flow  its rotor speed is not used
double quasi_steady_induced_m_s(const Rotor& rotor, const RotorFlow& flow, double thrust_N);

}  // namespace windwright::physics
