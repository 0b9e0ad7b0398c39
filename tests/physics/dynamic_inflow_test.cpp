// SPDX-License-Identifier: Apache-2.0
#include "physics/dynamic_inflow.h"

#include <gtest/gtest.h>

#include <cmath>
#include <complex>
#include <functional>
#include <limits>
#include <memory>
#include <numbers>
#include <vector>

namespace windwright::physics {
namespace {

double rad(double deg) {
  return deg * std::numbers::pi / 180.0;
}

/// Lift 2 pi sin a up to 10 degrees, then stall; works best near a tip-speed ratio of 5.
Rotor plain_rotor() {
  std::vector<PolarRow> rows;
  for (int deg = -10; deg <= 10; deg += 2) {
    const double alpha_rad = rad(deg);
    rows.push_back({.reynolds = 1e5,
                    .alpha_rad = alpha_rad,
                    .cl = 2.0 * std::numbers::pi * std::sin(alpha_rad),
                    .cd = 0.02 + 0.5 * alpha_rad * alpha_rad});
  }
  rows.push_back({.reynolds = 1e5, .alpha_rad = rad(15), .cl = 0.8, .cd = 0.2});
  const auto polar = std::make_shared<const Polar>(rows);
  return {.blades = 3,
          .hub_radius_m = 0.05,
          .tip_radius_m = 0.3,
          .pitch_rad = rad(3),
          .stations = {{.radius_m = 0.05, .chord_m = 0.05, .twist_rad = rad(22), .polar = polar},
                       {.radius_m = 0.15, .chord_m = 0.045, .twist_rad = rad(7), .polar = polar},
                       {.radius_m = 0.3, .chord_m = 0.03, .twist_rad = rad(0), .polar = polar}}};
}

RotorFlow flow_at(double tip_speed_ratio, double air_speed_m_s = 8.0) {
  return {.air_speed_m_s = air_speed_m_s,
          .rotor_speed_rad_s = tip_speed_ratio * air_speed_m_s / 0.3,
          .density_kg_m3 = 1.2,
          .dynamic_viscosity_Pa_s = 1.82e-5};
}

double induced_m_s(const Rotor& rotor, const RotorFlow& flow) {
  return quasi_steady_induced_m_s(rotor, flow, rotor_load(rotor, flow).thrust_N);
}

// A classical Runge-Kutta step of the whole nonlinear flow, far shorter than the lags.
InducedFlow stepped(const Rotor& rotor, const RotorFlow& at, const InducedFlow& from, double h_s) {
  const auto rates = [&](const InducedFlow& f) {
    const UnsteadyLoad load = unsteady_load(rotor, at, f.induced_m_s);
    return inflow_rates(f, load.quasi_steady_m_s,
                        inflow_lags(at.air_speed_m_s, f.induced_m_s, rotor.tip_radius_m));
  };
  const auto moved = [&](const InducedFlowRates& r, double s) {
    return InducedFlow{.lagging_m_s = from.lagging_m_s + s * r.lagging_m_s2,
                       .induced_m_s = from.induced_m_s + s * r.induced_m_s2};
  };
  const InducedFlowRates a = rates(from);
  const InducedFlowRates b = rates(moved(a, 0.5 * h_s));
  const InducedFlowRates c = rates(moved(b, 0.5 * h_s));
  const InducedFlowRates d = rates(moved(c, h_s));
  return moved({.lagging_m_s2 =
                    (a.lagging_m_s2 + 2.0 * b.lagging_m_s2 + 2.0 * c.lagging_m_s2 + d.lagging_m_s2),
                .induced_m_s2 = (a.induced_m_s2 + 2.0 * b.induced_m_s2 + 2.0 * c.induced_m_s2 +
                                 d.induced_m_s2)},
               h_s / 6.0);
}

TEST(DynamicInflow, SettledFlowGivesTheLoadOfBladeElementTheory) {
  const Rotor rotor = plain_rotor();
  for (const double tip_speed_ratio : {0.0, 0.7, 2.5, 4.0, 5.0, 7.0, 9.0, 12.0}) {
    const RotorFlow flow = flow_at(tip_speed_ratio);
    const RotorLoad steady = rotor_load(rotor, flow);
    const double settled_m_s = induced_m_s(rotor, flow);
    const UnsteadyLoad load = unsteady_load(rotor, flow, settled_m_s);
    EXPECT_NEAR(load.torque_N_m, steady.torque_N_m, 1e-11) << tip_speed_ratio;
    EXPECT_NEAR(load.thrust_N, steady.thrust_N, 1e-11) << tip_speed_ratio;
    EXPECT_NEAR(load.quasi_steady_m_s, settled_m_s, 1e-11) << tip_speed_ratio;
    EXPECT_NEAR(load.equivalent_air_speed_m_s, flow.air_speed_m_s, 1e-11) << tip_speed_ratio;
  }
}

TEST(DynamicInflow, RunsIntoTheSettledFlowFromAnywhere) {
  const Rotor rotor = plain_rotor();
  for (const double tip_speed_ratio : {1.0, 5.0, 8.0}) {
    const RotorFlow flow = flow_at(tip_speed_ratio);
    const double settled_m_s = induced_m_s(rotor, flow);
    for (const double start_m_s : {-1.0, 7.5}) {
      InducedFlow f{.lagging_m_s = 0.0, .induced_m_s = start_m_s};
      for (int i = 0; i < 400; ++i)
        f = stepped(rotor, flow, f, 4e-3);
      EXPECT_NEAR(f.induced_m_s, settled_m_s, 1e-7) << tip_speed_ratio << " from " << start_m_s;
      EXPECT_NEAR(f.lagging_m_s, settled_inflow(settled_m_s).lagging_m_s, 1e-7);
    }
  }
}

// By hand: V = 8 m/s, a = 1/4, R = 0.3 m: tau1 = 1.1 / 0.675 * 0.0375 s.
TEST(DynamicInflow, LagsAreThoseOfTheModel) {
  const InflowLags lags = inflow_lags(8.0, 2.0, 0.3, 0.49);
  EXPECT_NEAR(lags.slow_s, 0.061111111111, 1e-12);
  EXPECT_NEAR(lags.fast_s, (0.39 - 0.26 * 0.49) * 0.061111111111, 1e-12);
  // The induction counts up to 1/2.
  EXPECT_DOUBLE_EQ(inflow_lags(8.0, 4.0, 0.3).slow_s, inflow_lags(8.0, 6.0, 0.3).slow_s);
  EXPECT_DOUBLE_EQ(inflow_lags(0.0, 4.0, 0.3).slow_s, inflow_lags(4.0, 2.0, 0.3).slow_s);
  EXPECT_TRUE(std::isinf(inflow_lags(0.0, 0.0, 0.3).slow_s));
  EXPECT_EQ(inflow_rates({.lagging_m_s = 0.1, .induced_m_s = 0.2}, 0.0, inflow_lags(0.0, 0.0, 0.3))
                .induced_m_s2,
            0.0);
}

// The filters as they are written in the source, with the derivative of W_qs, solved by Laplace:
// after a unit step of W_qs from rest W_int jumps to k, and
//   w = 1 - (1 - k) tau1 / (tau1 - tau2) exp(-t / tau1)
//         - (1 - (1 - k) tau1 / (tau1 - tau2)) exp(-t / tau2).
TEST(DynamicInflow, AStepIsAnsweredWithTwoTimeConstants) {
  const InflowLags lags{.slow_s = 0.0734, .fast_s = 0.0191};
  const double slow_share = 0.4 * lags.slow_s / (lags.slow_s - lags.fast_s);
  InducedFlow f{.lagging_m_s = 0.0, .induced_m_s = 0.0};
  for (int i = 1; i <= 40; ++i) {
    f = inflow_after(f, {.start_m_s = 1.0, .slope_m_s2 = 0.0}, lags, 0.01);
    const double t = 0.01 * i;
    EXPECT_NEAR(f.induced_m_s,
                1.0 - slow_share * std::exp(-t / lags.slow_s) -
                    (1.0 - slow_share) * std::exp(-t / lags.fast_s),
                1e-13);
  }
}

// The same equation the other way: tau1 tau2 w'' + (tau1 + tau2) w' + w = W_qs + k tau1 W_qs' for
// W_qs = exp(i s t) has the gain (1 + i s k tau1) / ((1 + i s tau1) (1 + i s tau2)).
TEST(DynamicInflow, RatesHaveTheTransferFunctionOfTheModel) {
  const InflowLags lags{.slow_s = 0.08, .fast_s = 0.02};
  const double s = 15.0;  // rad/s
  InducedFlow f{.lagging_m_s = 0.0, .induced_m_s = 0.0};
  const double h_s = 1e-4;
  for (int i = 0; i < 20000; ++i) {  // 2 s: 25 slow time constants
    const QuasiSteadyRamp ramp{
        .start_m_s = std::cos(s * i * h_s),
        .slope_m_s2 = (std::cos(s * (i + 1) * h_s) - std::cos(s * i * h_s)) / h_s};
    f = inflow_after(f, ramp, lags, h_s);
  }
  const std::complex<double> i_s(0.0, s);
  const std::complex<double> gain =
      (1.0 + i_s * 0.6 * lags.slow_s) / ((1.0 + i_s * lags.slow_s) * (1.0 + i_s * lags.fast_s));
  EXPECT_NEAR(f.induced_m_s, (gain * std::exp(i_s * 2.0)).real(), 1e-6);
}

TEST(DynamicInflow, ExactStepAndRatesAgree) {
  const InflowLags lags{.slow_s = 0.07, .fast_s = 0.018};
  const QuasiSteadyRamp ramp{.start_m_s = 2.0, .slope_m_s2 = 5.0};
  const InducedFlow f{.lagging_m_s = 0.3, .induced_m_s = 1.1};
  const double h_s = 1e-6;
  const InducedFlow after = inflow_after(f, ramp, lags, h_s);
  const InducedFlowRates rates = inflow_rates(f, ramp.start_m_s, lags);
  EXPECT_NEAR((after.lagging_m_s - f.lagging_m_s) / h_s, rates.lagging_m_s2, 2e-3);
  EXPECT_NEAR((after.induced_m_s - f.induced_m_s) / h_s, rates.induced_m_s2, 2e-3);
}

// The closure of the blade-element theory, element without loss factor, read backwards.
TEST(DynamicInflow, DiscInductionInvertsTheMomentumTheory) {
  double before = -std::numeric_limits<double>::infinity();
  for (double a = -3.0; a < 4.0; a += 0.0137) {
    double ct = 4.0 * a * (1.0 - a);
    if (a > 0.4) ct = std::max(8.0 / 9.0 - 4.0 / 9.0 * a + 14.0 / 9.0 * a * a, 4.0 * a * (a - 1.0));
    EXPECT_NEAR(disc_axial_induction(ct), a, 1e-12 + 1e-8 * (std::abs(a - 0.4) < 0.02));
    EXPECT_GT(disc_axial_induction(ct), before);
    before = disc_axial_induction(ct);
  }
}

TEST(DynamicInflow, StillAirIsTheLimitOfLittleWind) {
  const Rotor rotor = plain_rotor();
  for (const double thrust_N : {-2.0, 2.0}) {
    RotorFlow flow = flow_at(0.0, 0.0);
    const double still_m_s = quasi_steady_induced_m_s(rotor, flow, thrust_N);
    EXPECT_EQ(still_m_s > 0.0, thrust_N > 0.0);
    flow.air_speed_m_s = 1e-6;
    EXPECT_NEAR(quasi_steady_induced_m_s(rotor, flow, thrust_N), still_m_s, 1e-5);
  }
}

TEST(DynamicInflow, NoWindLeavesSoLittleFlowThroughAWindmillingDisc) {
  const auto found_m_s = [](const std::function<double(double)>& induced, double disc_m_s,
                            double near_m_s) {
    return equivalent_air(induced, disc_m_s,
                          {.air_speed_m_s = near_m_s, .disc_air_speed_m_s = disc_m_s})
        .air_speed_m_s;
  };
  const auto none = [](double) { return 0.0; };
  EXPECT_EQ(found_m_s(none, -1.0, 5.0), 0.0);
  const auto third = [](double v) { return v / 3.0; };
  EXPECT_NEAR(found_m_s(third, 4.0, 1.0), 6.0, 1e-10);
  EXPECT_NEAR(found_m_s(third, 4.0, 50.0), 6.0, 1e-10);
  EXPECT_NEAR(found_m_s(third, 1e-3, 50.0), 1.5e-3, 1e-12);
  EXPECT_NEAR(found_m_s(third, 4.0, 0.0), 6.0, 1e-10);
  // A propeller in still air blows 2 m/s through its disc: less asks for a wind from behind.
  const auto blowing = [](double v) { return v - std::hypot(v, 2.0); };
  EXPECT_EQ(found_m_s(blowing, 1.9, 5.0), 0.0);
  EXPECT_NEAR(found_m_s(blowing, 2.5, 5.0), 1.5, 1e-10);
  EXPECT_NEAR(found_m_s(blowing, 2.5, 0.0), 1.5, 1e-10);
}

// What a small step does, from slopes of the steady blade-element solution alone: with
// b = dW_qs/dw = 1 - 1 / (1 - dw_qs/dV) the flow obeys
//   tau1 x' = (1 - k)(b w + q) - x,  tau2 w' = k (b w + q) + x - w
// about the new settled flow, so its eigenvalues are the roots of
//   s^2 tau1 tau2 + s (tau1 (1 - k b) + tau2) + 1 - b = 0.
TEST(DynamicInflow, TorqueOvershootsAfterAPitchStepAsTheLinearTheorySays) {
  Rotor rotor = plain_rotor();
  const RotorFlow flow = flow_at(5.0);
  const double before_N_m = rotor_load(rotor, flow).torque_N_m;
  InducedFlow f = settled_inflow(induced_m_s(rotor, flow));
  rotor.pitch_rad += rad(0.02);  // less thrust: the induced flow falls with a lag
  const double after_N_m = rotor_load(rotor, flow).torque_N_m;
  const double settled_m_s = induced_m_s(rotor, flow);
  RotorFlow more = flow;
  more.air_speed_m_s += 1e-4;
  RotorFlow less = flow;
  less.air_speed_m_s -= 1e-4;
  const double slope = (induced_m_s(rotor, more) - induced_m_s(rotor, less)) / 2e-4;
  const double b = 1.0 - 1.0 / (1.0 - slope);
  const double torque_slope =
      (rotor_load(rotor, more).torque_N_m - rotor_load(rotor, less).torque_N_m) / 2e-4 *
      (-1.0 / (1.0 - slope));  // dQ/dw at constant V
  const InflowLags lags = inflow_lags(flow.air_speed_m_s, settled_m_s, rotor.tip_radius_m);
  const double sum = lags.slow_s * (1.0 - 0.6 * b) + lags.fast_s;
  const double product = lags.slow_s * lags.fast_s;
  const double root = std::sqrt(sum * sum - 4.0 * product * (1.0 - b));
  const double s1 = (-sum + root) / (2.0 * product);
  const double s2 = (-sum - root) / (2.0 * product);
  const double w0 = f.induced_m_s - settled_m_s;
  const double x0 = f.lagging_m_s - settled_inflow(settled_m_s).lagging_m_s;
  const double w0_rate = ((0.6 * b - 1.0) * w0 + x0) / lags.fast_s;
  const double c1 = (w0_rate - s2 * w0) / (s1 - s2);
  const double c2 = w0 - c1;
  ASSERT_GT(w0, 0.0);
  const double h_s = 5e-4;
  for (int i = 0; i <= 400; ++i) {
    const double t = h_s * i;
    const double expected_N_m = torque_slope * (c1 * std::exp(s1 * t) + c2 * std::exp(s2 * t));
    const double torque_N_m = unsteady_load(rotor, flow, f.induced_m_s).torque_N_m;
    ASSERT_NEAR(torque_N_m - after_N_m, expected_N_m, 0.01 * std::abs(torque_slope * w0)) << t;
    f = stepped(rotor, flow, f, h_s);
  }
  // Less lift, but still the slow flow of before: the torque first falls below what it settles at.
  EXPECT_LT(torque_slope * w0, 0.0);
  EXPECT_GT(std::abs(torque_slope * w0), 0.05 * std::abs(after_N_m - before_N_m));
}

}  // namespace
}  // namespace windwright::physics
