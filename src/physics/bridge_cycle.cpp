// SPDX-License-Identifier: Apache-2.0
#include "physics/bridge_cycle.h"

#include "base/errors.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <limits>
#include <numbers>
#include <optional>
#include <string>
#include <utility>
#include <vector>

namespace windwright::physics {
namespace {

constexpr double pi = std::numbers::pi;
constexpr double never = std::numeric_limits<double>::infinity();
constexpr double same_rad = 1e-12;     // two events closer than this are one
constexpr double nothing = 1e-13;      // of the short-circuit current: no current
constexpr std::size_t most_arcs = 96;  // of one period; a healthy one has 18 at most

using Lines = std::array<double, 3>;

double at(const Sinusoid& wave, double angle_rad) {
  return wave.steady + wave.cosine * std::cos(angle_rad) + wave.sine * std::sin(angle_rad);
}

Sinusoid sum(const Sinusoid& a, const Sinusoid& b, double weight) {
  return {.steady = a.steady + weight * b.steady,
          .cosine = a.cosine + weight * b.cosine,
          .sine = a.sine + weight * b.sine};
}

/// The next angle after another at which a sinusoid passes zero upwards (+1), downwards (-1).
double next_zero_rad(const Sinusoid& wave, double after_rad, double direction) {
  const double amplitude = std::hypot(wave.cosine, wave.sine);
  if (!(std::abs(wave.steady) < amplitude)) return never;
  const double peak_rad = std::atan2(wave.sine, wave.cosine);
  const double zero_rad = peak_rad - direction * std::acos(-wave.steady / amplitude);
  const double turns = std::ceil((after_rad + same_rad - zero_rad) / (2.0 * pi));
  return zero_rad + 2.0 * pi * turns;
}

/// The circuit in units of its EMF and impedance, walked along from event to event.
class Walk {
 public:
  Walk(const BridgeCircuit& circuit, double resistance, double reactance)
      : fault_(circuit.fault),
        resistance_(resistance),
        reactance_(reactance),
        upper_((circuit.dc_voltage_V + circuit.diode_drop_V) / circuit.emf_peak_V),
        upper_shorted_(circuit.dc_voltage_V / circuit.emf_peak_V),
        lower_(-circuit.diode_drop_V / circuit.emf_peak_V) {
    for (std::size_t k = 0; k < 3; ++k) {
      const double lag_rad = 2.0 * pi / 3.0 * static_cast<double>(k);
      emf_[k] = {.steady = 0.0, .cosine = -std::sin(lag_rad), .sine = std::cos(lag_rad)};
    }
  }

  /// From begin to end with these currents at the beginning.
  void run(double begin_rad, double end_rad, Lines current) {
    arcs.clear();
    angle_rad_ = begin_rad;
    current_ = current;
    change_ = {{{1.0, 0.0, -1.0}, {0.0, 1.0, -1.0}}};
    for (std::size_t k = 0; k < 3; ++k) {
      rail_[k] = std::abs(current_[k]) <= nothing ? 0 : (current_[k] > 0.0 ? 1 : -1);
      if (rail_[k] == 0) current_[k] = 0.0;
    }
    if (fault_ == BridgeFault::shorted_diode) rail_[0] = 1;
    drop_lonely();
    settle();
    while (angle_rad_ < end_rad && arcs.size() < most_arcs)
      advance(end_rad);
  }

  const Lines& current() const { return current_; }
  /// Change of the last currents with the first ones of phase a (0) and b (1), c taking the rest.
  const std::array<Lines, 2>& change() const { return change_; }
  double decay() const { return resistance_ / reactance_; }

  std::vector<BridgeArc> arcs;

 private:
  bool is_cut(std::size_t k) const { return fault_ == BridgeFault::open_phase && k == 0; }
  bool is_fixed(std::size_t k) const { return fault_ == BridgeFault::shorted_diode && k == 0; }
  double rail_voltage(std::size_t k, int rail) const {
    return rail > 0 ? (is_fixed(k) ? upper_shorted_ : upper_) : lower_;
  }
  int connected() const { return std::abs(rail_[0]) + std::abs(rail_[1]) + std::abs(rail_[2]); }

  /// Star point against the lower rail, while any phase is connected.
  Sinusoid star() const {
    Sinusoid wave{};
    for (std::size_t k = 0; k < 3; ++k) {
      if (rail_[k] == 0) continue;
      wave.steady += rail_voltage(k, rail_[k]);
      wave = sum(wave, emf_[k], -1.0);
    }
    return sum({}, wave, 1.0 / connected());
  }

  Sinusoid drive(std::size_t k, const Sinusoid& star) const {
    Sinusoid wave = sum(emf_[k], star, 1.0);
    wave.steady -= rail_voltage(k, rail_[k]);
    return wave;
  }

  /// How far a phase that carries nothing is beyond a rail; it conducts above 0.
  Sinusoid excess(std::size_t k, int rail, const Sinusoid& star) const {
    Sinusoid wave = sum(emf_[k], star, 1.0);
    wave.steady -= rail_voltage(k, rail);
    return rail > 0 ? wave : sum({}, wave, -1.0);
  }

  /// The same for two phases while none is connected.
  Sinusoid pair_excess(std::size_t upper, std::size_t lower) const {
    Sinusoid wave = sum(emf_[upper], emf_[lower], -1.0);
    wave.steady += rail_voltage(lower, -1) - rail_voltage(upper, 1);
    return wave;
  }

  /// A single phase without partner carries nothing.
  void drop_lonely() {
    if (connected() != 1) return;
    for (std::size_t k = 0; k < 3; ++k) {
      current_[k] = 0.0;
      if (!is_fixed(k)) rail_[k] = 0;
    }
  }

  /// Connects every phase that is beyond a rail, or will be so soon that next_zero_rad would take
  /// it for the event that brought us here.
  void settle() {
    for (int changes = 0; changes < 6; ++changes) {
      if (!connect_one()) return;
    }
  }

  bool connect_one() {
    const double soon_rad = angle_rad_ + 4.0 * same_rad;
    if (connected() == 0) {
      double most = 0.0;
      std::optional<std::pair<std::size_t, std::size_t>> found;
      for (std::size_t p = 0; p < 3; ++p) {
        for (std::size_t q = 0; q < 3; ++q) {
          if (p == q || is_cut(p) || is_cut(q)) continue;
          const double excess_now = at(pair_excess(p, q), soon_rad);
          if (excess_now > most) {
            most = excess_now;
            found = {p, q};
          }
        }
      }
      if (!found) return false;
      rail_[found->first] = 1;
      rail_[found->second] = -1;
      return true;
    }
    const Sinusoid star_now = star();
    for (std::size_t k = 0; k < 3; ++k) {
      if (rail_[k] != 0 || is_cut(k)) continue;
      for (const int rail : {1, -1}) {
        if (at(excess(k, rail, star_now), soon_rad) > 0.0) {
          rail_[k] = rail;
          return true;
        }
      }
    }
    return false;
  }

  struct Event {
    double angle_rad;
    std::array<int, 3> connect;  // rails of the phases that begin to conduct
    std::optional<std::size_t> ends;
  };

  Event next_start(double end_rad, const Sinusoid& star_now) const {
    Event event{.angle_rad = end_rad, .connect = {0, 0, 0}, .ends = std::nullopt};
    if (connected() == 0) {
      for (std::size_t p = 0; p < 3; ++p) {
        for (std::size_t q = 0; q < 3; ++q) {
          if (p == q || is_cut(p) || is_cut(q)) continue;
          const double start_rad = next_zero_rad(pair_excess(p, q), angle_rad_, 1.0);
          if (!(start_rad < event.angle_rad)) continue;
          event.angle_rad = start_rad;
          event.connect = {0, 0, 0};
          event.connect[p] = 1;
          event.connect[q] = -1;
        }
      }
      return event;
    }
    for (std::size_t k = 0; k < 3; ++k) {
      if (rail_[k] != 0 || is_cut(k)) continue;
      for (const int rail : {1, -1}) {
        const double start_rad = next_zero_rad(excess(k, rail, star_now), angle_rad_, 1.0);
        if (!(start_rad < event.angle_rad)) continue;
        event.angle_rad = start_rad;
        event.connect = {0, 0, 0};
        event.connect[k] = rail;
      }
    }
    return event;
  }

  LineArc line_arc(std::size_t k, const Sinusoid& star_now) const {
    if (rail_[k] == 0) return {};
    const Sinusoid d = drive(k, star_now);  // impedance 1: no division
    const double p = resistance_ * d.cosine - reactance_ * d.sine;
    const double q = reactance_ * d.cosine + resistance_ * d.sine;
    return {.cosine_A = p,
            .sine_A = q,
            .fading_A = current_[k] - p * std::cos(angle_rad_) - q * std::sin(angle_rad_),
            .rising_A = d.steady / resistance_,
            .drive_V = d,
            .rail = rail_[k]};
  }

  /// Where the current of a diode comes to zero. Times exp(decay angle) it falls throughout where
  /// the drive is against it and rises throughout elsewhere.
  double zero_of_current_rad(std::size_t k, const BridgeArc& arc) const {
    const LineArc& line = arc.line[k];
    double from_rad = arc.begin_rad;
    while (from_rad < arc.end_rad) {
      const double to_rad = std::min({arc.end_rad, next_zero_rad(line.drive_V, from_rad, 1.0),
                                      next_zero_rad(line.drive_V, from_rad, -1.0)});
      const bool falls = line.rail * at(line.drive_V, 0.5 * (from_rad + to_rad)) < 0.0;
      if (falls && line.rail * arc_current_A(line, arc, decay(), to_rad) < -0.1 * nothing) {
        return root_rad(line, arc, from_rad, to_rad);
      }
      from_rad = to_rad;
    }
    return never;
  }

  double root_rad(const LineArc& line, const BridgeArc& arc, double low_rad,
                  double high_rad) const {
    double root = high_rad;
    for (int step = 0; step < 100 && high_rad - low_rad > 4e-16 * std::abs(high_rad); ++step) {
      const double current = line.rail * arc_current_A(line, arc, decay(), root);
      (current < 0.0 ? high_rad : low_rad) = root;
      const double slope =
          (line.rail * at(line.drive_V, root) - resistance_ * current) / reactance_;
      const double next = slope < 0.0 ? root - current / slope : low_rad;
      const bool inside = next > low_rad && next < high_rad;
      const double previous = std::exchange(root, inside ? next : 0.5 * (low_rad + high_rad));
      if (inside && std::abs(root - previous) < 1e-15) break;
    }
    return root;
  }

  Lines slopes(const Sinusoid& star_now) const {
    Lines slope{};
    for (std::size_t k = 0; k < 3; ++k) {
      if (rail_[k] == 0) continue;
      slope[k] = (at(drive(k, star_now), angle_rad_) - resistance_ * current_[k]) / reactance_;
    }
    return slope;
  }

  void advance(double end_rad) {
    const Sinusoid star_now = connected() > 0 ? star() : Sinusoid{};
    Event event = next_start(end_rad, star_now);
    BridgeArc arc{.begin_rad = angle_rad_, .end_rad = event.angle_rad, .line = {}};
    for (std::size_t k = 0; k < 3; ++k)
      arc.line[k] = line_arc(k, star_now);
    if (connected() > 1) {
      for (std::size_t k = 0; k < 3; ++k) {
        if (rail_[k] == 0 || is_fixed(k)) continue;
        const double zero_rad = zero_of_current_rad(k, arc);
        if (zero_rad < event.angle_rad) {
          event = {.angle_rad = zero_rad, .connect = {0, 0, 0}, .ends = k};
        }
      }
    }
    arc.end_rad = event.angle_rad;
    const double left = std::exp(-decay() * (arc.end_rad - arc.begin_rad));
    for (std::size_t k = 0; k < 3; ++k) {
      current_[k] = arc_current_A(arc.line[k], arc, decay(), arc.end_rad);
      for (Lines& change : change_)
        change[k] *= rail_[k] == 0 ? 0.0 : left;
    }
    arcs.push_back(arc);
    angle_rad_ = event.angle_rad;
    if (event.ends) {
      end_current(*event.ends, star_now);
      return;
    }
    for (std::size_t k = 0; k < 3; ++k) {
      if (event.connect[k] != 0) rail_[k] = event.connect[k];
    }
  }

  void end_current(std::size_t ended, const Sinusoid& star_before) {
    const Lines before = slopes(star_before);
    current_[ended] = 0.0;
    rail_[ended] = 0;
    drop_lonely();
    if (connected() == 2) {  // rounding of the two that go on
      const std::size_t p = (ended + 1) % 3;
      const std::size_t q = (ended + 2) % 3;
      const double half = 0.5 * (current_[p] - current_[q]);
      current_[p] = half;
      current_[q] = -half;
    }
    settle();
    const Lines after = slopes(connected() > 0 ? star() : Sinusoid{});
    for (Lines& change : change_) {
      // The event moves with the current that ends, and the slopes differ on its two sides.
      const double moved = before[ended] != 0.0 ? change[ended] / before[ended] : 0.0;
      for (std::size_t k = 0; k < 3; ++k)
        change[k] += (after[k] - before[k]) * moved;
    }
  }

  BridgeFault fault_;
  double resistance_;
  double reactance_;
  double upper_;
  double upper_shorted_;
  double lower_;
  std::array<Sinusoid, 3> emf_{};
  double angle_rad_ = 0.0;
  Lines current_{};
  std::array<int, 3> rail_{};
  std::array<Lines, 2> change_{};
};

/// The currents after a stretch as those before the next, seen from the phases that take over.
Lines handed_on(const Lines& end, bool sixth) {
  if (!sixth) return end;
  return {-end[2], -end[0], -end[1]};
}

/// Leaves in `walk` a stretch (60 degrees without fault) that begins as it ends.
void close_period(Walk& walk, bool sixth) {
  const double span_rad = sixth ? pi / 3.0 : 2.0 * pi;
  Lines first{};
  // With little resistance a plain walk hardly forgets its beginning: Newton's step does. Where
  // events change places it may overshoot, then a few plain stretches lead on.
  for (int step = 0; step < 400; ++step) {
    walk.run(0.0, span_rad, first);
    const Lines last = handed_on(walk.current(), sixth);
    const double a = last[0] - first[0];
    const double b = last[1] - first[1];
    if (std::abs(a) + std::abs(b) < 1e-13) return;
    first = last;
    if (step % 12 >= 10 || step == 0) continue;
    const Lines by_a = handed_on(walk.change()[0], sixth);
    const Lines by_b = handed_on(walk.change()[1], sixth);
    const double m00 = 1.0 - by_a[0];
    const double m01 = -by_b[0];
    const double m10 = -by_a[1];
    const double m11 = 1.0 - by_b[1];
    const double determinant = m00 * m11 - m01 * m10;
    if (!(std::abs(determinant) > 1e-12)) continue;
    const double step_a = (m11 * a - m01 * b) / determinant - a;
    const double step_b = (m00 * b - m10 * a) / determinant - b;
    if (!(std::abs(step_a) + std::abs(step_b) < 10.0)) continue;
    first[0] += step_a;
    first[1] += step_b;
    for (std::size_t k = 0; k < 2; ++k) {
      if (std::abs(first[k]) < nothing) first[k] = 0.0;
    }
    first[2] = -first[0] - first[1];
  }
}

BridgeMode mode_of(const std::vector<BridgeArc>& arcs) {
  int fewest = 3;
  int most = 0;
  for (const BridgeArc& arc : arcs) {
    if (arc.end_rad - arc.begin_rad < same_rad) continue;
    int count = 0;
    for (const LineArc& line : arc.line)
      count += line.rail != 0;
    if (count < 2) count = 0;
    fewest = std::min(fewest, count);
    most = std::max(most, count);
  }
  if (most == 0) return BridgeMode::none;
  if (fewest == 0) return BridgeMode::discontinuous;
  return fewest == 2 ? BridgeMode::two_three : BridgeMode::three;
}

void require(double value, const char* name) {
  if (std::isfinite(value) && value >= 0.0) return;
  throw base::BadInput(name, std::to_string(value), "a number of 0 or more");
}

/// Means over the stretch that the walk holds, in units of EMF and impedance.
void add_means(const BridgeCircuit& circuit, const Walk& walk, BridgeCycle& cycle) {
  double span_rad = 0.0;
  Lines square{};
  double through_diodes = 0.0;
  for (const BridgeArc& arc : walk.arcs) {
    span_rad += arc.end_rad - arc.begin_rad;
    for (std::size_t k = 0; k < 3; ++k) {
      const LineArc& line = arc.line[k];
      if (line.rail == 0) continue;
      const ArcIntegral integral = arc_integral(line, arc, walk.decay());
      square[k] += integral.square;
      cycle.line_current_mean_A[k] += integral.current;
      if (line.rail > 0) cycle.dc_current_A += integral.current;
      const bool shorted = circuit.fault == BridgeFault::shorted_diode && k == 0;
      if (!shorted) through_diodes += std::abs(integral.current);
    }
  }
  const bool whole = circuit.fault != BridgeFault::none;
  const double mean_square = (square[0] + square[1] + square[2]) / (3.0 * span_rad);
  for (std::size_t k = 0; k < 3; ++k) {
    cycle.line_current_rms_A[k] = std::sqrt(whole ? square[k] / span_rad : mean_square);
    cycle.line_current_mean_A[k] = whole ? cycle.line_current_mean_A[k] / span_rad : 0.0;
  }
  cycle.dc_current_A = std::max(0.0, cycle.dc_current_A / span_rad);
  cycle.threshold_loss_W = circuit.diode_drop_V * through_diodes / span_rad;
}

}  // namespace

BridgeCycle bridge_cycle(const BridgeCircuit& circuit) {
  require(circuit.emf_peak_V, "EMF");
  require(circuit.resistance_ohm, "phase resistance");
  require(circuit.reactance_ohm, "phase reactance");
  require(circuit.dc_voltage_V, "DC voltage");
  require(circuit.diode_drop_V, "diode drop");
  const double impedance_ohm = std::hypot(circuit.resistance_ohm, circuit.reactance_ohm);
  if (!(impedance_ohm > 0.0)) {
    throw base::BadInput("phase impedance", "0 ohm", "a resistance or a reactance above 0");
  }
  const double resistance = std::max(1e-9, circuit.resistance_ohm / impedance_ohm);
  const double reactance = std::max(1e-9, circuit.reactance_ohm / impedance_ohm);
  BridgeCycle cycle{};
  cycle.decay = resistance / reactance;
  if (!(circuit.emf_peak_V > 0.0)) {
    cycle.arcs.push_back({.begin_rad = 0.0, .end_rad = 2.0 * pi, .line = {}});
    return cycle;
  }
  Walk walk(circuit, resistance, reactance);
  const bool sixth = circuit.fault == BridgeFault::none;
  close_period(walk, sixth);
  add_means(circuit, walk, cycle);
  cycle.mode = mode_of(walk.arcs);
  cycle.arcs = sixth ? whole_period(walk.arcs) : std::move(walk.arcs);
  const double unit_A = circuit.emf_peak_V / impedance_ohm;
  for (BridgeArc& arc : cycle.arcs) {
    for (LineArc& line : arc.line) {
      for (double* part : {&line.cosine_A, &line.sine_A, &line.fading_A, &line.rising_A})
        *part *= unit_A;
      line.drive_V = sum({}, line.drive_V, circuit.emf_peak_V);
    }
  }
  cycle.dc_current_A *= unit_A;
  cycle.threshold_loss_W *= unit_A;
  cycle.electromagnetic_W = cycle.threshold_loss_W + circuit.dc_voltage_V * cycle.dc_current_A;
  for (std::size_t k = 0; k < 3; ++k) {
    cycle.line_current_mean_A[k] *= unit_A;
    cycle.line_current_rms_A[k] *= unit_A;
    const double rms_A = cycle.line_current_rms_A[k];
    cycle.electromagnetic_W += circuit.resistance_ohm * rms_A * rms_A;
  }
  return cycle;
}

}  // namespace windwright::physics
