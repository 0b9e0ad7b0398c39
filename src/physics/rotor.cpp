// SPDX-License-Identifier: Apache-2.0
#include "physics/rotor.h"

#include "base/errors.h"
#include "physics/polar.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <numbers>
#include <string_view>
#include <vector>

namespace windwright::physics {

namespace {

constexpr double pi = std::numbers::pi;

// Messages are put together only when needed: a good call allocates nothing.
void check(const Rotor& rotor, const RotorFlow& flow, const RotorOptions& options) {
  const auto refuse = [](std::string_view wrong, std::string_view right) {
    throw base::BadInput("rotor", wrong, right);
  };
  if (rotor.blades < 1 || rotor.blades > 12) {
    refuse(fmt::format("has {} blades", rotor.blades), "1 to 12");
  }
  if (!(rotor.hub_radius_m > 0.0 && rotor.hub_radius_m < rotor.tip_radius_m &&
        std::isfinite(rotor.tip_radius_m))) {
    refuse(
        fmt::format("hub radius is {} m, tip radius {} m", rotor.hub_radius_m, rotor.tip_radius_m),
        "hub above 0 and below tip");
  }
  if (!std::isfinite(rotor.pitch_rad)) refuse("pitch is not finite", "an angle");
  if (rotor.stations.size() < 2) refuse("has fewer than two stations", "at least two");
  if (!(flow.air_speed_m_s >= 0.0 && std::isfinite(flow.air_speed_m_s))) {
    refuse(fmt::format("air speed is {} m/s", flow.air_speed_m_s), "0 or more");
  }
  if (!std::isfinite(flow.rotor_speed_rad_s)) refuse("rotor speed is not finite", "a number");
  if (!(flow.density_kg_m3 > 0.0 && std::isfinite(flow.density_kg_m3))) {
    refuse(fmt::format("air density is {} kg/m3", flow.density_kg_m3), "above 0");
  }
  if (!(flow.dynamic_viscosity_Pa_s > 0.0 && std::isfinite(flow.dynamic_viscosity_Pa_s))) {
    refuse(fmt::format("viscosity is {} Pa s", flow.dynamic_viscosity_Pa_s), "above 0");
  }
  if (options.elements < 2 || options.elements > 10000) {
    refuse(fmt::format("{} elements", options.elements), "2 to 10000");
  }
}

// One element's geometry and undisturbed flow.
struct Element {
  const Rotor* rotor;
  const RotorOptions* options;
  double radius_m;
  double chord_m;
  double blade_angle_rad;
  double solidity;  // B c / (2 pi r)
  const Polar* inner;
  const Polar* outer;   // the same one where both stations share it
  double outer_weight;  // between the stations
  double axial_m_s;
  double turning_m_s;
};

Element element_at(const Rotor& rotor, std::size_t& station, double radius_m) {
  const auto& stations = rotor.stations;
  while (station + 2 < stations.size() && stations[station + 1].radius_m < radius_m)
    ++station;
  const RotorStation& inner = stations[station];
  const RotorStation& outer = stations[station + 1];
  const double weight =
      std::clamp((radius_m - inner.radius_m) / (outer.radius_m - inner.radius_m), 0.0, 1.0);
  const double chord_m = std::lerp(inner.chord_m, outer.chord_m, weight);
  return {.rotor = &rotor,
          .options = nullptr,
          .radius_m = radius_m,
          .chord_m = chord_m,
          .blade_angle_rad = std::lerp(inner.twist_rad, outer.twist_rad, weight) + rotor.pitch_rad,
          .solidity = rotor.blades * chord_m / (2.0 * pi * radius_m),
          .inner = inner.polar.get(),
          .outer = outer.polar.get(),
          .outer_weight = weight,
          .axial_m_s = 0.0,
          .turning_m_s = 0.0};
}

struct Positions {
  Polar::Position inner;
  Polar::Position outer;
};

Positions positions(const Element& element, double reynolds) {
  const auto inner = element.inner->position(reynolds);
  return {inner, element.inner == element.outer ? inner : element.outer->position(reynolds)};
}

bool nearly_same(Polar::Position a, Polar::Position b) {
  return std::abs((a.lower + a.weight) - (b.lower + b.weight)) < 1e-4;
}

SectionForce force_of(const Element& element, double alpha_rad, const Positions& at) {
  const SectionForce inner = element.inner->at(alpha_rad, at.inner);
  if (element.inner == element.outer) return inner;
  const SectionForce outer = element.outer->at(alpha_rad, at.outer);
  return {.cl = std::lerp(inner.cl, outer.cl, element.outer_weight),
          .cd = std::lerp(inner.cd, outer.cd, element.outer_weight)};
}

double loss_factor(const Element& element, double sine) {
  const Rotor& rotor = *element.rotor;
  const Losses losses = element.options->losses;
  const double r = element.radius_m;
  double F = 1.0;
  if (losses == Losses::tip || losses == Losses::both) {
    F *= prandtl_loss_factor(rotor.blades, (rotor.tip_radius_m - r) / r, sine);
  }
  if (losses == Losses::root || losses == Losses::both) {
    const double hub = rotor.hub_radius_m;
    F *= prandtl_loss_factor(rotor.blades, (r - hub) / hub, sine);
  }
  return std::max(F, 1e-6);
}

// V / W from the thrust on the annulus, that is sin(phi) / (1 - a).
//
// With p = V / W and s = sin(phi), a = 1 - s / p, the blades' thrust coefficient is n / p^2, where
// n is solidity times normal force coefficient. The momentum theorem, ct = 4 F a (1 - a), gives p =
// s + n / (4 F s). Buhl's parabola, ct = 8/9 + (4 F - 40/9) a + (50/9 - 4 F) a^2, becomes 2 p^2 - b
// s p + c s^2 = n with b = 20/3 - 4 F and c = 50/9 - 4 F, which has no singularity at s = 0.
// Reversed flow through the disc, s < 0, has ct = 4 F a (a - 1); the larger thrust of both holds,
// so that ct rises with a without a step through all states. A negative result stands for "no such
// flow" and has the sign that leads the root search out of there.
double axial_part(double s, double n, double F) {
  const double b = 20.0 / 3.0 - 4.0 * F;
  const double c = 50.0 / 9.0 - 4.0 * F;
  const double discriminant = b * b * s * s - 8.0 * (c * s * s - n);
  if (s > 0.0) {
    const double k = n / (4.0 * F * s * s);
    if (k <= 2.0 / 3.0) return s * (1.0 + k);
    return 0.25 * (b * s + std::sqrt(std::max(discriminant, 0.0)));
  }
  const double reversed = s - n / (4.0 * F * s);
  if (discriminant < 0.0) return reversed;
  return std::min(reversed, 0.25 * (b * s + std::sqrt(discriminant)));
}

// The relative flow at one trial inflow angle: air speed and turning speed over relative speed, as
// momentum and blade forces want them. The angle is right where this points along the real pair:
// where turning speed times axial less air speed times turning passes zero upwards.
struct Trial {
  double axial;
  double turning;
  double loss_factor;
  double alpha_rad;
  SectionForce force;
  double normal;  // force coefficients in the rotor's axes
  double tangential;
};

Trial trial(const Element& element, const Positions& at, double inflow_angle_rad) {
  Trial t{};
  double s = std::sin(inflow_angle_rad);
  const double c = std::cos(inflow_angle_rad);
  if (std::abs(s) < 1e-12) s = std::copysign(1e-12, s);
  t.alpha_rad = inflow_angle_rad - element.blade_angle_rad;
  t.force = force_of(element, t.alpha_rad, at);
  t.normal = t.force.cl * c + t.force.cd * s;
  t.tangential = t.force.cl * s - t.force.cd * c;
  t.loss_factor = loss_factor(element, s);
  t.axial = axial_part(s, element.solidity * t.normal, t.loss_factor);
  t.turning = c;
  if (element.options->wake_rotation) {
    const double swirl =
        element.options->drag_in_swirl ? t.force.cl - t.force.cd * c / s : t.force.cl;
    t.turning -= element.solidity * swirl / (4.0 * t.loss_factor);
  }
  return t;
}

// A polish with the right Reynolds number follows, and falls back to a finer bracket.
constexpr double coarse_rad = 1e-3;
constexpr double fine_rad = 1e-11;

struct Root {
  double x_rad;
  double slope;  // of the secant over the last bracket
  bool found;
};

struct Bracket {
  double low;
  double f_low;
  double high;
  double f_high;
};

// Chandrupatla, A new hybrid quadratic/bisection algorithm for finding the zero of a nonlinear
// function without using derivatives, Advances in Engineering Software 28 (1997) 145-149.
template <typename Function>
Root bracketed_root(Function f, double tolerance_rad, Bracket bracket) {
  auto [a, f_a, b, f_b] = bracket;
  double c = a;
  double f_c = f_a;
  double step = 0.5;
  for (int i = 0; i < 100; ++i) {
    const double x = a + step * (b - a);
    const double f_x = f(x);
    if ((f_x > 0.0) == (f_a > 0.0)) {
      c = a;
      f_c = f_a;
    } else {
      c = b;
      f_c = f_b;
      b = a;
      f_b = f_a;
    }
    a = x;
    f_a = f_x;
    const double margin = tolerance_rad / std::abs(b - a);
    if (margin > 0.5 || f_a == 0.0 || f_b == 0.0) break;
    const double xi = (a - b) / (c - b);
    const double phi = (f_a - f_b) / (f_c - f_b);
    step = 0.5;
    if (phi * phi < xi && (1.0 - phi) * (1.0 - phi) < 1.0 - xi) {
      step = f_a / (f_b - f_a) * f_c / (f_b - f_c) +
             (c - a) / (b - a) * f_a / (f_c - f_a) * f_b / (f_c - f_b);
    }
    step = std::clamp(step, margin, 1.0 - margin);
  }
  return {std::abs(f_a) < std::abs(f_b) ? a : b, (f_b - f_a) / (b - a), true};
}

// The residual as a function of the angle from the direction of turning, so that a rotor that turns
// backwards is searched like one that turns forwards.
struct Search {
  const Element* element;
  const Positions* at;
  bool backwards;

  double inflow_angle_rad(double x_rad) const { return backwards ? pi - x_rad : x_rad; }
  double across(const Trial& t) const {
    const double value = element->turning_m_s * t.axial - element->axial_m_s * t.turning;
    return backwards ? -value : value;
  }
  double operator()(double x_rad) const {
    return across(trial(*element, *at, inflow_angle_rad(x_rad)));
  }
};

double relative_speed_m_s(const Element& element, const Trial& t) {
  return (element.axial_m_s * t.axial + element.turning_m_s * t.turning) /
         (t.axial * t.axial + t.turning * t.turning);
}

// Searches upwards from where the flow through the disc stops: first the windmill (and propeller)
// states below the undisturbed angle, then beyond it to where blades push against their turning.
// Where already the start is positive, the rotor brakes so hard that the flow through it reverses.
// Near an overcrowded hub the first root may be one of a flow the other way round; `careful` passes
// on to the next.
Root solve(const Search& f, double tolerance_rad, bool careful) {
  const double undisturbed_rad = std::atan2(f.element->axial_m_s, std::abs(f.element->turning_m_s));
  constexpr double start_rad = 1e-9;
  if (!careful) {
    // Where a working rotor's angle lies; saves the way from the ends.
    const double likely_rad = 0.4 * undisturbed_rad;
    const double f_likely = f(likely_rad);
    const double f_undisturbed = f_likely <= 0.0 ? f(undisturbed_rad) : 0.0;
    if (f_undisturbed > 0.0) {
      return bracketed_root(f, tolerance_rad,
                            {likely_rad, f_likely, undisturbed_rad, f_undisturbed});
    }
  }
  const double f_start = f(start_rad);
  const auto good = [&](const Root& root) {
    return !careful || relative_speed_m_s(*f.element, trial(*f.element, *f.at,
                                                            f.inflow_angle_rad(root.x_rad))) > 0.0;
  };
  if (f_start > 0.0) {
    for (const double lower : {-0.25 * pi, -0.5 * pi}) {
      const double f_lower = f(lower);
      if (f_lower > 0.0) continue;
      const Root root = bracketed_root(f, tolerance_rad, {lower, f_lower, start_rad, f_start});
      if (good(root)) return root;
      break;
    }
  }
  double low = start_rad;
  double f_low = f_start;
  for (const double high :
       {undisturbed_rad, 0.5 * pi, 0.65 * pi, 0.8 * pi, 0.9 * pi, pi - start_rad}) {
    if (high <= low) continue;
    const double f_high = f(high);
    if (f_low <= 0.0 && f_high > 0.0) {
      const Root root = bracketed_root(f, tolerance_rad, {low, f_low, high, f_high});
      if (good(root)) return root;
    }
    low = high;
    f_low = f_high;
  }
  return {undisturbed_rad, 0.0, false};
}

struct Angle {
  double inflow_angle_rad;
  bool converged;
};

// Chord steps on the angle, each with the Reynolds number of the one before, until both stand
// still.
bool polish(Search f, double reynolds_per_speed, Positions& at, Root& root, Trial& t) {
  f.at = &at;
  if (!(root.slope > 0.0)) return false;
  double x_before = 0.0;
  double f_before = 0.0;
  bool comparable = false;
  for (int pass = 0; pass < 12; ++pass) {
    t = trial(*f.element, at, f.inflow_angle_rad(root.x_rad));
    const double f_x = f.across(t);
    if (comparable && root.x_rad != x_before) {
      const double slope = (f_x - f_before) / (root.x_rad - x_before);
      if (slope > 0.25 * root.slope && slope < 4.0 * root.slope) root.slope = slope;
    }
    const double W = relative_speed_m_s(*f.element, t);
    const double step_rad = -f_x / root.slope;
    if (!(W > 0.0) || !(std::abs(step_rad) < 0.02)) return false;
    const Positions next = positions(*f.element, reynolds_per_speed * W);
    comparable = nearly_same(next.inner, at.inner) && nearly_same(next.outer, at.outer);
    if (comparable && std::abs(step_rad) < 1e-10) return true;
    if (!comparable) at = next;
    x_before = root.x_rad;
    f_before = f_x;
    root.x_rad += step_rad;
    if ((root.x_rad > 0.0) != (x_before > 0.0)) return false;
  }
  return false;
}

// The sure way where the quick one fails, at kinks of a polar: the whole search for each Reynolds
// number.
bool settle(const Search& f, double reynolds_per_speed, Positions& at, Root& root, Trial& t) {
  for (int pass = 0; pass < 20; ++pass) {
    root = solve(f, fine_rad, true);
    if (!root.found) return false;
    t = trial(*f.element, at, f.inflow_angle_rad(root.x_rad));
    const double W = relative_speed_m_s(*f.element, t);
    if (!(W > 0.0)) return false;
    const Positions next = positions(*f.element, reynolds_per_speed * W);
    if (nearly_same(next.inner, at.inner) && nearly_same(next.outer, at.outer)) return true;
    at = next;
  }
  return false;
}

// What the element gives at an inflow angle. Without a root: the loads of the undisturbed flow.
ElementLoad loads(const Element& element, const RotorFlow& flow, const Trial& t, Angle angle) {
  const double s = std::sin(angle.inflow_angle_rad);
  double W = std::hypot(element.axial_m_s, element.turning_m_s);
  if (angle.converged) W = relative_speed_m_s(element, t);
  const double V = element.axial_m_s;
  const double u = element.turning_m_s;
  const double pressure_N_m1 = 0.5 * flow.density_kg_m3 * W * W * element.chord_m;
  return {.radius_m = element.radius_m,
          .inflow_angle_rad = angle.inflow_angle_rad,
          .angle_of_attack_rad = t.alpha_rad,
          .axial_induction = V > 0.0 ? 1.0 - W * s / V : 0.0,
          .tangential_induction = u != 0.0 ? W * std::cos(angle.inflow_angle_rad) / u - 1.0 : 0.0,
          .loss_factor = t.loss_factor,
          .relative_speed_m_s = W,
          .reynolds = flow.density_kg_m3 * W * element.chord_m / flow.dynamic_viscosity_Pa_s,
          .cl = t.force.cl,
          .cd = t.force.cd,
          .normal_load_N_m1 = pressure_N_m1 * t.normal,
          .tangential_load_N_m1 = pressure_N_m1 * t.tangential,
          .below_reynolds = false,
          .above_reynolds = false,
          .converged = angle.converged};
}

ElementLoad solved(Element element, const RotorFlow& flow, const RotorOptions& options) {
  element.options = &options;
  element.axial_m_s = flow.air_speed_m_s;
  element.turning_m_s = flow.rotor_speed_rad_s * element.radius_m;
  const double reynolds_per_speed =
      flow.density_kg_m3 * element.chord_m / flow.dynamic_viscosity_Pa_s;
  const double W = std::hypot(element.axial_m_s, element.turning_m_s);
  Positions at = positions(element, reynolds_per_speed * W);
  if (W == 0.0) return loads(element, flow, trial(element, at, 0.0), {0.0, true});
  const Search search{&element, &at, element.turning_m_s < 0.0};
  Root root = solve(search, coarse_rad, false);
  Angle angle{std::atan2(element.axial_m_s, element.turning_m_s), false};
  Trial t{};
  if ((root.found && polish(search, reynolds_per_speed, at, root, t)) ||
      settle(search, reynolds_per_speed, at, root, t)) {
    angle = {search.inflow_angle_rad(root.x_rad), true};
  } else {
    t = trial(element, at, angle.inflow_angle_rad);
  }
  ElementLoad load = loads(element, flow, t, angle);
  const double lowest =
      std::max(element.inner->lowest_reynolds(), element.outer->lowest_reynolds());
  const double highest =
      std::min(element.inner->highest_reynolds(), element.outer->highest_reynolds());
  load.below_reynolds = load.reynolds < lowest;
  load.above_reynolds = load.reynolds > highest;
  return load;
}

RotorLoad integrated(const Rotor& rotor, const RotorFlow& flow, const RotorOptions& options,
                     std::vector<ElementLoad>* elements) {
  check(rotor, flow, options);
  RotorLoad total{};
  const double span_m = rotor.tip_radius_m - rotor.hub_radius_m;
  double torque_N_m = 0.0;
  double thrust_N = 0.0;
  double edge = 0.0;  // share of the blade
  std::size_t station = 0;
  for (int i = 0; i < options.elements; ++i) {
    const double next_edge = 0.5 * (1.0 - std::cos(pi * (i + 1) / options.elements));
    const double share = next_edge - edge;
    const double radius_m = rotor.hub_radius_m + span_m * 0.5 * (edge + next_edge);
    edge = next_edge;
    const ElementLoad load = solved(element_at(rotor, station, radius_m), flow, options);
    torque_N_m += load.tangential_load_N_m1 * radius_m * share;
    thrust_N += load.normal_load_N_m1 * share;
    if (load.below_reynolds) total.span_below_reynolds += share;
    if (load.above_reynolds) total.span_above_reynolds += share;
    if (!load.converged && total.unconverged_elements++ == 0) total.unconverged_radius_m = radius_m;
    if (elements != nullptr) elements->push_back(load);
  }
  total.torque_N_m = rotor.blades * span_m * torque_N_m;
  total.thrust_N = rotor.blades * span_m * thrust_N;
  total.power_W = total.torque_N_m * flow.rotor_speed_rad_s;
  const double V = flow.air_speed_m_s;
  const double push_N = 0.5 * flow.density_kg_m3 * swept_area_m2(rotor) * V * V;
  if (push_N > 0.0) {
    total.tip_speed_ratio = flow.rotor_speed_rad_s * rotor.tip_radius_m / V;
    total.cp = total.power_W / (push_N * V);
    total.cq = total.torque_N_m / (push_N * rotor.tip_radius_m);
    total.ct = total.thrust_N / push_N;
  }
  return total;
}

}  // namespace

RotorLoad rotor_load(const Rotor& rotor, const RotorFlow& flow, const RotorOptions& options) {
  return integrated(rotor, flow, options, nullptr);
}

RotorSpan rotor_span(const Rotor& rotor, const RotorFlow& flow, const RotorOptions& options) {
  RotorSpan span{};
  span.total = integrated(rotor, flow, options, &span.elements);
  return span;
}

ElementLoad element_load(const Rotor& rotor, double radius_m, const RotorFlow& flow,
                         const RotorOptions& options) {
  check(rotor, flow, options);
  if (!(radius_m > rotor.hub_radius_m && radius_m < rotor.tip_radius_m)) {
    throw base::BadInput("rotor", fmt::format("element at {} m", radius_m),
                         "a radius between hub and tip");
  }
  std::size_t station = 0;
  return solved(element_at(rotor, station, radius_m), flow, options);
}

double swept_area_m2(const Rotor& rotor) {
  return pi * rotor.tip_radius_m * rotor.tip_radius_m;
}

double aspect_ratio(const std::vector<RotorStation>& stations) {
  double area_m2 = 0.0;
  for (std::size_t i = 1; i < stations.size(); ++i) {
    area_m2 += 0.5 * (stations[i].chord_m + stations[i - 1].chord_m) *
               (stations[i].radius_m - stations[i - 1].radius_m);
  }
  const double length_m = stations.back().radius_m - stations.front().radius_m;
  return length_m * length_m / area_m2;
}

double prandtl_loss_factor(int blades, double distance_ratio, double sine_of_inflow) {
  const double f = 0.5 * blades * distance_ratio / std::abs(sine_of_inflow);
  if (!(f < 36.0)) return 1.0;  // as exactly as a double can
  return 2.0 / pi * std::acos(std::exp(-f));
}

}  // namespace windwright::physics
