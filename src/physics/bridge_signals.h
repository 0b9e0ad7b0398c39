// SPDX-License-Identifier: Apache-2.0
#pragma once

#include "physics/bridge_cycle.h"
#include "physics/generator.h"

#include <array>
#include <cstddef>
#include <limits>
#include <span>
#include <vector>

namespace windwright::physics {

enum class BridgeQuantity {
  phase_voltage,  // phase terminal to star point, V
  line_current,   // out of the generator, A
  line_voltage,   // a to b, b to c, c to a, V
  dc_ripple       // DC voltage over its mean; behind a smoothing choke and a resistance also the
                  // direct current over its mean
};

/// What one instrument is connected to, and how fast it is.
struct BridgeTap {
  BridgeQuantity quantity;
  std::size_t phase = 0;  // 0 a, 1 b, 2 c; line voltages a-b, b-c, c-a
  double bandwidth_Hz = std::numeric_limits<double>::infinity();  // of a first-order lag
};

/// The bridge at one instant of its slow life.
struct BridgeOperation {
  double rotor_speed_rad_s;  // above 0
  double dc_current_A;       // mean, smooth; 0 or more
  /// Inductance over resistance of the DC circuit, which smooths the ripple; infinity: there is
  /// none. To first order: what the ripple of the current does to the commutation is left out.
  double smoothing_s = std::numeric_limits<double>::infinity();
};

/// What instruments between generator and load show over an electrical period, their first-order
/// lag included, exactly and at any sample rate: each signal is, from diode event to diode event, a
/// sinusoid and fading exponentials, and so is what a lag makes of it; over a whole period the lag
/// comes back to where it was. Sampling a lagged waveform more slowly than the lag itself needs
/// this: a recursion from sample to sample sees nothing of what lies between.
/// Theory: docs/theory/electrical.md. Checked in tests/physics/bridge_signals_test.cpp.
class BridgeSignals {
 public:
  explicit BridgeSignals(std::vector<BridgeTap> taps);
  /// For as many samples at once `fill` allocates nothing.
  void make_room(std::size_t samples);

  /// Solves the period of a smooth direct current, as generator_load has it; in a few microseconds,
  /// without allocating.
  /// @throws BadInput  as generator_at_current
  void renew(const Generator& generator, const BridgeOperation& operation);

  /// @param angle_rad  electrical, as in bridge_cycle.h, ascending
  /// @param values     (taps), each as long as angle_rad
  void fill(std::span<const double> angle_rad, std::span<const std::span<double>> values);

 private:
  static constexpr std::size_t exponentials = 3;  // of the winding, of the choke, of the instrument
  /// steady + cosine cos(angle) + sine sin(angle) + sum of fading[m] exp(-rate[m] d), d the angle
  /// since the arc began.
  struct Piece {
    double steady;
    double cosine;
    double sine;
    std::array<double, exponentials> fading;
  };
  struct Ends {  // of an arc
    double begin_rad;
    double end_rad;
    double cosine;  // of the end
    double sine;
    double begin_cosine;
    double begin_sine;
  };

  Piece piece_of(const Generator& generator, const BridgeArc& arc, const BridgeTap& tap) const;
  void pass_lag(std::size_t tap, std::size_t exponential, double rate);
  double reach(const Piece& piece, std::size_t arc, std::size_t tap) const;
  const double* fading_at(double rate, std::size_t from, std::size_t to);

  std::vector<BridgeTap> taps_;
  std::vector<Ends> arcs_;
  std::vector<Piece> pieces_;                           // taps x arcs, one tap after the other
  std::vector<std::array<double, exponentials>> rate_;  // (taps), per radian
  double emf_peak_V_ = 0.0;
  std::vector<double> cosine_, sine_, since_;  // (samples)
  std::vector<double> known_;                  // rates whose exponentials are at hand
  std::vector<std::vector<double>> faded_;     // beside them, (samples)
};

}  // namespace windwright::physics
